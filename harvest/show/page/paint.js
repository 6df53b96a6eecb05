"use strict";

/*
 * Paints a view of the town: surroundings, parcels, roofs, streets, rounds, and marks of visits, from the lowest up.
 * A view is { scale, west, north, wide, high, zoom }: where its corner lies in the world at zoom 20, how large its
 * sides are on the canvas, and the zoom that decides how much is drawn.
 */

const OUTLINES_FROM_ZOOM = 15.5;
const ROOFS_FROM_ZOOM = 17;
const LEAST_SIDE_PX = 2.2;
const MARGIN_PX = 3;
const ROWS_A_PATH = 64; // a path of thousands takes longer to fill than many short ones

const COLOURS = {
  nil: "#ffffff",
  faded: "#f4f5f1",
  fadedEdge: "#c3c9c0",
  edge: "#ffffff",
  nilEdge: "#a9b1ae",
  hatchGround: "#ffffff",
  hatch: "#6b7680",
  roof: "#f7f3e9",
  roofEdge: "#1d2730",
};
const FADED = -2;

function setUpPainter(town, colouring, layers) {
  const { parcels, roofs, areas, lines } = town;
  const paintStreets = setUpStreetPainter(town, layers);

  return function paint(context, view) {
    context.lineJoin = "round";
    if (layers.context && areas) paintAreas(context, view);
    if (layers.context && lines) paintWaters(context, view);
    if (layers.parcels) paintParcels(context, view);
    if (layers.roofs && view.zoom >= ROOFS_FROM_ZOOM) paintRoofs(context, view);
    paintStreets(context, view);
  };

  function paintParcels(context, view) {
    const rows = parcels.outlines.touching(boxOf(view, MARGIN_PX));
    const above = rows.findIndex((row) => row >= page.values.underneath);
    const cut = above < 0 ? rows.length : above;
    for (const some of [rows.slice(0, cut), rows.slice(cut)]) {
      const groups = new Map();
      for (const row of some) {
        const number = parcels.isShown(row) ? colouring.classes[row] : FADED;
        if (!groups.has(number)) groups.set(number, []);
        groups.get(number).push(row);
      }
      for (const number of [...groups.keys()].sort((a, b) => a - b)) paintClass(context, view, number, groups.get(number));
    }
  }

  function paintClass(context, view, number, rows) {
    const edged = view.zoom >= OUTLINES_FROM_ZOOM;
    context.fillStyle = fillOf(number, context);
    context.beginPath();
    rows.forEach((row, i) => {
      trace(context, view, parcels.outlines, row);
      if (edged || (i + 1) % ROWS_A_PATH > 0) return;
      context.fill();
      context.beginPath();
    });
    context.fill();
    if (!edged) return;
    context.lineWidth = view.zoom >= ROOFS_FROM_ZOOM ? 1.5 : 0.75;
    if (number === FADED) context.strokeStyle = COLOURS.fadedEdge;
    else context.strokeStyle = number > 0 ? COLOURS.edge : COLOURS.nilEdge;
    context.stroke();
  }

  function fillOf(number, context) {
    if (number === FADED) return COLOURS.faded;
    if (number === -1) return hatch(context);
    return number === 0 ? COLOURS.nil : colouring.measure.colours[number - 1];
  }

  function paintRoofs(context, view) {
    context.beginPath();
    for (const row of roofs.outlines.touching(boxOf(view, MARGIN_PX))) trace(context, view, roofs.outlines, row);
    context.globalAlpha = 0.65;
    context.fillStyle = COLOURS.roof;
    context.fill();
    context.globalAlpha = 1;
    context.lineWidth = 1.25;
    context.strokeStyle = COLOURS.roofEdge;
    context.stroke();
  }

  function paintAreas(context, view) {
    for (const row of areas.outlines.touching(boxOf(view, MARGIN_PX))) {
      context.beginPath();
      trace(context, view, areas.outlines, row);
      context.fillStyle = groundOf(areas.kind[row]).fill;
      context.fill();
    }
  }

  function paintWaters(context, view) {
    context.lineCap = "round";
    for (const row of lines.lines.touching(boxOf(view, 8))) {
      context.beginPath();
      traceLine(context, view, lines.lines, row);
      context.lineWidth = view.zoom >= 15 ? 5 : 2.5;
      context.strokeStyle = groundOf(lines.kind[row]).line;
      context.stroke();
    }
  }
}

/** Colours of surroundings, pale so that they are never taken for a class; by a word in the name of the kind. */
function groundOf(kind) {
  if (/water|river|lake|pond|creek|stream|sea|harbou?r/i.test(kind)) return { name: "water", fill: "#cfe3ee", line: "#9fc5da" };
  if (/park|green|wood|forest|garden|cemetery|field/i.test(kind)) return { name: "park", fill: "#d9e8d0", line: "#b3cfa3" };
  return { name: "other", fill: "#e3dfd8", line: "#bdb6ab" };
}

/** The part of the world that a view shows, with a margin of so many pixels. */
function boxOf({ scale, west, north, wide, high }, margin) {
  return [west - margin / scale, north - margin / scale, west + (wide + margin) / scale, north + (high + margin) / scale];
}

/** Adds the rings of `row` to the path; a rectangle where it is too small to be more. */
function trace(context, { scale, west, north }, outlines, row) {
  const { boxes, x, y } = outlines;
  const at = 4 * row;
  const wide = (boxes[at + 2] - boxes[at]) * scale;
  const high = (boxes[at + 3] - boxes[at + 1]) * scale;
  if (wide < LEAST_SIDE_PX && high < LEAST_SIDE_PX) {
    context.rect((boxes[at] - west) * scale, (boxes[at + 1] - north) * scale, Math.max(0.8, wide), Math.max(0.8, high));
    return;
  }
  outlines.eachRing(row, (from, to) => {
    context.moveTo((x[from] - west) * scale, (y[from] - north) * scale);
    for (let i = from + 1; i < to; i++) context.lineTo((x[i] - west) * scale, (y[i] - north) * scale);
    context.closePath();
  });
}

/** Adds the lines of `row` to the path, moved aside by so many pixels, to the left where that is above 0. */
function traceLine(context, { scale, west, north }, lines, row, aside = 0) {
  lines.eachRing(row, (from, to) => {
    for (let i = from; i < to; i++) {
      const [before, after] = [Math.max(from, i - 1), Math.min(to - 1, i + 1)];
      const [across, down] = [lines.x[after] - lines.x[before], lines.y[after] - lines.y[before]];
      const length = Math.hypot(across, down) || 1;
      const x = (lines.x[i] - west) * scale + (aside * down) / length;
      const y = (lines.y[i] - north) * scale - (aside * across) / length;
      if (i === from) context.moveTo(x, y);
      else context.lineTo(x, y);
      if (to - from === 1) context.lineTo(x + 0.1, y);
    }
  });
}

/** A hatch of slanting lines; 8 pixels wide, so that it runs on from tile to tile. */
function hatch(context) {
  const piece = page.element("canvas", { width: 8, height: 8 });
  const ink = piece.getContext("2d");
  ink.fillStyle = COLOURS.hatchGround;
  ink.fillRect(0, 0, 8, 8);
  ink.strokeStyle = COLOURS.hatch;
  ink.lineWidth = 1.2;
  ink.beginPath();
  for (const shift of [-8, 0, 8]) {
    ink.moveTo(shift - 1, 9);
    ink.lineTo(shift + 9, -1);
  }
  ink.stroke();
  return context.createPattern(piece, "repeat");
}
