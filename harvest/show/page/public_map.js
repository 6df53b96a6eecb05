"use strict";

/*
 * Draws the sums of the public edition on canvas tiles of Leaflet's grid, above streets and surroundings; and what
 * pointing, clicking and Enter do there.
 */

const WORLD_ZOOM = 20;
const EDGES_FROM_ZOOM = 16;
const GROUND = { water: "#c9dde9", land: "#dbe5d4", street: "#c4c9c5" };
const CELL_EDGE = "#ffffff";

const CellGrid = L.GridLayer.extend({
  initialize(cells, ground, options) {
    L.GridLayer.prototype.initialize.call(this, options);
    Object.assign(this, { cells, ground, tiles: new Map() });
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
    tile.width = tile.height = Math.round(side * (window.devicePixelRatio || 1));
    const context = tile.getContext("2d");
    context.scale(tile.width / side, tile.height / side);
    const scale = 2 ** (place.z - WORLD_ZOOM);
    const [west, north] = [(place.x * side) / scale, (place.y * side) / scale];
    const margin = 3 / scale;
    const box = [west - margin, north - margin, west + side / scale + margin, north + side / scale + margin];
    const view = { context, scale, west, north };
    for (const row of this.ground.outlines.touching(box)) {
      context.fillStyle = GROUND[this.ground.kind[row]];
      this.trace(view, this.ground.outlines, row);
      context.fill("evenodd");
    }
    this.paintCells(view, box, place.z);
  },

  /** Seen from afar a strip along a street is thinner than a line can be, so its edge has its own colour. */
  paintCells(view, box, zoom) {
    const { context } = view;
    const { name, colours } = this.cells.measure;
    const near = zoom >= EDGES_FROM_ZOOM || this.cells.blocks;
    context.lineWidth = near ? 1 : 2;
    for (const row of this.cells.outlines.touching(box)) {
      const colour = colours[this.cells["class_" + name][row]];
      this.trace(view, this.cells.outlines, row);
      context.fillStyle = colour;
      context.fill("evenodd");
      context.strokeStyle = near ? CELL_EDGE : colour;
      context.stroke();
    }
  },

  trace({ context, scale, west, north }, outlines, row) {
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

function setUpPublicMap(map, cells, ground) {
  const { word, values, element } = page;
  const whole = L.latLngBounds(values.bounds);
  map.setMaxZoom(19);
  map.attributionControl.setPrefix(word("outline_library"));
  L.control.zoom({ zoomInTitle: word("zoom_in"), zoomOutTitle: word("zoom_out") }).addTo(map);
  L.control.scale({ metric: values.units === "metric", imperial: values.units === "us", maxWidth: 140 }).addTo(map);

  const Home = L.Control.extend({
    onAdd() {
      const said = word("whole_town");
      const button = element("button", { type: "button", class: "whole-town", title: said, "aria-label": said });
      button.addEventListener("click", () => map.fitBounds(whole, { padding: [12, 12] }));
      L.DomEvent.disableClickPropagation(button);
      return element("div", { class: "leaflet-bar" }, button);
    },
  });
  new Home({ position: "topleft" }).addTo(map);

  map.fitBounds(whole, { padding: [12, 12], animate: false });
  map.setMinZoom(Math.max(0, map.getZoom() - 2));
  map.setMaxBounds(whole.pad(1));
  const grid = new CellGrid(cells, ground, { maxZoom: 19, className: "cell-tiles" });
  grid.addTo(map);
  const container = map.getContainer();
  container.setAttribute("role", "application");
  container.setAttribute("aria-label", word("map_label"));
  container.setAttribute("aria-describedby", "map-help");
  return grid;
}

/** Pointing at sums and clicking them, and Enter for the one in the middle of the map. */
function setUpPublicPointer(map, cells, popup) {
  const container = map.getContainer();
  const tip = L.tooltip({ direction: "top", offset: [0, -6], className: "parcel-tip" });

  const rowAt = (place) => {
    const { x, y } = map.project(place, WORLD_ZOOM);
    return cells.outlines.at(x, y);
  };

  map.on("click", (event) => {
    const row = rowAt(event.latlng);
    if (row >= 0) popup.open(row, null);
  });
  map.on("mousemove", (event) => {
    const row = rowAt(event.latlng);
    container.classList.toggle("over-parcel", row >= 0);
    if (row < 0 || row === popup.opened()) {
      tip.remove();
      return;
    }
    const figure = `${toldSum(cells.measure, cells[cells.measure.name][row])} ${cells.measure.unit}`;
    tip.setContent(page.element("div", {}, page.element("strong", {}, cells.name(row)), page.element("br"), figure));
    tip.setLatLng(event.latlng).addTo(map);
  });
  map.on("mouseout movestart", () => tip.remove());
  container.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target !== container) return;
    const row = rowAt(map.getCenter());
    if (row >= 0) popup.open(row, () => container);
  });
}
