"use strict";

/*
 * Draws parcels and roofs on canvas tiles of Leaflet's grid, crisp at every zoom.
 */

const WORLD_ZOOM = 20;
const OUTLINES_FROM_ZOOM = 15;
const ROOFS_FROM_ZOOM = 17;

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

/** The fill of one class: a colour, or a hatch where there is no figure. */
function fillOf(number, context) {
  if (number === -1) return hatch(context);
  return number === 0 ? COLOURS.nil : page.values.classes.colours[number - 1];
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

const ParcelGrid = L.GridLayer.extend({
  initialize(parcels, roofs, options) {
    L.GridLayer.prototype.initialize.call(this, options);
    Object.assign(this, { parcels, roofs, tiles: new Map() });
    this.on("tileunload", ({ tile }) => this.tiles.delete(tile));
  },

  createTile(place) {
    const tile = page.element("canvas");
    this.tiles.set(tile, place);
    this.paint(tile, place);
    return tile;
  },

  /** Paint every tile again where it stands, without a flicker. */
  repaint() {
    this.tiles.forEach((place, tile) => this.paint(tile, place));
  },

  paint(tile, place) {
    const side = this.getTileSize().x;
    const density = window.devicePixelRatio || 1;
    tile.width = tile.height = Math.round(side * density);
    const context = tile.getContext("2d");
    context.scale(tile.width / side, tile.height / side);
    const scale = 2 ** (place.z - WORLD_ZOOM);
    const view = { scale, west: (place.x * side) / scale, north: (place.y * side) / scale };
    const margin = 2 / scale;
    const box = [
      view.west - margin,
      view.north - margin,
      view.west + side / scale + margin,
      view.north + side / scale + margin,
    ];
    this.paintParcels(context, view, box, place.z);
    if (place.z >= ROOFS_FROM_ZOOM) this.paintRoofs(context, view, box);
  },

  paintParcels(context, view, box, zoom) {
    const fills = new Map();
    context.lineWidth = zoom >= ROOFS_FROM_ZOOM ? 1.5 : 0.75;
    for (const row of this.parcels.outlines.touching(box)) {
      const number = this.parcels.class[row];
      const shown = this.parcels.isShown(row);
      if (!fills.has(number)) fills.set(number, fillOf(number, context));
      this.trace(context, view, this.parcels.outlines, row);
      context.fillStyle = shown ? fills.get(number) : COLOURS.faded;
      context.fill("evenodd");
      if (zoom < OUTLINES_FROM_ZOOM) continue;
      const edge = number > 0 ? COLOURS.edge : COLOURS.nilEdge;
      context.strokeStyle = shown ? edge : COLOURS.fadedEdge;
      context.stroke();
    }
  },

  paintRoofs(context, view, box) {
    context.lineWidth = 1.25;
    context.strokeStyle = COLOURS.roofEdge;
    context.fillStyle = COLOURS.roof;
    for (const row of this.roofs.outlines.touching(box)) {
      this.trace(context, view, this.roofs.outlines, row);
      context.globalAlpha = 0.65;
      context.fill("evenodd");
      context.globalAlpha = 1;
      context.stroke();
    }
  },

  trace(context, { scale, west, north }, outlines, row) {
    context.beginPath();
    outlines.eachRing(row, (from, to) => {
      for (let i = from; i < to; i++) {
        const [x, y] = [(outlines.x[i] - west) * scale, (outlines.y[i] - north) * scale];
        if (i === from) context.moveTo(x, y);
        else context.lineTo(x, y);
      }
      context.closePath();
    });
  },
});
