"use strict";

/*
 * What the pop-up of the public edition says: how many homes, and the three levels of water, always together.
 */

/** A sum as it is told: rounded, and where rounding left nothing, what it is under. */
function toldSum(measure, value) {
  if (value === 0) return page.word("under", { bound: page.rounded(page.values.step / 2, null) });
  return page.rounded(value, measure.digits);
}

function setUpContents({ parcels: cells }) {
  const { word, element, values } = page;

  const line = (measure, row) =>
    element(
      "div",
      { "data-figure": measure.name },
      element("dt", {}, measure.label),
      element("dd", {}, element("span", { class: "number" }, toldSum(measure, cells[measure.name][row])), " " + measure.unit)
    );

  return (row) => [
    element("p", { class: "standing" }, word("about_homes", { homes: page.rounded(cells.home_count[row], null) })),
    element("dl", { class: "facts" }, ...values.measures.map((measure) => line(measure, row))),
    element("p", { class: "quiet" }, word("levels_note")),
    ...(values.made_up_days ? [element("p", { class: "made-up" }, word("made_up_days"))] : []),
  ];
}
