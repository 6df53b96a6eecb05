"use strict";

/*
 * The two tables, of street sides and of parcels, and which of them is in view. A row leads to the map, and what is
 * chosen on the map marks its row.
 */

const PARCEL_COLUMNS = ["runoff_l_yr", "capturable_l_yr", "yield_l_yr", "suggested_barrels", "catchment_area_m2"];
const SIDE_COLUMNS = ["to_visit_count", "canvass_min", "worth_l_min", "worth_door_l_yr", "round"];

function setUpTables(town, colouring, popup, shown, map) {
  const { parcels, sides } = town;
  const { word, element, values, byId, knows } = page;

  function figureColumn(source, name, table, field = () => name) {
    const { unit } = page.figure(name, table);
    return {
      name,
      unit,
      label: word(`${table}_${name}`),
      of: (row) => source[field()][row],
      told: (row) => page.told(name, source[field()][row], null, table),
      rising: false,
      number: true,
    };
  }

  /** What is used, with the number of barrels chosen. */
  function usedColumn() {
    const column = figureColumn(parcels, "yield_l_yr", "parcels", colouring.used);
    return Object.defineProperty(column, "label", {
      get() {
        const count = colouring.barrels;
        if (count === SUGGESTED) return word("parcels_yield_l_yr");
        return count === 1 ? word("table_used_1") : word("table_used", { count });
      },
    });
  }

  const rankColumn = (source, place) => ({
    name: "rank",
    label: word("table_rank"),
    of: place,
    told: (row) => page.rounded(source.rank[row], null),
    rising: true,
    number: true,
  });

  /** Lists one after the other, each in its own order; then those on none. */
  const { list, rank } = parcels;
  const beyond = values.lists.length * 1e9;
  const places = new Float64Array(parcels.rows);
  for (let row = 0; row < places.length; row++) places[row] = rank[row] > 0 ? values.lists.indexOf(list[row]) * 1e9 + rank[row] : beyond;
  const place = (row) => places[row];
  const ranked = [];
  for (const row of rowsBy(places)) if (places[row] < beyond) ranked.push(row);
  const ofParcels = setUpTable({
    id: "table",
    empty: "table_empty",
    columns: [
      rankColumn(parcels, place),
      { name: "address", label: word("table_address"), of: parcels.name, rising: true, heading: true },
      ...PARCEL_COLUMNS.filter((name) => knows(name)).map((name) => (name === "yield_l_yr" ? usedColumn() : figureColumn(parcels, name, "parcels"))),
    ],
    all: () => ranked.filter(parcels.isShown),
    placed: true,
    heading(row, back) {
      const button = element("button", { type: "button", class: "link" }, parcels.name(row));
      button.addEventListener("click", () => popup.open(row, back));
      return [button, element("span", { class: "quiet" }, word("one_" + parcels.list[row]))];
    },
  });
  page.on("opened", (row) => ofParcels.show(row));
  page.on("closed", () => ofParcels.show(-1));
  page.on("coloured", () => ofParcels.relabel());

  const ofSides = sides ? setUpSides() : null;

  function setUpSides() {
    const every = Array.from(rowsBy(sides.rank.map((rank) => rank || sides.rows + 1)));
    const table = setUpTable({
      id: "sides",
      empty: "sides_empty",
      columns: [
        rankColumn(sides, (row) => sides.rank[row]),
        { name: "side", label: word("sides_side"), of: sides.name, rising: true, heading: true },
        ...SIDE_COLUMNS.filter((name) => knows(name, "sides")).map((name) => figureColumn(sides, name, "sides")),
      ],
      all: () => every.filter((row) => town.sidesLeft[row]),
      placed: true,
      heading(row) {
        const button = element("button", { type: "button", class: "link" }, sides.name(row));
        button.addEventListener("click", () => chooseSide(row, true));
        const about = [sides.stretch[row], sides.numbers[row], sides.district[row]].filter(Boolean).join(" · ");
        const more = sides.status[row] === "to canvass" ? about : [about, word("side_" + sides.status[row])].join(" · ");
        return [button, element("span", { class: "quiet" }, more)];
      },
    });
    page.on("shown", () => table.show(town.side));
    return table;
  }

  /** Show the parcels of one side; choosing it again shows those of all. `go` moves the map there. */
  function chooseSide(row, go) {
    const again = row === town.side;
    shown.pick(again ? -1 : row);
    ofSides.buttonOf(row)?.focus({ preventScroll: true });
    if (go && !again) goToSides([row]);
  }

  /** Move the map to where these sides are. */
  function goToSides(rows) {
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    for (const row of rows) {
      const [west, north, east, south] = sides.lines.boxes.subarray(4 * row, 4 * row + 4);
      grow(box, west, north);
      grow(box, east, south);
    }
    if (!(box[0] <= box[2])) return;
    const [one, other] = [map.unproject([box[0], box[1]], WORLD_ZOOM), map.unproject([box[2], box[3]], WORLD_ZOOM)];
    map.fitBounds(L.latLngBounds(one, other), { padding: [60, 60], maxZoom: 18, animate: false });
  }

  // Which table is in view

  const choices = byId("table-choice").querySelectorAll("input");
  byId("table-choice").hidden = !sides;
  let inView = sides ? "sides" : "parcels";

  function view(name) {
    inView = sides && name === "sides" ? "sides" : "parcels";
    for (const choice of choices) choice.checked = choice.value === inView;
    byId("sides-part").hidden = inView !== "sides";
    byId("table-part").hidden = inView !== "parcels";
    page.tell("table");
  }
  for (const choice of choices) choice.addEventListener("change", () => view(choice.value));
  view(inView);

  return {
    view,
    inView: () => inView,
    table: (name = inView) => (name === "sides" ? ofSides : ofParcels),
    chooseSide,
    goToSides,
  };
}
