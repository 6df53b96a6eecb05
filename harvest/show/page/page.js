"use strict";

/*
 * What every part of the page shares: the values the writer left for it, texts, rounding, elements, and a
 * short list of things that happen:
 *   "shown"   the choice of parcels changed
 *   "opened"  a parcel's pop-up opened (its row number)
 *   "closed"  it closed
 * Texts from the data reach the page through textContent only, never as markup.
 */

const page = (() => {
  const values = JSON.parse(document.getElementById("page-values").textContent);
  const listeners = { shown: [], opened: [], closed: [] };

  /** The text called `name`, with each {key} replaced. */
  function word(name, filling = {}) {
    return values.words[name].replace(/\{(\w+)\}/g, (whole, key) =>
      key in filling ? String(filling[key]) : whole
    );
  }

  /**
   * A number rounded to what it is worth, in millions from ten million; with `digits` null, as it is.
   * A missing one is a dash.
   */
  function rounded(number, digits) {
    if (!Number.isFinite(number)) return word("missing");
    if (digits === null || number === 0) return number.toLocaleString("en-US");
    const options = { minimumSignificantDigits: digits, maximumSignificantDigits: digits };
    const exact = Number(number.toPrecision(digits));
    if (Math.abs(exact) < 1e7) return number.toLocaleString("en-US", options);
    return word("million", { number: (exact / 1e6).toLocaleString("en-US", { maximumSignificantDigits: digits }) });
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
    element,
    byId: (id) => document.getElementById(id),
    figure: (name) => values.figures.find((one) => one.name === name),
    on: (what, listener) => listeners[what].push(listener),
    tell: (what, detail) => listeners[what].forEach((listener) => listener(detail)),
  };
})();
