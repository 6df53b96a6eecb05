"use strict";

/*
 * What is printed: one landscape sheet with the map as it stands, its title, scale and legend, and one with the best
 * rows of the table in view. The map is painted anew on a canvas of its own while the browser prepares to print, never
 * cleared first: what is cleared then comes out as a white sheet.
 */

const SHEET_WIDE_PX = 960;
const SHEET_HIGH_PX = 500;
const SHEET_DENSITY = 2;
const SHEET_ROWS = 28;
const METRES_A_PIXEL = 40075016.686 / 2 ** (8 + WORLD_ZOOM);

function setUpSheet(map, town, colouring, paint, tables) {
  const { word, element, values, byId, rounded } = page;

  function prepare() {
    const canvas = element("canvas", { width: SHEET_WIDE_PX * SHEET_DENSITY, height: SHEET_HIGH_PX * SHEET_DENSITY });
    const view = viewOfMap();
    const context = canvas.getContext("2d");
    context.scale(SHEET_DENSITY, SHEET_DENSITY);
    context.fillStyle = "#e9ece8";
    context.fillRect(0, 0, SHEET_WIDE_PX, SHEET_HIGH_PX);
    paint(context, view);
    byId("sheet-map").replaceChildren(canvas, scaleBar(view), element("p", { class: "north" }, word("north")));
    byId("sheet-legend").replaceChildren(
      ...["legend-of", "legend", "legend-marks", "layer-keys"].map((id) => {
        const copy = byId(id).cloneNode(true);
        copy.removeAttribute("id");
        copyCanvases(byId(id), copy);
        return copy;
      })
    );
    byId("sheet-totals").replaceChildren(...[...byId("totals").children].map((part) => part.cloneNode(true)));
    fillTable();
  }

  /** What the map shows, fitted into the sheet. */
  function viewOfMap() {
    const bounds = map.getBounds();
    const [one, other] = [bounds.getNorthWest(), bounds.getSouthEast()].map((corner) => map.project(corner, WORLD_ZOOM));
    const scale = Math.min(SHEET_WIDE_PX / (other.x - one.x), SHEET_HIGH_PX / (other.y - one.y));
    return {
      scale,
      west: (one.x + other.x - SHEET_WIDE_PX / scale) / 2,
      north: (one.y + other.y - SHEET_HIGH_PX / scale) / 2,
      wide: SHEET_WIDE_PX,
      high: SHEET_HIGH_PX,
      zoom: WORLD_ZOOM + Math.log2(scale),
    };
  }

  /** A bar of a round length, about a sixth of the sheet at most. */
  function scaleBar({ scale }) {
    const metres = (METRES_A_PIXEL / scale) * Math.cos((map.getCenter().lat * Math.PI) / 180);
    const [unit, size] = values.units === "us" ? ["ft", 0.3048] : ["m", 1];
    const most = ((SHEET_WIDE_PX / 6) * metres) / size;
    const ten = 10 ** Math.floor(Math.log10(most));
    const length = [5, 2, 1].map((times) => times * ten).find((one) => one <= most);
    const bar = element("div", { class: "bar" }, `${rounded(length, null)} ${unit}`);
    bar.style.width = (100 * length * size) / metres / SHEET_WIDE_PX + "%";
    return bar;
  }

  function copyCanvases(from, to) {
    const copies = to.querySelectorAll("canvas");
    from.querySelectorAll("canvas").forEach((canvas, i) => copies[i].getContext("2d").drawImage(canvas, 0, 0));
  }

  /** The first rows of the table in view, in its order. */
  function fillTable() {
    const table = tables.table();
    const rows = table.rows().slice(0, SHEET_ROWS);
    byId("sheet-table-heading").textContent = word("sheet_" + tables.inView());
    byId("sheet-table-rows").textContent = rows.length
      ? word("table_rows", { first: 1, last: rows.length, all: rounded(table.rows().length, null) })
      : "";
    byId("sheet-head").replaceChildren(
      ...table.columns.map((one) =>
        element("th", { scope: "col", class: "of-" + one.name }, page.withUnit(one.label, one.unit ? `(${one.unit})` : ""))
      )
    );
    byId("sheet-body").replaceChildren(
      ...rows.map((row) =>
        element(
          "tr",
          {},
          ...table.columns.map((one) =>
            one.heading
              ? element("th", { scope: "row", class: "of-" + one.name }, one.of(row), about(row))
              : element("td", { class: "of-" + one.name }, one.told(row))
          )
        )
      )
    );
  }

  function about(row) {
    if (tables.inView() !== "sides") return null;
    const { stretch, numbers } = town.sides;
    const text = [stretch[row], numbers[row]].filter(Boolean).join(" · ");
    return text ? element("span", { class: "quiet" }, " " + text) : null;
  }

  window.addEventListener("beforeprint", prepare);
  byId("print").addEventListener("click", () => window.print());
}
