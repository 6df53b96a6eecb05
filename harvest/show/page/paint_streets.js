"use strict";

/*
 * Paints streets by their sides (the best tenth wider and orange, with their rank when zoomed in), rounds (told apart
 * by dash and number before colour), and marks of visits, each status with a shape of its own.
 */

const NUMBERS_FROM_ZOOM = 16;
const VISITS_FROM_ZOOM = 17;
const NAMES_FROM_ZOOM = 17;
const BEST_PART = 0.1;
const LABEL_MARGIN_PX = 90;
const STREET = { line: "#46525c", best: "#d05a00", halo: "#ffffff", ink: "#1d2730" };
const ROUND_COLOURS = ["#332288", "#882255", "#0b5c4c", "#1d2730"];
const ROUND_DASHES = [[], [12, 5], [3, 5], [14, 4, 3, 4], [22, 6]];
const FONT = "600 12px system-ui, 'Segoe UI', Roboto, Arial, sans-serif";
const NAME_FONT = "500 12px system-ui, 'Segoe UI', Roboto, Arial, sans-serif";

/** The colour and the dash of a round: 20 pairs before one comes again, and each has its number. */
const roundLook = (number) => ({
  colour: ROUND_COLOURS[(number - 1) % ROUND_COLOURS.length],
  dash: ROUND_DASHES[(number - 1) % ROUND_DASHES.length],
});

/** Which ranks are the best tenth. */
const bestRank = (sides) => Math.ceil(BEST_PART * sides.rank.filter((rank) => rank > 0).length);

function setUpStreetPainter(town, layers) {
  const { parcels, sides, rounds } = town;
  const best = sides ? bestRank(sides) : 0;
  const isBest = (row) => sides.rank[row] <= best;

  return function paint(context, view) {
    if (layers.sides && sides) paintSides(context, view);
    if (layers.rounds && rounds) paintRounds(context, view);
    if (layers.visits && view.zoom >= VISITS_FROM_ZOOM) paintVisits(context, view);
    if (layers.sides && sides) paintLabels(context, view);
  };

  function aside(row, zoom) {
    const hand = sides.hand[row];
    return hand * (zoom >= NUMBERS_FROM_ZOOM ? 4 : zoom >= 14.5 ? 2.2 : 1.2);
  }

  function paintSides(context, view) {
    const rows = sides.lines.touching(boxOf(view, 12));
    context.lineCap = "butt";
    const [plain, tenth] = [rows.filter((row) => !isBest(row)), rows.filter(isBest)];
    const wide = view.zoom >= NUMBERS_FROM_ZOOM ? 1.6 : 0.9;
    stroke(context, view, plain, { colour: STREET.line, wide });
    stroke(context, view, tenth, { colour: STREET.halo, wide: 3 * wide + 3 });
    stroke(context, view, tenth, { colour: STREET.best, wide: 3 * wide + 1 });
    const picked = rows.filter((row) => row === town.side);
    stroke(context, view, picked, { colour: STREET.halo, wide: 11 });
    stroke(context, view, picked, { colour: STREET.ink, wide: 8 });
    stroke(context, view, picked, { colour: isBest(town.side) ? STREET.best : STREET.halo, wide: 4 });
  }

  function stroke(context, view, rows, { colour, wide }) {
    if (rows.length === 0) return;
    context.beginPath();
    for (const row of rows) traceLine(context, view, sides.lines, row, aside(row, view.zoom));
    context.strokeStyle = colour;
    context.lineWidth = wide;
    context.stroke();
  }

  function paintRounds(context, view) {
    const rows = rounds.lines.touching(boxOf(view, LABEL_MARGIN_PX));
    const wide = view.zoom >= NUMBERS_FROM_ZOOM ? 4 : 3;
    context.lineCap = "butt";
    for (const row of rows) {
      const { colour, dash } = roundLook(rounds.round[row]);
      context.beginPath();
      traceLine(context, view, rounds.lines, row);
      context.setLineDash([]);
      context.strokeStyle = STREET.halo;
      context.lineWidth = wide + 3;
      context.stroke();
      context.setLineDash(dash);
      context.strokeStyle = colour;
      context.lineWidth = wide;
      context.stroke();
    }
    context.setLineDash([]);
    for (const row of rows) {
      const { x, y } = onCanvas(view, rounds.lines.middle(row));
      label(context, x, y, String(rounds.round[row]), { ground: roundLook(rounds.round[row]).colour, ink: "#ffffff" });
    }
  }

  /** Ranks of the best tenth, and names of streets along them, once for both sides. */
  function paintLabels(context, view) {
    if (view.zoom < NUMBERS_FROM_ZOOM) return;
    for (const row of sides.lines.touching(boxOf(view, LABEL_MARGIN_PX))) {
      const middle = sides.lines.middle(row);
      const { x, y } = onCanvas(view, middle);
      if (view.zoom >= NAMES_FROM_ZOOM && sides.hand[row] > -1 && sides.street[row]) {
        name(context, x, y, sides.street[row], middle.angle, middle.length * view.scale);
      }
      if (!isBest(row)) continue;
      const shift = 14 * sides.hand[row];
      const [left, up] = [Math.sin(middle.angle) * shift, -Math.cos(middle.angle) * shift];
      label(context, x + left, y + up, String(sides.rank[row]), { ground: "#ffffff", ink: "#7a3400", edge: STREET.best });
    }
  }

  function name(context, x, y, text, angle, room) {
    context.font = NAME_FONT;
    const shown = text.length > 40 ? text.slice(0, 39) + "…" : text;
    if (context.measureText(shown).width > room - 30) return;
    const upright = Math.abs(angle) > Math.PI / 2 ? angle + Math.PI : angle;
    context.save();
    context.translate(x, y);
    context.rotate(upright);
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.lineWidth = 3.5;
    context.strokeStyle = STREET.halo;
    context.strokeText(shown, 0, 0);
    context.fillStyle = STREET.ink;
    context.fillText(shown, 0, 0);
    context.restore();
  }

  function paintVisits(context, view) {
    for (const row of parcels.outlines.touching(boxOf(view, 12))) {
      const shape = VISIT_SHAPES[parcels.visit_status[row]];
      if (!shape || !parcels.isShown(row)) continue;
      const { x, y } = onCanvas(view, parcels.outlines.pointIn(row));
      visitMark(context, x, y, shape);
    }
  }
}

function onCanvas({ scale, west, north }, { x, y }) {
  return { x: (x - west) * scale, y: (y - north) * scale };
}

/** A number on a rounded ground. */
function label(context, x, y, text, { ground, ink, edge = "#ffffff" }) {
  context.font = FONT;
  const wide = Math.max(18, context.measureText(text).width + 10);
  context.beginPath();
  context.roundRect(x - wide / 2, y - 9, wide, 18, 9);
  context.fillStyle = ground;
  context.fill();
  context.lineWidth = 1.5;
  context.strokeStyle = edge;
  context.stroke();
  context.fillStyle = ink;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.fillText(text, x, y + 0.5);
}
