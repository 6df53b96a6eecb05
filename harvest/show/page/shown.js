"use strict";

/*
 * Which parcels are shown: a list, and only its best. Says how many they are and what they add up to.
 */

const EVERYTHING = "all";
const BOTH_LISTS = "both";
const BEST_CHOICES = [25, 50, 100, 250, 500, 1000];

function setUpShown(parcels) {
  const lists = page.byId("choose-list");
  const bests = page.byId("choose-best");
  const { word, values, element } = page;

  lists.append(
    element("option", { value: EVERYTHING }, word("list_all")),
    element("option", { value: BOTH_LISTS }, word("list_both")),
    ...values.lists.map((name) => element("option", { value: name }, word("list_" + name)))
  );
  bests.append(
    element("option", { value: "" }, word("best_all")),
    ...BEST_CHOICES.map((count) => element("option", { value: count }, page.rounded(count, null)))
  );

  /** Limits belong to lists, so choosing one leaves "everything" behind. */
  bests.addEventListener("change", () => {
    if (bests.value !== "" && lists.value === EVERYTHING) lists.value = BOTH_LISTS;
    choose();
  });
  lists.addEventListener("change", () => {
    if (lists.value === EVERYTHING) bests.value = "";
    choose();
  });

  function choose() {
    const most = bests.value === "" ? Infinity : Number(bests.value);
    parcels.isShown = (row) => {
      if (lists.value === EVERYTHING) return true;
      const list = parcels.list[row];
      const wanted = lists.value === BOTH_LISTS ? list !== null : list === lists.value;
      return wanted && parcels.rank[row] <= most;
    };
    parcels.shown = parcels.all.filter(parcels.isShown);
    tellTotals();
    page.tell("shown");
  }

  function tellTotals() {
    const { shown } = parcels;
    const missing = shown.filter((row) => Number.isNaN(parcels[values.coloured][row])).length;
    const filling = {
      parcels: page.rounded(shown.length, null),
      all: page.rounded(parcels.rows, null),
    };
    const count =
      shown.length === 0 ? "shown_none" : shown.length === parcels.rows ? "shown_all" : "shown_some";
    const madeUp = values.made_up_days && page.figure("yield_l_yr").known;
    const left = missing ? word("total_missing", { count: page.rounded(missing, null) }) : "";
    page.byId("totals").replaceChildren(
      element("p", { class: "count" }, word(count, filling)),
      element("dl", { class: "sums" }, ...values.summed.filter((name) => page.figure(name).known).map(sum)),
      element("p", { class: "quiet" }, left),
      ...(madeUp ? [element("p", { class: "made-up" }, word("made_up_days"))] : [])
    );
  }

  function sum(name) {
    const figure = page.figure(name);
    const total = parcels.shown.reduce((sum, row) => sum + (parcels[name][row] || 0), 0);
    return element(
      "div",
      { "data-figure": name },
      element("dt", {}, figure.label),
      element(
        "dd",
        {},
        element("span", { class: "number" }, page.rounded(total, figure.digits)),
        " ",
        element("span", { class: "unit" }, figure.unit)
      )
    );
  }

  choose();
}
