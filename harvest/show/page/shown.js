"use strict";

/*
 * Which parcels are shown: those that pass every filter. Filters that the data can't answer are not offered. Says how
 * many are left and what they add up to.
 */

const EVERYTHING = "all";
const BOTH_LISTS = "both";
const BEST_CHOICES = [25, 50, 100, 250, 500, 1000];
const FILTERED = { street: "street", district: "district", status: "status", visit: "visit_status" };
const FILTERS = ["list", "best", "street", "district", "class", "status", "visit"];

function setUpShown(town, colouring) {
  const { parcels, sides } = town;
  const { word, values, element, byId, rounded } = page;
  const at = Object.fromEntries(FILTERS.map((name) => [name, byId("choose-" + name)]));
  const flags = new Uint8Array(parcels.rows);
  const option = (value, text) => element("option", { value }, text);
  const streets = page.different([parcels, ...(sides ? [sides] : [])].flatMap((layer) => layer.sections.street.words));
  town.streets = streets;

  at.list.append(
    option(EVERYTHING, word("list_all")),
    option(BOTH_LISTS, word("list_both")),
    ...values.lists.map((name) => option(name, word("list_" + name)))
  );
  at.best.append(option("", word("best_all")), ...BEST_CHOICES.map((count) => option(count, rounded(count, null))));
  offer("street", streets);
  offer("district", page.different(parcels.sections.district.words));
  offer("status", values.statuses);
  offer("visit", values.visits, (one) => word("visit_" + one));
  tellClasses();

  function offer(name, texts, told = (text) => text) {
    at[name].replaceChildren(option("", word("any")), ...texts.map((text) => option(text, told(text))));
    byId(name + "-choice").hidden = texts.length < (name === "status" ? 2 : 1);
  }

  /** Classes above the lowest, each by where it begins; the choice falls where the measure has no such class. */
  function tellClasses() {
    const { breaks, unit } = colouring.measure;
    const before = at.class.value;
    const texts = breaks.map((bound) => word("class_from", { low: page.withUnit(rounded(bound, 2), unit) }));
    at.class.replaceChildren(option("", word("any")), ...texts.map((text, i) => option(i + 2, text)));
    at.class.value = Number(before) <= breaks.length + 1 ? before : "";
    byId("class-choice").hidden = breaks.length === 0;
  }

  /** Limits belong to lists, so choosing one leaves "everything" behind. */
  at.best.addEventListener("change", () => {
    if (at.best.value !== "" && at.list.value === EVERYTHING) at.list.value = BOTH_LISTS;
  });
  at.list.addEventListener("change", () => {
    if (at.list.value === EVERYTHING) at.best.value = "";
  });
  for (const name of FILTERS) at[name].addEventListener("change", choose);
  byId("show-all").addEventListener("click", () => set({}));
  page.on("coloured", () => {
    tellClasses();
    choose();
  });

  /** What a row must pass: a test for each filter that is set, but for that of the chosen side. */
  function tests() {
    const chosen = now();
    const made = [];
    if (chosen.list !== EVERYTHING) {
      const { list, rank } = parcels;
      made.push(chosen.list === BOTH_LISTS ? (row) => list[row] !== null : (row) => list[row] === chosen.list);
      if (chosen.best !== "") made.push((row) => rank[row] <= Number(chosen.best));
    }
    if (chosen.class !== "") made.push((row) => colouring.classes[row] >= Number(chosen.class));
    for (const [name, column] of Object.entries(FILTERED)) {
      if (chosen[name] === "") continue;
      const texts = parcels[column];
      made.push((row) => texts[row] === chosen[name]);
    }
    return made;
  }

  function choose() {
    const passed = tests();
    const filtered = filters() > 0;
    const onSide = sides ? parcels.on_side : null;
    town.sidesLeft = sides ? new Uint8Array(sides.rows).fill(filtered ? 0 : 1) : null;
    parcels.shown = [];
    for (let row = 0; row < parcels.rows; row++) {
      let wanted = passed.every((passes) => passes(row));
      if (onSide) {
        const side = onSide[row];
        if (wanted && side >= 0) town.sidesLeft[side] = 1;
        wanted = wanted && (town.side < 0 || side === town.side);
      }
      flags[row] = wanted ? 1 : 0;
      if (wanted) parcels.shown.push(row);
    }
    byId("show-all").disabled = !filtered && town.side < 0;
    tellSide();
    tellTotals();
    page.tell("shown");
  }

  const filters = () => FILTERS.filter((name) => at[name].value !== (name === "list" ? EVERYTHING : "")).length;

  function tellSide() {
    byId("side-chosen").hidden = town.side < 0;
    if (town.side >= 0) byId("side-name").textContent = word("only_side", { side: sides.name(town.side) });
  }
  byId("side-leave").addEventListener("click", () => {
    pick(-1);
    byId("shown-heading").focus();
  });

  /** Show only the parcels of the side in this row; of every side with -1. */
  function pick(side) {
    town.side = side;
    choose();
  }

  function tellTotals() {
    const { shown } = parcels;
    const figures = parcels[values.coloured];
    const missing = shown.filter((row) => Number.isNaN(figures[row])).length;
    const filling = { parcels: rounded(shown.length, null), all: rounded(parcels.rows, null) };
    const some = shown.length === parcels.rows ? "shown_all" : "shown_some";
    const madeUp = values.made_up_days && page.knows("yield_l_yr");
    const left = missing ? word("total_missing", { count: rounded(missing, null) }) : "";
    byId("totals").replaceChildren(
      element("p", { class: "count" }, word(shown.length === 0 ? "shown_none" : some, filling)),
      element("dl", { class: "sums" }, ...values.summed.filter((name) => page.knows(name)).map(sum)),
      element("p", { class: "quiet" }, left),
      ...(madeUp ? [element("p", { class: "made-up" }, word("made_up_days"))] : [])
    );
  }

  function sum(name) {
    const used = name === "yield_l_yr";
    const figure = page.figure(name);
    const column = parcels[used ? colouring.used() : name];
    const total = parcels.shown.reduce((sum, row) => sum + (column[row] || 0), 0);
    return element(
      "div",
      { "data-figure": name },
      element("dt", {}, used ? colouring.usedLabel() : figure.label),
      element(
        "dd",
        {},
        element("span", { class: "number" }, rounded(total, figure.digits)),
        " ",
        element("span", { class: "unit" }, figure.unit)
      )
    );
  }

  /** Set every filter; one that is not named or not offered is left open. */
  function set(wanted, side = -1) {
    for (const name of FILTERS) {
      const value = wanted[name] ?? (name === "list" ? EVERYTHING : "");
      at[name].value = [...at[name].options].some((one) => one.value === value) ? value : name === "list" ? EVERYTHING : "";
    }
    pick(side);
  }

  const now = () => Object.fromEntries(FILTERS.map((name) => [name, at[name].value]));

  parcels.isShown = (row) => flags[row] === 1;
  town.side = -1;
  choose();
  return { set, now, pick };
}
