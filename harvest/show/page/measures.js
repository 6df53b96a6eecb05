"use strict";

/*
 * What colours the parcels: one measure at a time, and for what is used, with how many barrels. A figure falls in
 * class 1 to n; 0 is nothing, -1 no figure.
 */

const SUGGESTED = 0;
const USED_WITH = [
  "yield_l_yr",
  "yield_1_barrels_l_yr",
  "yield_2_barrels_l_yr",
  "yield_3_barrels_l_yr",
  "yield_4_barrels_l_yr",
];

function setUpMeasures(parcels) {
  const { word, element, values, byId } = page;
  const chooseMeasure = byId("choose-measure");
  const chooseBarrels = byId("choose-barrels");
  const colouring = { measure: values.measures[0], barrels: SUGGESTED, classes: new Int8Array(parcels.rows), counts: [] };

  chooseMeasure.append(...values.measures.map((one) => element("option", { value: one.name }, one.label)));
  chooseBarrels.append(
    element("option", { value: SUGGESTED }, word("barrels_suggested")),
    ...values.barrels.map((count) => element("option", { value: count }, page.rounded(count, null)))
  );
  byId("barrels-choice").hidden = values.barrels.length === 0;

  /** The field of what is used with the number of barrels chosen. */
  colouring.used = () => USED_WITH[colouring.barrels];

  /** How that is called. */
  colouring.usedLabel = () => {
    const count = colouring.barrels;
    if (count === SUGGESTED) return page.figure("yield_l_yr").label;
    return count === 1 ? word("used_with_1") : word("used_with", { count });
  };

  /** What tells the figure of a row that colours it. */
  function valueOf() {
    const { field, by_barrels: byBarrels, a_door: aDoor } = colouring.measure;
    const figures = parcels[byBarrels ? colouring.used() : field];
    if (!aDoor) return (row) => figures[row];
    const doors = parcels.door_count;
    return (row) => (doors[row] > 0 ? figures[row] / doors[row] : NaN);
  }

  colouring.value = (row) => valueOf()(row);

  /** The measure's name, with the number of barrels that it goes by. */
  colouring.label = () => {
    const { measure, barrels } = colouring;
    if (!measure.by_barrels || barrels === SUGGESTED) return measure.label;
    const count = barrels === 1 ? word("one_barrel") : word("some_barrels", { count: barrels });
    return word("measure_with", { label: measure.label, barrels: count });
  };

  /** Colour by another measure or number of barrels; what the page does not offer changes nothing. */
  colouring.choose = (name, barrels) => {
    colouring.measure = values.measures.find((one) => one.name === name) ?? colouring.measure;
    if (barrels === SUGGESTED || values.barrels.includes(barrels)) colouring.barrels = barrels;
    chooseMeasure.value = colouring.measure.name;
    chooseBarrels.value = colouring.barrels;
    classify();
    page.tell("coloured");
  };

  function classify() {
    const { breaks } = colouring.measure;
    const { classes } = colouring;
    const counts = new Array(breaks.length + 3).fill(0);
    const value = valueOf();
    for (let row = 0; row < parcels.rows; row++) {
      const figure = value(row);
      let number = -1;
      if (figure === figure) {
        number = figure > 0 ? 1 : 0;
        if (number) while (number <= breaks.length && figure >= breaks[number - 1]) number++;
      }
      classes[row] = number;
      counts[number + 1]++;
    }
    colouring.counts = counts;
  }

  /** What class `number` holds, in words. */
  colouring.range = (number) => {
    const { breaks, digits } = colouring.measure;
    if (breaks.length === 0) return word("legend_any");
    const [low, high] = [breaks[number - 2], breaks[number - 1]];
    if (digits === null) return countRange(low ?? 1, high);
    const told = (bound) => page.rounded(bound, 2);
    if (number === 1) return word("legend_under", { high: told(high) });
    return high === undefined ? word("legend_over", { low: told(low) }) : word("legend_between", { low: told(low), high: told(high) });
  };

  /** Counts have gaps between them, so that both ends of a class can be told. */
  function countRange(low, high) {
    if (high === undefined) return word("legend_over", { low: page.rounded(low, null) });
    const last = Math.ceil(high) - 1;
    if (last <= low) return page.rounded(low, null);
    return word("legend_between", { low: page.rounded(low, null), high: page.rounded(last, null) });
  }

  const chosen = () => colouring.choose(chooseMeasure.value, Number(chooseBarrels.value));
  chooseMeasure.addEventListener("change", chosen);
  chooseBarrels.addEventListener("change", chosen);
  classify();
  return colouring;
}
