"use strict";

/*
 * Marks of where a parcel stands with the programme: a shape for each status, dark on a white disc, so that no colour
 * is needed to tell them apart. Parcels still to be visited have none.
 */

const VISIT_SHAPES = {
  "try again at another hour": "again",
  "come back": "clock",
  joined: "plus",
  installed: "square",
  verified: "tick",
  refused: "cross",
  ineligible: "bar",
  "other language": "dots",
};

/** Paths in a square from -5 to 5: moves, then lines or arcs. */
const VISIT_PATHS = {
  again: (c) => c.arc(0, 0, 4, 0.6, 5.6),
  clock: (c) => {
    c.arc(0, 0, 4.2, 0, 7);
    c.moveTo(0, -2.6);
    c.lineTo(0, 0.3);
    c.lineTo(2.2, 0.3);
  },
  plus: (c) => lines(c, [[-4, 0, 4, 0], [0, -4, 0, 4]]),
  square: (c) => c.rect(-3.4, -3.4, 6.8, 6.8),
  tick: (c) => lines(c, [[-4, 0, -1, 3.4], [-1, 3.4, 4.4, -3.6]]),
  cross: (c) => lines(c, [[-3.4, -3.4, 3.4, 3.4], [-3.4, 3.4, 3.4, -3.4]]),
  bar: (c) => lines(c, [[-4.2, 0, 4.2, 0]]),
  dots: (c) => {
    for (const x of [-3.6, 0, 3.6]) {
      c.moveTo(x + 1, 0);
      c.arc(x, 0, 0.7, 0, 7);
    }
  },
};

function lines(context, all) {
  for (const [x0, y0, x1, y1] of all) {
    context.moveTo(x0, y0);
    context.lineTo(x1, y1);
  }
}

/** Paints the mark called `shape` around a point. */
function visitMark(context, x, y, shape) {
  context.save();
  context.translate(x, y);
  context.beginPath();
  context.arc(0, 0, 8.5, 0, 7);
  context.fillStyle = "#ffffff";
  context.fill();
  context.lineWidth = 1;
  context.strokeStyle = "#1d2730";
  context.stroke();
  context.beginPath();
  VISIT_PATHS[shape](context);
  context.lineWidth = 2;
  context.lineCap = "round";
  context.stroke();
  if (shape === "square") {
    context.fillStyle = "#1d2730";
    context.fill();
  }
  context.restore();
}
