"use strict";

/*
 * Puts the parts together: reads the data, sets the map up, and joins it to the panel.
 */

async function start(map) {
  const trouble = page.byId("trouble");
  if (typeof DecompressionStream === "undefined") {
    trouble.textContent = page.word("too_old");
    return;
  }
  let parcels;
  let roofs;
  try {
    [parcels, roofs] = await Promise.all(["parcels-data", "roofs-data"].map(unpackedLayer));
  } catch (error) {
    trouble.textContent = page.word("damaged");
    throw error;
  }
  parcels.outlines = new Outlines(parcels.outlines);
  roofs.outlines = new Outlines(roofs.outlines);
  parcels.all = Array.from({ length: parcels.rows }, (nothing, row) => row);
  parcels.shown = parcels.all;
  parcels.isShown = () => true;
  parcels.name = (row) => parcels.address[row] || page.word("no_address", { parcel: parcels.parcel_id[row] });

  const grid = setUpMap(map, parcels, roofs);
  const popup = setUpPopup(map, parcels);
  setUpPointer(map, parcels, popup);
  setUpShown(parcels);
  setUpTable(parcels, popup);
  setUpSearch(parcels, popup);
  setUpLegend();
  setUpAbout();
  page.on("shown", () => grid.repaint());
  document.documentElement.dataset.ready = "true";
}

function setUpMap(map, parcels, roofs) {
  const { word, values, element } = page;
  const whole = L.latLngBounds(values.bounds);
  map.setMaxZoom(21);
  map.attributionControl.setPrefix(word("outline_library"));
  L.control.zoom({ zoomInTitle: word("zoom_in"), zoomOutTitle: word("zoom_out") }).addTo(map);
  L.control.scale({ metric: values.units === "metric", imperial: values.units === "us", maxWidth: 140 }).addTo(map);

  const Home = L.Control.extend({
    onAdd() {
      const button = element("button", { type: "button", class: "whole-town", title: word("whole_town"), "aria-label": word("whole_town") });
      button.addEventListener("click", () => map.fitBounds(whole, { padding: [12, 12] }));
      L.DomEvent.disableClickPropagation(button);
      return element("div", { class: "leaflet-bar" }, button);
    },
  });
  new Home({ position: "topleft" }).addTo(map);

  map.fitBounds(whole, { padding: [12, 12], animate: false });
  map.setMinZoom(Math.max(0, map.getZoom() - 2));
  map.setMaxBounds(whole.pad(1));
  if (values.basemap) setUpBasemap(map, values.basemap);
  const grid = new ParcelGrid(parcels, roofs, { maxZoom: 21, opacity: values.basemap ? 0.8 : 1, className: "parcel-tiles" });
  grid.addTo(map);
  map.getContainer().setAttribute("role", "application");
  map.getContainer().setAttribute("aria-label", word("map_label"));
  map.getContainer().setAttribute("aria-describedby", "map-help");
  return grid;
}

/** The only thing that may ask a server for anything, and only when the writer was told so. */
function setUpBasemap(map, { url, attribution, max_zoom: maxNativeZoom }) {
  const credit = page.element("span", {}, attribution).innerHTML; // escaped: Leaflet takes markup here
  const layer = L.tileLayer(url, { attribution: credit, maxNativeZoom, maxZoom: 21, zIndex: 0 }).addTo(map);
  page.byId("basemap-choice").hidden = false;
  page.byId("choose-basemap").addEventListener("change", (event) => {
    if (event.target.checked) layer.addTo(map);
    else layer.remove();
  });
}

/** Pointing and clicking at parcels, and Enter for the one in the middle of the map. */
function setUpPointer(map, parcels, popup) {
  const container = map.getContainer();
  const tip = L.tooltip({ direction: "top", offset: [0, -6], className: "parcel-tip" });

  const rowAt = (place) => {
    const { x, y } = map.project(place, WORLD_ZOOM);
    return parcels.outlines.at(x, y);
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
    const told = page.figure(page.values.coloured);
    const figure = `${page.rounded(parcels[told.name][row], told.digits)} ${told.unit}`;
    tip.setContent(page.element("div", {}, page.element("strong", {}, parcels.name(row)), page.element("br"), figure));
    tip.setLatLng(event.latlng).addTo(map);
  });
  map.on("mouseout movestart", () => tip.remove());
  container.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target !== container) return;
    const row = rowAt(map.getCenter());
    if (row >= 0) popup.open(row, () => container);
  });
}

start(map_harvest);
