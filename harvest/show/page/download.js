"use strict";

/*
 * The rows of the table in view as a CSV file (RFC 4180), made in the page and handed to the browser. Figures are
 * rounded as they are on this page. A text that a spreadsheet could run as a formula gets an apostrophe.
 */

const PARCEL_TEXTS = ["parcel_id", "address", "street", "district", "list", "rank", "status", "reason", "visit_status", "door_caution"];
const SIDE_TEXTS = ["side_id", "street", "stretch", "side", "numbers", "district", "status"];

function setUpDownload(town, tables) {
  const { values, word, byId } = page;

  function csv() {
    const sides = tables.inView() === "sides";
    const [source, table, texts] = sides ? [town.sides, "sides", SIDE_TEXTS] : [town.parcels, "parcels", PARCEL_TEXTS];
    const figures = values.figures[table].filter((one) => one.known && !texts.includes(one.name));
    const head = [...texts.map((name) => word("csv_" + name)), ...figures.map(headOf)];
    const rows = tables.table().rows();
    const lines = rows.map((row) => [
      ...texts.map((name) => source[name][row]),
      ...figures.map((one) => worth(source[one.name][row], one.digits)),
    ]);
    return [head, ...lines].map((line) => line.map(cell).join(",") + "\r\n").join("");
  }

  const headOf = ({ label, sign, unit }) => {
    const units = [sign, unit].filter(Boolean).join(" ");
    return units ? `${label} (${units})` : label;
  };

  function worth(number, digits) {
    if (!Number.isFinite(number)) return null;
    return digits === null ? number : Number(number.toPrecision(digits));
  }

  function cell(value) {
    if (value === null || (typeof value === "number" && Number.isNaN(value))) return "";
    if (typeof value === "number") return String(value);
    const text = value.replaceAll("\0", "\u2400");
    const safe = values.formula_starts.some((start) => text.startsWith(start)) ? "'" + text : text;
    return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
  }

  byId("download").addEventListener("click", () => {
    const file = new Blob([values.byte_order_mark, csv()], { type: "text/csv;charset=utf-8" });
    const link = page.element("a", { href: URL.createObjectURL(file), download: word("csv_file_" + tables.inView()) });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  });
}
