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
  cells.outlines = new Outlines(cells.outlines);
  ground.outlines = new Outlines(ground.outlines);
  cells.all = Array.from({ length: cells.rows }, (nothing, row) => row);
  cells.name = (row) => cells.where[row];
  cells.measure = page.values.measures[Math.min(1, page.values.measures.length - 1)];
  cells.blocks = page.values.by === "blocks";

  const grid = setUpPublicMap(map, cells, ground);
  const popup = setUpPopup(map, cells);
  setUpPublicPointer(map, cells, popup);
  setUpPublicTable(cells, popup);
  setUpWords();
  setUpMeasures(cells, () => grid.repaint());
  document.documentElement.dataset.ready = "true";
}

/** Which measure colours the map, and what its colours mean. */
function setUpMeasures(cells, repaint) {
  const { word, element, values, rounded } = page;
  const choice = page.byId("choose-measure");
  choice.append(...values.measures.map(({ name, label }) => element("option", { value: name }, label)));
  choice.disabled = values.measures.length < 2;
  if (!cells.measure) return;
  choice.value = cells.measure.name;
  choice.addEventListener("change", () => {
    cells.measure = values.measures.find(({ name }) => name === choice.value);
    tell();
    repaint();
  });
  tell();

  function tell() {
    const { label, unit, breaks, colours } = cells.measure;
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
