"use strict";

/*
 * Outlines and lines in pixels of the world at zoom 20: their boxes, which of them touch a box, which lies at a
 * point, and where their middle is.
 */

const ROWS_A_CELL = 4;

class Shapes {
  constructor({ firstRing, firstPosition, x, y }) {
    Object.assign(this, { firstRing, firstPosition, x, y });
    this.rows = firstRing.length - 1;
    this.measureBoxes();
    this.sortIntoCells();
  }

  /** Calls back with the positions of each ring or line of `row`: (from, to). */
  eachRing(row, ring) {
    for (let i = this.firstRing[row]; i < this.firstRing[row + 1]; i++) {
      ring(this.firstPosition[i], this.firstPosition[i + 1]);
    }
  }

  measureBoxes() {
    this.boxes = new Float64Array(4 * this.rows);
    this.box = [Infinity, Infinity, -Infinity, -Infinity];
    const { boxes, x, y, firstRing, firstPosition } = this;
    for (let row = 0; row < this.rows; row++) {
      let west = Infinity;
      let north = Infinity;
      let east = -Infinity;
      let south = -Infinity;
      const to = firstPosition[firstRing[row + 1]];
      for (let i = firstPosition[firstRing[row]]; i < to; i++) {
        if (x[i] < west) west = x[i];
        if (x[i] > east) east = x[i];
        if (y[i] < north) north = y[i];
        if (y[i] > south) south = y[i];
      }
      const at = 4 * row;
      boxes[at] = west;
      boxes[at + 1] = north;
      boxes[at + 2] = east;
      boxes[at + 3] = south;
      if (!(west <= east)) continue;
      grow(this.box, west, north);
      grow(this.box, east, south);
    }
  }

  /**
   * A grid of square cells, with about ROWS_A_CELL rows in one, each listing in order the rows whose boxes touch it: those of a
   * cell run from firstInCell[cell] to firstInCell[cell + 1] in rowsOfCells.
   */
  sortIntoCells() {
    const [west, north, east, south] = this.box;
    const [wide, high] = [Math.max(1, east - west), Math.max(1, south - north)];
    this.cellSide = Math.max(1, Math.sqrt((ROWS_A_CELL * wide * high) / Math.max(1, this.rows)), wide / 4000, high / 4000);
    this.across = this.rows ? Math.floor(wide / this.cellSide) + 1 : 0;
    this.down = this.rows ? Math.floor(high / this.cellSide) + 1 : 0;
    const counts = new Uint32Array(this.across * this.down + 1);
    for (let row = 0; row < this.rows; row++) this.eachCell(this.boxes, 4 * row, (cell) => counts[cell + 1]++);
    for (let cell = 0; cell + 1 < counts.length; cell++) counts[cell + 1] += counts[cell];
    this.firstInCell = counts;
    this.rowsOfCells = new Uint32Array(counts[counts.length - 1]);
    const filled = counts.slice();
    for (let row = 0; row < this.rows; row++) {
      this.eachCell(this.boxes, 4 * row, (cell) => {
        this.rowsOfCells[filled[cell]++] = row;
      });
    }
    this.seen = new Uint32Array(this.rows);
    this.look = 0;
  }

  /** Calls back with each cell that the box at `at` in `boxes` touches; an empty box touches none. */
  eachCell(boxes, at, cell) {
    if (!(boxes[at] <= boxes[at + 2])) return;
    const first = this.cellAlong(boxes[at] - this.box[0], this.across);
    const last = this.cellAlong(boxes[at + 2] - this.box[0], this.across);
    const bottom = this.cellAlong(boxes[at + 3] - this.box[1], this.down);
    for (let down = this.cellAlong(boxes[at + 1] - this.box[1], this.down); down <= bottom; down++) {
      for (let across = first; across <= last; across++) cell(down * this.across + across);
    }
  }

  /** Which of `count` cells in a row or column lies so many pixels from the first one's edge; at most the last. */
  cellAlong(pixels, count) {
    return Math.min(count - 1, Math.max(0, Math.floor(pixels / this.cellSide)));
  }

  /** Rows whose boxes touch `wanted` [west, north, east, south], in their order. */
  touching(wanted) {
    const [west, north, east, south] = wanted;
    if (west > this.box[2] || east < this.box[0] || north > this.box[3] || south < this.box[1]) return [];
    const found = [];
    const look = ++this.look;
    this.eachCell(wanted, 0, (cell) => {
      for (let i = this.firstInCell[cell]; i < this.firstInCell[cell + 1]; i++) {
        const row = this.rowsOfCells[i];
        const at = 4 * row;
        if (this.seen[row] === look) continue;
        this.seen[row] = look;
        if (this.boxes[at] <= east && this.boxes[at + 2] >= west && this.boxes[at + 1] <= south && this.boxes[at + 3] >= north)
          found.push(row);
      }
    });
    return Uint32Array.from(found).sort();
  }
}

class Outlines extends Shapes {
  /** The row drawn last of those that hold the point, or -1. */
  at(x, y) {
    return this.touching([x, y, x, y]).reverse().find((row) => this.holds(row, x, y)) ?? -1;
  }

  holds(row, x, y) {
    return this.crossings(row, y).filter((crossing) => crossing > x).length % 2 === 1;
  }

  /** Where the rings of `row` cross the line at `y`, from west to east. */
  crossings(row, y) {
    const found = [];
    this.eachRing(row, (from, to) => {
      for (let i = from, before = to - 1; i < to; before = i++) {
        const [y0, y1] = [this.y[before], this.y[i]];
        if (y0 > y === y1 > y) continue;
        found.push(this.x[before] + ((y - y0) / (y1 - y0)) * (this.x[i] - this.x[before]));
      }
    });
    return found.sort((a, b) => a - b);
  }

  /** A point inside `row`: the middle of its widest part half way down. */
  pointIn(row) {
    const [, north, , south] = this.boxes.subarray(4 * row, 4 * row + 4);
    const y = (north + south) / 2 + 0.01;
    const crossings = this.crossings(row, y);
    let [best, width] = [this.x[this.firstPosition[this.firstRing[row]]], -1];
    for (let i = 0; i + 1 < crossings.length; i += 2) {
      if (crossings[i + 1] - crossings[i] > width) {
        width = crossings[i + 1] - crossings[i];
        best = (crossings[i] + crossings[i + 1]) / 2;
      }
    }
    return { x: best, y };
  }
}

class Lines extends Shapes {
  /**
   * The row nearest to the point among those that lie `within` so many pixels, or -1. Of two that share a line, the
   * one whose hand (1 left, -1 right of its direction) the point is on.
   */
  nearestOnHand(x, y, within, hand) {
    let [best, least] = [-1, within];
    for (const row of this.touching([x - within, y - within, x + within, y + within])) {
      this.eachRing(row, (from, to) => {
        for (let i = from; i + 1 < to; i++) {
          const [x0, y0, x1, y1] = [this.x[i], this.y[i], this.x[i + 1], this.y[i + 1]];
          const far = distance(x, y, x0, y0, x1, y1);
          const onLeft = (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) < 0;
          const wrong = hand[row] !== 0 && hand[row] > 0 !== onLeft;
          const told = far + (wrong ? 1e-3 * within : 0);
          if (told < least) [best, least] = [row, told];
        }
      });
    }
    return best;
  }

  /** The point half way along `row`, its direction there, and its length. */
  middle(row) {
    const steps = [];
    let length = 0;
    this.eachRing(row, (from, to) => {
      for (let i = from; i + 1 < to; i++) {
        const [across, down] = [this.x[i + 1] - this.x[i], this.y[i + 1] - this.y[i]];
        steps.push([i, length, across, down]);
        length += Math.hypot(across, down);
      }
    });
    const i = this.firstPosition[this.firstRing[row]];
    if (!(length > 0)) return { x: this.x[i], y: this.y[i], angle: 0, length: 0 };
    const [at, before, across, down] = steps.findLast((step) => step[1] <= length / 2);
    const part = (length / 2 - before) / Math.hypot(across, down);
    return { x: this.x[at] + part * across, y: this.y[at] + part * down, angle: Math.atan2(down, across), length };
  }
}

/** How far a point lies from the straight line between two others. */
function distance(x, y, x0, y0, x1, y1) {
  const [across, down] = [x1 - x0, y1 - y0];
  const along = ((x - x0) * across + (y - y0) * down) / (across * across + down * down || 1);
  const part = Math.min(1, Math.max(0, along));
  return Math.hypot(x - x0 - part * across, y - y0 - part * down);
}

function grow(box, x, y) {
  if (x < box[0]) box[0] = x;
  if (y < box[1]) box[1] = y;
  if (x > box[2]) box[2] = x;
  if (y > box[3]) box[3] = y;
}
