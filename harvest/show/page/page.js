"use strict";

/*
 * What every part of the page shares: the values the writer left for it, texts, rounding, elements, and a
 * short list of things that happen:
 *   "shown"    the choice of parcels changed
 *   "opened"   a parcel's pop-up opened (its row number)
 *   "closed"   it closed
 *   "coloured" another measure or another number of barrels colours the map
 *   "layers"   a layer was switched on or off
 *   "table"    another table, or another order of it, is in view
 * Texts from the data reach the page through textContent only, never as markup.
 */

const page = (() => {
  const values = JSON.parse(document.getElementById("page-values").textContent);
  const listeners = { shown: [], opened: [], closed: [], coloured: [], layers: [], table: [] };

  /** The text called `name`, with each {key} replaced. */
  function word(name, filling = {}) {
    return values.words[name].replace(/\{(\w+)\}/g, (whole, key) =>
      key in filling ? String(filling[key]) : whole
    );
  }

  /** How numbers are written: with so many significant digits, or with `digits` null as they are. */
  const formats = new Map();
  function format(digits) {
    if (!formats.has(digits)) {
      const options = digits === null ? {} : { minimumSignificantDigits: digits, maximumSignificantDigits: digits };
      formats.set(digits, new Intl.NumberFormat("en-US", options));
    }
    return formats.get(digits);
  }

  /**
   * A number rounded to what it is worth, in millions from ten million; with `digits` null, as it is.
   * A missing one is a dash.
   */
  function rounded(number, digits) {
    if (!Number.isFinite(number)) return word("missing");
    if (digits === null || number === 0) return format(null).format(number);
    const exact = Number(number.toPrecision(digits));
    if (Math.abs(exact) < 1e7) return format(digits).format(number);
    return word("million", { number: (exact / 1e6).toLocaleString("en-US", { maximumSignificantDigits: digits }) });
  }

  const figure = (name, table = "parcels") => values.figures[table].find((one) => one.name === name);

  /** Whether `table` has a figure called `name` of which anything is known. */
  const knows = (name, table = "parcels") => Boolean(figure(name, table)?.known);

  /** Which texts of a column stand anywhere, each once, in the order of people. */
  function different(column) {
    const collator = new Intl.Collator("en", { numeric: true });
    return [...new Set(column)].filter((text) => text !== null).sort(collator.compare);
  }

  /** The unit of a figure behind it, where it has one. */
  const withUnit = (text, unit) => (unit ? `${text} ${unit}` : text);

  /** Dollars: to the cent below 10, to 2 digits below 100, above to 3. */
  function dollars(number) {
    if (number === 0) return "0";
    return number < 10 ? number.toFixed(2) : rounded(number, number < 100 ? 2 : 3);
  }

  /** One number of the figure called `name`, or the range from one "to" the other; a missing one is a dash. */
  function told(name, low, high = null, table = "parcels") {
    const { sign, digits } = figure(name, table);
    const one = (number) => (sign && Number.isFinite(number) ? sign + dollars(number) : rounded(number, digits));
    return high === null ? one(low) : word("range", { low: one(low), high: one(high) });
  }

  /** An element with attributes, and with children that are elements or plain text. */
  function element(tag, attributes = {}, ...children) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (value !== null) made.setAttribute(name, value);
    }
    made.append(...children.filter((child) => child !== null));
    return made;
  }

  return {
    values,
    word,
    rounded,
    told,
    element,
    byId: (id) => document.getElementById(id),
    figure,
    knows,
    different,
    withUnit,
    on: (what, listener) => listeners[what].push(listener),
    tell: (what, detail) => listeners[what].forEach((listener) => listener(detail)),
  };
})();
