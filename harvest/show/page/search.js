"use strict";

/*
 * Finds streets by their name and parcels by a piece of their address or number. The names of streets are offered
 * as one types.
 */

const FIRST_FOUND = 8;

function setUpSearch(town, popup, shown, tables) {
  const { parcels, sides, streets } = town;
  const { word, element, rounded, byId } = page;
  const collator = new Intl.Collator("en", { numeric: true });
  const box = byId("search");
  let texts = null;

  byId("street-names").append(...streets.map((name) => element("option", { value: name })));
  box.setAttribute("list", "street-names");

  function plain(text) {
    return text.toLowerCase().replace(/\s+/g, " ").trim();
  }

  /** Texts that begin with what is sought come first, then in the order of addresses. */
  function look() {
    texts ??= parcels.address.map((address, row) => plain(`${address || ""} ${parcels.parcel_id[row]}`));
    const sought = plain(box.value);
    const found = sought === "" ? [] : texts.flatMap((text, row) => (text.includes(sought) ? [row] : []));
    found.sort(
      (a, b) =>
        texts[b].startsWith(sought) - texts[a].startsWith(sought) ||
        collator.compare(parcels.name(a), parcels.name(b))
    );
    const named = sought === "" ? [] : streets.filter((name) => plain(name).includes(sought)).slice(0, 3);
    byId("found").replaceChildren(...named.map(street), ...found.slice(0, FIRST_FOUND).map(item));
    byId("search-status").textContent = sought === "" ? "" : told(found.length, named.length);
  }

  function told(count, named) {
    const filling = { count: rounded(count, null), first: FIRST_FOUND };
    if (count === 0) return named ? "" : word("search_none");
    if (count === 1) return word("search_one");
    return word(count > FIRST_FOUND ? "search_many" : "search_few", filling);
  }

  function street(name) {
    const button = element("button", { type: "button", class: "link" }, name);
    button.addEventListener("click", () => {
      shown.set({ ...shown.now(), street: name });
      if (sides) tables.goToSides(sides.street.flatMap((one, row) => (one === name ? [row] : [])));
    });
    return element("li", { class: "street" }, button, element("span", { class: "quiet" }, word("search_street")));
  }

  function item(row) {
    const button = element("button", { type: "button", class: "link" }, parcels.name(row));
    button.addEventListener("click", () => popup.open(row, () => button));
    const number = parcels.address[row] ? parcels.parcel_id[row] : "";
    return element("li", {}, button, element("span", { class: "quiet" }, number));
  }

  box.addEventListener("input", look);
  box.addEventListener("keydown", (event) => {
    if (event.key === "Enter") byId("found").querySelector("button")?.click();
  });
}
