"use strict";

/*
 * A table of rows: sorted by its headings, some rows a page. Tables are also the way in for people who don't see the
 * map.
 */

const ROWS_A_PAGE = 25;

/**
 * `columns`: { name, label, unit, of(row), told(row), rising, number }; the second is the row's own heading, for which
 * `line` gives the cell. `all` gives the rows to be shown, in their own order, in which ties stay; `placed` where that
 * is the order of the first column.
 */
function setUpTable({ id, columns, all, placed = false, heading, empty }) {
  const { word, element, rounded, byId } = page;
  const collator = new Intl.Collator("en", { numeric: true });
  const body = byId(id + "-body");
  let sorted = { column: columns[0], rising: columns[0].rising };
  let rows = [];
  let first = 0;
  let marked = -1;

  function compare(a, b) {
    const [one, other] = [sorted.column.of(a), sorted.column.of(b)];
    if (Number.isNaN(one) || Number.isNaN(other)) return Number.isNaN(one) - Number.isNaN(other);
    const order = sorted.column.number ? one - other : collator.compare(one, other);
    return sorted.rising ? order : -order;
  }

  function arrange() {
    rows = all();
    if (!placed || sorted.column !== columns[0] || sorted.rising !== columns[0].rising) rows.sort(compare);
    first = 0;
    fill();
    page.tell("table");
  }

  // Headings: a button each, which stays the same element so that it keeps the focus.
  const headings = columns.map((column) => {
    const button = element("button", { type: "button" }, column.label);
    button.addEventListener("click", () => {
      const again = sorted.column === column;
      sorted = { column, rising: again ? !sorted.rising : column.rising };
      markHeadings();
      arrange();
    });
    const unit = column.unit ? element("span", { class: "unit" }, column.unit) : null;
    return element("th", { scope: "col", class: "of-" + column.name }, button, unit);
  });
  byId(id + "-head").append(...headings);

  function markHeadings() {
    headings.forEach((heading, i) => {
      const order = sorted.rising ? "ascending" : "descending";
      if (columns[i] === sorted.column) heading.setAttribute("aria-sort", order);
      else heading.removeAttribute("aria-sort");
    });
  }

  function fill() {
    const visible = rows.slice(first, first + ROWS_A_PAGE);
    const none = element("tr", {}, element("td", { colspan: columns.length }, word(empty)));
    body.replaceChildren(...(visible.length ? visible.map(line) : [none]));
    byId(id + "-rows").textContent = visible.length
      ? word("table_rows", {
          first: rounded(first + 1, null),
          last: rounded(first + visible.length, null),
          all: rounded(rows.length, null),
        })
      : "";
    byId(id + "-back").disabled = first === 0;
    byId(id + "-next").disabled = first + ROWS_A_PAGE >= rows.length;
    mark();
  }

  function line(row) {
    const cells = columns.map((column) =>
      column.heading
        ? element("th", { scope: "row", class: "of-" + column.name }, ...heading(row, () => buttonOf(row)))
        : element("td", { class: "of-" + column.name }, column.told(row))
    );
    return element("tr", { "data-row": row }, ...cells);
  }

  function lineOf(row) {
    return body.querySelector(`tr[data-row="${row}"]`);
  }

  function buttonOf(row) {
    return lineOf(row)?.querySelector("button");
  }

  function mark() {
    for (const line of body.children) {
      if (line.dataset.row === String(marked)) line.setAttribute("aria-current", "true");
      else line.removeAttribute("aria-current");
    }
  }

  function turn(by) {
    first += by * ROWS_A_PAGE;
    fill();
  }

  byId(id + "-back").addEventListener("click", () => turn(-1));
  byId(id + "-next").addEventListener("click", () => turn(1));
  page.on("shown", arrange);

  /** Mark `row` and bring it into view; with -1, mark none. */
  function show(row) {
    marked = row;
    const at = rows.indexOf(row);
    if (at >= 0 && (at < first || at >= first + ROWS_A_PAGE)) {
      first = at - (at % ROWS_A_PAGE);
      fill();
    }
    mark();
    scrollInPanel(lineOf(row));
  }

  /** Brings a line into view where the panel scrolls by itself; never moves the whole page. */
  function scrollInPanel(line) {
    const panel = byId("panel");
    if (!line || panel.scrollHeight <= panel.clientHeight) return;
    const [inner, outer] = [line.getBoundingClientRect(), panel.getBoundingClientRect()];
    if (inner.top < outer.top || inner.bottom > outer.bottom) {
      panel.scrollTop += inner.top - outer.top - outer.height / 3;
    }
  }

  /** Other columns may be called differently by now. */
  function relabel() {
    headings.forEach((heading, i) => {
      heading.querySelector("button").textContent = columns[i].label;
    });
    arrange();
  }

  markHeadings();
  arrange();
  return { show, relabel, buttonOf, columns, rows: () => rows };
}
