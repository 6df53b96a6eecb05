"use strict";

/*
 * Outlines in pixels of the world at zoom 20: their boxes, which of them touch a box, and which row lies at a
 * point.
 */

class Outlines {
  constructor({ firstRing, firstPosition, x, y }) {
    Object.assign(this, { firstRing, firstPosition, x, y });
    this.rows = firstRing.length - 1;
    this.measureBoxes();
    this.sortIntoCells();
  }

  /** Calls back with the positions of each ring of `row`: (from, to). */
  eachRing(row, ring) {
    for (let i = this.firstRing[row]; i < this.firstRing[row + 1]; i++) {
      ring(this.firstPosition[i], this.firstPosition[i + 1]);
    }
  }

  measureBoxes() {
    this.boxes = new Float64Array(4 * this.rows);
    this.box = [Infinity, Infinity, -Infinity, -Infinity];
    for (let row = 0; row < this.rows; row++) {
      const box = [Infinity, Infinity, -Infinity, -Infinity];
      this.eachRing(row, (from, to) => {
        for (let i = from; i < to; i++) grow(box, this.x[i], this.y[i]);
      });
      this.boxes.set(box, 4 * row);
      if (box[0] <= box[2]) {
        grow(this.box, box[0], box[1]);
        grow(this.box, box[2], box[3]);
      }
    }
  }

  /** A grid of square cells, about one a row, each listing in order the rows whose boxes touch it. */
  sortIntoCells() {
    const [west, north, east, south] = this.box;
    const area = Math.max(1, east - west) * Math.max(1, south - north);
    this.cellSide = Math.max(1, Math.sqrt(area / Math.max(1, this.rows)));
    this.cells = new Map();
    for (let row = 0; row < this.rows; row++) {
      const box = this.boxes.subarray(4 * row, 4 * row + 4);
      if (box[0] > box[2]) continue;
      this.eachCell(box, (key) => {
        if (!this.cells.has(key)) this.cells.set(key, []);
        this.cells.get(key).push(row);
      });
    }
  }

  eachCell([west, north, east, south], cell) {
    const side = this.cellSide;
    const column = (x) => Math.floor((x - this.box[0]) / side);
    const line = (y) => Math.floor((y - this.box[1]) / side);
    for (let across = column(west); across <= column(east); across++) {
      for (let down = line(north); down <= line(south); down++) cell(across + ":" + down);
    }
  }

  /** Rows whose boxes touch `wanted` [west, north, east, south], in their order. */
  touching(wanted) {
    const clipped = [
      Math.max(wanted[0], this.box[0]),
      Math.max(wanted[1], this.box[1]),
      Math.min(wanted[2], this.box[2]),
      Math.min(wanted[3], this.box[3]),
    ];
    if (clipped[0] > clipped[2] || clipped[1] > clipped[3]) return [];
    const found = new Set();
    this.eachCell(clipped, (key) => {
      for (const row of this.cells.get(key) || []) {
        const [west, north, east, south] = this.boxes.subarray(4 * row, 4 * row + 4);
        if (west <= wanted[2] && east >= wanted[0] && north <= wanted[3] && south >= wanted[1]) found.add(row);
      }
    });
    return [...found].sort((a, b) => a - b);
  }

  /** The row drawn last of those that hold the point, or -1. */
  at(x, y) {
    const touched = this.touching([x, y, x, y]);
    return touched.reverse().find((row) => this.holds(row, x, y)) ?? -1;
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

function grow(box, x, y) {
  box[0] = Math.min(box[0], x);
  box[1] = Math.min(box[1], y);
  box[2] = Math.max(box[2], x);
  box[3] = Math.max(box[3], y);
}
