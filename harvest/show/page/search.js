"use strict";

/*
 * Finds parcels by a piece of their address or number.
 */

const FIRST_FOUND = 8;

function setUpSearch(parcels, popup) {
  const { word, element, rounded } = page;
  const collator = new Intl.Collator("en", { numeric: true });
  const box = page.byId("search");
  const texts = parcels.all.map((row) => plain(`${parcels.address[row] || ""} ${parcels.parcel_id[row]}`));

  function plain(text) {
    return text.toLowerCase().replace(/\s+/g, " ").trim();
  }

  /** Texts that begin with what is sought come first, then in the order of addresses. */
  function look() {
    const sought = plain(box.value);
    const found = sought === "" ? [] : parcels.all.filter((row) => texts[row].includes(sought));
    found.sort(
      (a, b) =>
        texts[b].startsWith(sought) - texts[a].startsWith(sought) ||
        collator.compare(parcels.name(a), parcels.name(b))
    );
    page.byId("found").replaceChildren(...found.slice(0, FIRST_FOUND).map(item));
    page.byId("search-status").textContent = sought === "" ? "" : told(found.length);
  }

  function told(count) {
    if (count === 0) return word("search_none");
    if (count === 1) return word("search_one");
    const filling = { count: rounded(count, null), first: FIRST_FOUND };
    return word(count > FIRST_FOUND ? "search_many" : "search_few", filling);
  }

  function item(row) {
    const button = element("button", { type: "button", class: "link" }, parcels.name(row));
    button.addEventListener("click", () => popup.open(row, () => button));
    const number = parcels.address[row] ? parcels.parcel_id[row] : "";
    return element("li", {}, button, element("span", { class: "quiet" }, number));
  }

  box.addEventListener("input", look);
  box.addEventListener("keydown", (event) => {
    if (event.key === "Enter") page.byId("found").querySelector("button")?.click();
  });
}
