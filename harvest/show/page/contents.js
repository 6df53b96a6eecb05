"use strict";

/*
 * What the pop-up says of one parcel: the door's next step, its place on a list, the three levels of water, what
 * barrels would do there, and behind "more" the rest. What is not known is left out.
 */

const LARGE_ROOFS = "large roofs";
const LEVELS = ["runoff_l_yr", "capturable_l_yr", "yield_l_yr"];
const FACTS = [
  "storm_l",
  "catchment_area_m2",
  "served_area_m2",
  "garden_m2",
  "rain_mm_yr",
  "roof_count",
  "door_count",
];

function setUpContents(town, colouring) {
  const { parcels, sides } = town;
  const { word, element, values, figure, rounded, told } = page;

  const quiet = (text) => element("p", { class: "quiet" }, text);
  const known = (name, row) => !Number.isNaN(parcels[name][row]);

  /** One line of a list of figures: a label, and one figure or the range from one to another. */
  function line(label, row, ...names) {
    if (!names.every((name) => known(name, row))) return null;
    const number = told(names[0], ...names.map((name) => parcels[name][row]));
    const { unit } = figure(names[0]);
    const value = element("dd", {}, element("span", { class: "number" }, number), unit ? " " + unit : "");
    return element("div", { "data-figure": names[0] }, element("dt", {}, label), value);
  }

  /** A list of those of `lines` that say something; nothing where none does. */
  function list(name, lines) {
    const some = lines.filter(Boolean);
    return some.length ? [element("dl", { class: name }, ...some)] : [];
  }

  /** Place on a list, or why there is none. */
  function standing(row) {
    const reason = parcels.reason[row] ? element("p", {}, parcels.reason[row]) : null;
    const name = parcels.list[row];
    if (name === null || !known("rank", row)) {
      const status = word("not_ranked", { status: parcels.status[row] });
      return [element("div", { class: "not-ranked" }, element("p", {}, status), reason)];
    }
    const place = word("standing", {
      list: word("list_" + name),
      rank: rounded(parcels.rank[row], null),
      all: rounded(values.ranked[name], null),
    });
    const note = word(name === LARGE_ROOFS ? "large_roof" : "low_rank");
    return [element("p", { class: "standing" }, place), quiet(note), ...(reason ? [reason] : [])];
  }

  /** What to do at the door next, what to mind there, and on which side and round it lies. */
  function door(row) {
    const status = parcels.visit_status[row];
    const caution = parcels.door_caution[row];
    const side = sides && parcels.on_side[row] >= 0 ? sides.name(parcels.on_side[row]) : null;
    const round = known("round", row) ? word("round_number", { round: rounded(parcels.round[row], null) }) : null;
    const place = [side, round, parcels.district[row]].filter(Boolean).join(" · ");
    return [
      ...(status ? [element("p", { class: "next" }, element("strong", {}, word("next")), " ", word("next_" + status))] : []),
      ...(caution ? [element("p", { class: "door-caution" }, caution)] : []),
      ...(place ? [quiet(place)] : []),
    ];
  }

  /** What the roofs shed, how much is capturable, and what is used of it: always together, each with its bar. */
  function levels(row) {
    if (!LEVELS.some((name) => known(name, row))) return [];
    const [sheds, capturable, used] = LEVELS.map((name) => parcels[name][row]);
    const lines = LEVELS.map((name) => {
      const made = line(name === "yield_l_yr" ? usedLabel(row) : figure(name).label, row, name);
      const share = (100 * parcels[name][row]) / sheds;
      made?.style.setProperty("--share", share > 0 ? `max(2px, ${Math.min(100, share)}%)` : "0px");
      return made;
    });
    const part = (100 * used) / sheds;
    const note = part > 0 ? word("used_part", { percent: rounded(part, 1) }) : word("levels_note");
    return [...list("levels", lines), ...(capturable > 0 && used !== 0 ? [quiet(note)] : []), ...otherwise(row)];
  }

  /** What another number of barrels would do, where one is chosen for the map. */
  function otherwise(row) {
    const count = colouring.barrels;
    if (count === SUGGESTED || count === parcels.suggested_barrels[row] || !known(colouring.used(), row)) return [];
    const label = count === 1 ? word("used_with_1") : word("used_with", { count });
    return list("otherwise", [line(label, row, colouring.used())]);
  }

  function usedLabel(row) {
    const count = parcels.suggested_barrels[row];
    if (!(count > 0)) return figure("yield_l_yr").label;
    return count === 1 ? word("used_with_one") : word("used_with_some", { count: rounded(count, null) });
  }

  /** What the suggested barrels would do, with both ranges, and what they cost; or why none is suggested. */
  function barrels(row) {
    if (parcels.suggested_barrels[row] === 0) return [element("p", { class: "no-barrels" }, word(noBarrels(row)))];
    if (!known("yield_l_yr", row)) return [];
    const hangs = parcels.yield_hangs_on[row];
    return [
      ...list("ranges", [
        line(word("not_knowing"), row, "yield_low_l_yr", "yield_high_l_yr"),
        line(word("weather"), row, "yield_poor_year_l_yr", "yield_good_year_l_yr"),
        line(word("cost"), row, "net_cost_usd"),
        line(word("saving"), row, "saving_low_usd_yr", "saving_high_usd_yr"),
      ]),
      ...(parcels.payback[row] ? [element("p", {}, parcels.payback[row])] : []),
      ...(hangs ? [quiet(word("used_hangs_on", { input: hangs }))] : []),
      ...(values.made_up_days ? [element("p", { class: "made-up" }, word("made_up_days"))] : []),
    ];
  }

  function noBarrels(row) {
    if (parcels.roof_count[row] === 0) return "no_barrels_roof";
    return parcels.capturable_l_yr[row] === 0 ? "no_barrels_gutter" : "no_barrels_garden";
  }

  function more(row) {
    const lines = FACTS.map((name) => line(labelOf(name), row, name));
    const filled = fills(row);
    if (!lines.some(Boolean) && !filled) return [];
    const summary = element("summary", {}, word("more"));
    return [element("details", {}, summary, ...(filled ? [filled] : []), ...list("facts", lines))];
  }

  function labelOf(name) {
    const depth = name === "storm_l" && values.storm_depth;
    return depth ? word("storm", { depth }) : figure(name).label;
  }

  function fills(row) {
    if (!known("fill_min", row)) return null;
    const time = `${told("fill_min", parcels.fill_min[row])} ${figure("fill_min").unit}`;
    const intensity = values.storm_intensity;
    return element("p", { "data-figure": "fill_min" }, word(intensity ? "fills_at" : "fills", { time, intensity }));
  }

  return (row) => [
    ...(parcels.address[row] ? [quiet(word("parcel", { parcel: parcels.parcel_id[row] }))] : []),
    ...door(row),
    ...standing(row),
    ...levels(row),
    ...barrels(row),
    ...more(row),
  ];
}
