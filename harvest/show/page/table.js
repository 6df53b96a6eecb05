"use strict";

/*
 * The table of ranked parcels among those shown: sorted by its headings, 25 rows a page. It is also the way
 * in for people who don't see the map.
 */

const ROWS_A_PAGE = 25;
const FIGURE_COLUMNS = ["runoff_l_yr", "capturable_l_yr", "yield_l_yr", "suggested_barrels", "catchment_area_m2"];

function setUpTable(parcels, popup) {
  const { word, element, figure, rounded, values } = page;
  const collator = new Intl.Collator("en", { numeric: true });
  const figureColumns = FIGURE_COLUMNS.filter((name) => figure(name).known);
  const columns = [
    { name: "rank", label: word("table_rank"), of: (row) => place(row), rising: true, number: true },
    { name: "address", label: word("table_address"), of: (row) => parcels.name(row), rising: true },
    ...figureColumns.map((name) => ({
      name,
      label: word("table_" + name),
      unit: figure(name).unit,
      of: (row) => parcels[name][row],
      rising: false,
      number: true,
    })),
  ];
  let sorted = { column: columns[0], rising: true };
  let rows = [];
  let first = 0;
  let marked = -1;

  /** Lists one after the other, each in its own order. */
  function place(row) {
    return values.lists.indexOf(parcels.list[row]) * 1e9 + parcels.rank[row];
  }

  function compare(a, b) {
    const [one, other] = [sorted.column.of(a), sorted.column.of(b)];
    if (Number.isNaN(one) || Number.isNaN(other)) return Number.isNaN(one) - Number.isNaN(other);
    const order = sorted.column.number ? one - other : collator.compare(one, other);
    return (sorted.rising ? order : -order) || place(a) - place(b);
  }

  function arrange() {
    rows = parcels.shown.filter((row) => parcels.rank[row] > 0).sort(compare);
    first = 0;
    fill();
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
  page.byId("table-head").append(...headings);

  function markHeadings() {
    headings.forEach((heading, i) => {
      const order = sorted.rising ? "ascending" : "descending";
      if (columns[i] === sorted.column) heading.setAttribute("aria-sort", order);
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
    const button = element("button", { type: "button", class: "link" }, parcels.name(row));
    button.addEventListener("click", () => popup.open(row, () => buttonOf(row)));
    return element(
      "tr",
      { "data-row": row },
      element("td", { class: "of-rank" }, rounded(parcels.rank[row], null)),
      element(
        "th",
        { scope: "row", class: "of-address" },
        button,
        element("span", { class: "quiet" }, word("one_" + parcels.list[row]))
      ),
      ...figureColumns.map((name) =>
        element("td", { class: "of-" + name }, rounded(parcels[name][row], figure(name).digits))
      )
    );
  }

  function lineOf(row) {
    return page.byId("table-body").querySelector(`tr[data-row="${row}"]`);
  }

  function buttonOf(row) {
    return lineOf(row)?.querySelector("button");
  }

  function mark() {
    for (const line of page.byId("table-body").children) {
      if (line.dataset.row === String(marked)) line.setAttribute("aria-current", "true");
      else line.removeAttribute("aria-current");
    }
  }

  function turn(by) {
    first += by * ROWS_A_PAGE;
    fill();
  }

  page.byId("table-back").addEventListener("click", () => turn(-1));
  page.byId("table-next").addEventListener("click", () => turn(1));
  page.on("shown", arrange);

  page.on("opened", (row) => {
    marked = row;
    const at = rows.indexOf(row);
    if (at >= 0 && (at < first || at >= first + ROWS_A_PAGE)) {
      first = at - (at % ROWS_A_PAGE);
      fill();
    }
    mark();
    scrollInPanel(lineOf(row));
  });
  page.on("closed", () => {
    marked = -1;
    mark();
  });

  /** Brings a line into view where the panel scrolls by itself; never moves the whole page. */
  function scrollInPanel(line) {
    const panel = page.byId("panel");
    if (!line || panel.scrollHeight <= panel.clientHeight) return;
    const [inner, outer] = [line.getBoundingClientRect(), panel.getBoundingClientRect()];
    if (inner.top < outer.top || inner.bottom > outer.bottom) {
      panel.scrollTop += inner.top - outer.top - outer.height / 3;
    }
  }

  markHeadings();
  arrange();
}
