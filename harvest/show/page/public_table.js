"use strict";

/*
 * The table of all sums of the public edition: sorted by its headings, 25 rows a page. It is also the way in for
 * people who don't see the map.
 */

const ROWS_A_PAGE = 25;

function setUpPublicTable(cells, popup) {
  const { word, element, values, rounded } = page;
  const collator = new Intl.Collator("en", { numeric: true });
  const columns = [
    { name: "address", label: word("table_where"), of: (row) => cells.name(row), rising: true },
    { name: "home_count", label: word("table_home_count"), of: (row) => cells.home_count[row], number: true },
    ...values.measures.map((measure) => ({
      name: measure.name,
      label: word("table_" + measure.name),
      unit: measure.unit,
      measure,
      of: (row) => cells[measure.name][row],
      number: true,
    })),
  ];
  let sorted = { column: columns[0], rising: true };
  let rows = cells.all.slice();
  let first = 0;
  let marked = -1;

  function compare(a, b) {
    const [one, other] = [sorted.column.of(a), sorted.column.of(b)];
    const order = sorted.column.number ? one - other : collator.compare(one, other);
    return (sorted.rising ? order : -order) || a - b;
  }

  function arrange() {
    rows = cells.all.slice().sort(compare);
    first = 0;
    fill();
  }

  // Headings: a button each, which stays the same element so that it keeps the focus.
  const headings = columns.map((column) => {
    const button = element("button", { type: "button" }, column.label);
    button.addEventListener("click", () => {
      sorted = { column, rising: sorted.column === column ? !sorted.rising : Boolean(column.rising) };
      markHeadings();
      arrange();
    });
    const unit = column.unit ? element("span", { class: "unit" }, column.unit) : null;
    return element("th", { scope: "col", class: "of-" + column.name }, button, unit);
  });
  page.byId("table-head").append(...headings);

  function markHeadings() {
    headings.forEach((heading, i) => {
      if (columns[i] === sorted.column) heading.setAttribute("aria-sort", sorted.rising ? "ascending" : "descending");
      else heading.removeAttribute("aria-sort");
    });
  }

  function fill() {
    const visible = rows.slice(first, first + ROWS_A_PAGE);
    const empty = element("tr", {}, element("td", { colspan: columns.length }, word("table_empty")));
    page.byId("table-body").replaceChildren(...(visible.length ? visible.map(line) : [empty]));
    page.byId("table-rows").textContent = visible.length
      ? word("table_rows", {
          first: rounded(first + 1, null),
          last: rounded(first + visible.length, null),
          all: rounded(rows.length, null),
        })
      : "";
    page.byId("table-back").disabled = first === 0;
    page.byId("table-next").disabled = first + ROWS_A_PAGE >= rows.length;
    mark();
  }

  function line(row) {
    const button = element("button", { type: "button", class: "link" }, cells.name(row));
    button.addEventListener("click", () => popup.open(row, () => lineOf(row)?.querySelector("button")));
    return element(
      "tr",
      { "data-row": row },
      element("th", { scope: "row", class: "of-address" }, button),
      ...columns.slice(1).map((column) => element("td", { class: "of-" + column.name }, said(column, row)))
    );
  }

  function said(column, row) {
    return column.measure ? toldSum(column.measure, column.of(row)) : rounded(column.of(row), null);
  }

  function lineOf(row) {
    return page.byId("table-body").querySelector(`tr[data-row="${row}"]`);
  }

  function mark() {
    for (const one of page.byId("table-body").children) {
      if (one.dataset.row === String(marked)) one.setAttribute("aria-current", "true");
      else one.removeAttribute("aria-current");
    }
  }

  function turn(by) {
    first += by * ROWS_A_PAGE;
    fill();
  }

  page.byId("table-back").addEventListener("click", () => turn(-1));
  page.byId("table-next").addEventListener("click", () => turn(1));
  page.on("opened", (row) => {
    marked = row;
    const at = rows.indexOf(row);
    if (at < first || at >= first + ROWS_A_PAGE) {
      first = at - (at % ROWS_A_PAGE);
      fill();
    }
    mark();
  });
  page.on("closed", () => {
    marked = -1;
    mark();
  });

  markHeadings();
  arrange();
}
