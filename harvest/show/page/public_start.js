"use strict";

/*
 * Puts the public edition's page together: its data, its map, the measure that colours it, and its words.
 */

async function start(map) {
  const trouble = page.byId("trouble");
  if (typeof DecompressionStream === "undefined") {
    trouble.textContent = page.word("too_old");
    return;
  }
  let cells;
  let ground;
  try {
    [cells, ground] = await Promise.all(["cells-data", "ground-data"].map(unpackedLayer));
  } catch (error) {
    trouble.textContent = page.word("damaged");
    throw error;
  }
  cells.name = (row) => cells.where[row];
  const { measures } = page.values;
  const colouring = { measure: measures[Math.min(1, measures.length - 1)] };

  setUpPublicMap(map);
  const grid = new TownGrid(setUpCellPainter(cells, ground, colouring), { maxZoom: 19, className: "cell-tiles" });
  grid.addTo(map);
  const popup = setUpPopup(map, { parcels: cells }, colouring);
  setUpPublicPointer(map, cells, colouring, popup);
  setUpCells(cells, popup);
  setUpWords();
  setUpMeasures(colouring);
  page.on("coloured", () => grid.repaint());
  document.documentElement.dataset.ready = "true";
}

/** The table of all sums, and the way from it to the map and back. */
function setUpCells(cells, popup) {
  const { word, element, values, rounded } = page;
  const all = Array.from({ length: cells.rows }, (nothing, row) => row);
  const count = (row) => rounded(cells.home_count[row], null);
  const table = setUpTable({
    id: "table",
    columns: [
      { name: "address", label: word("table_where"), of: cells.name, rising: true, heading: true },
      { name: "home_count", label: word("table_home_count"), of: (row) => cells.home_count[row], told: count, rising: false, number: true },
      ...values.measures.map((measure) => ({
        name: measure.name,
        label: word("table_" + measure.name),
        unit: measure.unit,
        of: (row) => cells[measure.name][row],
        told: (row) => toldSum(measure, cells[measure.name][row]),
        rising: false,
        number: true,
      })),
    ],
    all: () => all.slice(),
    heading(row, back) {
      const button = element("button", { type: "button", class: "link" }, cells.name(row));
      button.addEventListener("click", () => popup.open(row, back));
      return [button];
    },
    empty: "table_empty",
  });
  page.on("opened", (row) => table.show(row));
  page.on("closed", () => table.show(-1));
}

/** Which measure colours the map, and what its colours mean. */
function setUpMeasures(colouring) {
  const { word, element, values, rounded } = page;
  const choice = page.byId("choose-measure");
  choice.append(...values.measures.map(({ name, label }) => element("option", { value: name }, label)));
  choice.disabled = values.measures.length < 2;
  if (!colouring.measure) return;
  choice.value = colouring.measure.name;
  choice.addEventListener("change", () => {
    colouring.measure = values.measures.find(({ name }) => name === choice.value);
    tell();
    page.tell("coloured");
  });
  tell();

  function tell() {
    const { label, unit, breaks, colours } = colouring.measure;
    page.byId("legend-of").textContent = word("legend_of", { label, unit });
    page.byId("legend").replaceChildren(
      ...colours.map((colour, i) => {
        const box = element("span", { class: "swatch class" });
        box.style.backgroundColor = colour;
        return element("li", {}, box, range(breaks, i));
      })
    );
    page.byId("legend-note").textContent = [colours.length > 1 ? word("legend_note") : "", word("legend_one")].join(" ");
  }

  function range(breaks, i) {
    const [low, high] = [breaks[i - 1], breaks[i]].map((bound) => rounded(bound, 2));
    if (breaks.length === 0) return word("legend_any");
    if (i === 0) return word("legend_under", { high });
    return i === breaks.length ? word("legend_over", { low }) : word("legend_between", { low, high });
  }
}

function setUpWords() {
  const { element, values } = page;
  const pair = ([head, text]) => [element("dt", {}, head), element("dd", {}, text)];
  page.byId("shown").append(
    ...values.shown.map((text) => element("p", {}, text)),
    ...(values.made_up_days ? [element("p", { class: "made-up" }, page.word("made_up_days"))] : [])
  );
  page.byId("about-method").append(...values.method.map((text) => element("li", {}, text)));
  page.byId("about-figures").append(
    ...values.measures.flatMap(({ label, unit, meaning }) => pair([`${label} (${unit})`, meaning]))
  );
  page.byId("about-totals").append(...values.totals.flatMap(({ label, value }) => pair([label, value])));
  page.byId("about-town").hidden = values.totals.length === 0;
  page.byId("made-with").textContent = values.made_with;
}

start(map_harvest);
