"use strict";

/*
 * Which layers are drawn: a box to tick for each that the data holds, with a sample of what it looks like.
 */

const LAYERS = ["parcels", "roofs", "sides", "rounds", "visits", "context"];
const OFF_AT_FIRST = ["rounds"];

function setUpLayers(values) {
  const offered = LAYERS.filter((name) => {
    if (name === "parcels" || name === "roofs") return true;
    return name === "visits" ? values.visits.some((one) => one in VISIT_SHAPES) : values.layers.includes(name);
  });
  const layers = Object.fromEntries(LAYERS.map((name) => [name, offered.includes(name) && !OFF_AT_FIRST.includes(name)]));
  return { layers, offered };
}

function setUpLayerChoice({ layers, offered }, town) {
  const { word, element, byId } = page;
  const boxes = offered.map((name) => {
    const box = element("input", { type: "checkbox", "data-layer": name });
    box.checked = layers[name];
    box.addEventListener("change", () => {
      layers[name] = box.checked;
      tellKeys();
      page.tell("layers");
    });
    const sample = element("canvas", { class: "sample", width: 68, height: 36, "aria-hidden": "true" });
    drawSample(sample, name);
    byId("layers").append(element("li", {}, element("label", {}, box, sample, word("layer_" + name))));
    return box;
  });

  /** What is drawn of a layer, where that needs more words than its name. */
  function tellKeys() {
    const keys = [];
    if (layers.sides && town.sides) {
      keys.push(element("li", {}, sampleOf("best"), word("key_best", { count: bestRank(town.sides) })));
    }
    if (layers.visits) {
      for (const status of page.values.visits.filter((one) => one in VISIT_SHAPES)) {
        keys.push(element("li", {}, sampleOf(VISIT_SHAPES[status]), word("visit_" + status)));
      }
    }
    if (layers.context) {
      const kinds = page.different([...(town.areas?.kind ?? []), ...(town.lines?.kind ?? [])]);
      for (const kind of kinds) keys.push(element("li", {}, element("span", { class: "swatch ground-" + groundOf(kind).name }), kind));
    }
    byId("layer-keys").replaceChildren(...keys);
    byId("layer-note").textContent = [layers.roofs ? word("note_roofs") : "", layers.visits ? word("note_visits") : ""].join(" ").trim();
  }

  function sampleOf(name) {
    const sample = element("canvas", { class: "sample", width: 68, height: 36, "aria-hidden": "true" });
    drawSample(sample, name);
    return sample;
  }

  /** Switch the layers so; names that are not offered change nothing. */
  function choose(names) {
    offered.forEach((name, i) => {
      layers[name] = names.includes(name);
      boxes[i].checked = layers[name];
    });
    tellKeys();
    page.tell("layers");
  }

  tellKeys();
  return { choose, on: () => offered.filter((name) => layers[name]) };
}

/** A small picture of what a layer looks like, 34 by 18 pixels at double density. */
function drawSample(canvas, name) {
  const context = canvas.getContext("2d");
  context.scale(2, 2);
  const line = (colour, wide, y, dash = []) => {
    context.setLineDash(dash);
    context.beginPath();
    context.moveTo(1, y);
    context.lineTo(33, y);
    context.strokeStyle = colour;
    context.lineWidth = wide;
    context.stroke();
  };
  const box = (x, y, wide, high, fill, edge) => {
    context.fillStyle = fill;
    context.fillRect(x, y, wide, high);
    context.strokeStyle = edge;
    context.lineWidth = 1;
    context.strokeRect(x, y, wide, high);
  };
  const draws = {
    parcels: () => ["#fee838", "#7d7c78", "#00224e"].forEach((colour, i) => box(2 + 10 * i, 3, 10, 12, colour, "#ffffff")),
    roofs: () => box(9.5, 3.5, 15, 11, COLOURS.roof, COLOURS.roofEdge),
    sides: () => [6.5, 11.5].forEach((y) => line(STREET.line, 1.6, y)),
    best: () => {
      line(STREET.best, 5, 9);
      label(context, 17, 9, "1", { ground: "#ffffff", ink: "#7a3400", edge: STREET.best });
    },
    rounds: () => {
      line(ROUND_COLOURS[1], 3, 9, ROUND_DASHES[1]);
      context.setLineDash([]);
      label(context, 17, 9, "2", { ground: ROUND_COLOURS[1], ink: "#ffffff" });
    },
    visits: () => ["tick", "cross"].forEach((shape, i) => visitMark(context, 9 + 17 * i, 9, shape)),
    context: () => ["#cfe3ee", "#d9e8d0"].forEach((colour, i) => box(2 + 15 * i, 3, 15, 12, colour, "#9aa79a")),
  };
  if (name in draws) draws[name]();
  else visitMark(context, 17, 9, name);
}
