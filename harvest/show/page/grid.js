"use strict";

/*
 * Canvas tiles of Leaflet's grid, crisp at every zoom. Everything is drawn into them, never into a canvas overlay
 * of Leaflet's own, which prints as a blank sheet. Tiles are painted a slice of time after the other, so that a
 * large town does not hold the page up.
 */

const WORLD_ZOOM = 20;
const SLICE_MS = 24;

const TownGrid = L.GridLayer.extend({
  initialize(paint, options) {
    L.GridLayer.prototype.initialize.call(this, options);
    Object.assign(this, { paint, tiles: new Map(), waiting: new Set(), working: false });
    this.on("tileunload", ({ tile }) => {
      this.tiles.delete(tile);
      this.waiting.delete(tile);
    });
  },

  createTile(place) {
    const tile = page.element("canvas");
    this.tiles.set(tile, place);
    this.queue(tile);
    return tile;
  },

  /** Paint every tile again where it stands, without a flicker. */
  repaint() {
    for (const tile of this.tiles.keys()) this.waiting.add(tile);
    this.work();
  },

  queue(tile) {
    this.waiting.add(tile);
    if (!this.working) {
      this.working = true;
      document.documentElement.dataset.painting = "true";
      L.Util.requestAnimFrame(this.work, this);
    }
  },

  /** Paints what waits for as long as a slice lasts, and goes on in the next frame. */
  work() {
    const end = performance.now() + SLICE_MS;
    for (const tile of this.waiting) {
      this.waiting.delete(tile);
      this.paintTile(tile, this.tiles.get(tile));
      if (performance.now() > end) break;
    }
    this.working = this.waiting.size > 0;
    if (this.working) {
      document.documentElement.dataset.painting = "true";
      L.Util.requestAnimFrame(this.work, this);
    } else {
      delete document.documentElement.dataset.painting;
    }
  },

  paintTile(tile, place) {
    const side = this.getTileSize().x;
    const density = window.devicePixelRatio || 1;
    tile.width = tile.height = Math.round(side * density);
    const context = tile.getContext("2d");
    context.scale(tile.width / side, tile.height / side);
    const scale = 2 ** (place.z - WORLD_ZOOM);
    this.paint(context, { scale, west: (place.x * side) / scale, north: (place.y * side) / scale, wide: side, high: side, zoom: place.z });
  },
});
