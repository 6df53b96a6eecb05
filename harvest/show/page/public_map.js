"use strict";

/*
 * The map of the public edition: sums over streets and surroundings, and what pointing, clicking and Enter do there.
 */

const EDGES_FROM_ZOOM = 16;
const STREET_COLOUR = "#c4c9c5";
const STREET_ABOVE = "rgba(255, 255, 255, 0.6)";
const CELL_EDGE = "#ffffff";

/** Paints surroundings, streets, and the sums in the colour of their class; blocks lie under the streets. */
function setUpCellPainter(cells, ground, colouring) {
  const byBlock = page.values.by === "blocks";

  return function paint(context, view) {
    const under = ground.outlines.touching(boxOf(view, 2));
    const isStreet = (row) => ground.kind[row] === "street";
    for (const row of under.filter((row) => !isStreet(row))) fill(context, view, row, groundOf(ground.kind[row]).fill);
    if (!byBlock) under.filter(isStreet).forEach((row) => fill(context, view, row, STREET_COLOUR));
    paintCells(context, view);
    if (byBlock) under.filter(isStreet).forEach((row) => fill(context, view, row, STREET_ABOVE));
  };

  function fill(context, view, row, colour) {
    context.beginPath();
    trace(context, view, ground.outlines, row);
    context.fillStyle = colour;
    context.fill("evenodd");
  }

  /** Seen from afar a strip along a street is thinner than a line can be, so its edge has its own colour. */
  function paintCells(context, view) {
    if (cells.rows === 0) return;
    const near = byBlock || view.zoom >= EDGES_FROM_ZOOM;
    const { name, colours } = colouring.measure;
    context.lineWidth = near ? 1 : 2;
    for (const row of cells.outlines.touching(boxOf(view, 3))) {
      const colour = colours[cells["class_" + name][row]];
      context.beginPath();
      trace(context, view, cells.outlines, row);
      context.fillStyle = colour;
      context.fill("evenodd");
      context.strokeStyle = near ? CELL_EDGE : colour;
      context.stroke();
    }
  }
}

function setUpPublicMap(map) {
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
  const container = map.getContainer();
  container.setAttribute("role", "application");
  container.setAttribute("aria-label", word("map_label"));
  container.setAttribute("aria-describedby", "map-help");
}

/** Pointing at sums and clicking them, and Enter for the one in the middle of the map. */
function setUpPublicPointer(map, cells, colouring, popup) {
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
    const { measure } = colouring;
    const figure = `${toldSum(measure, cells[measure.name][row])} ${measure.unit}`;
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
