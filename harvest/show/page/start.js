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
  let town;
  try {
    town = await readTown();
  } catch (error) {
    trouble.textContent = page.word("damaged");
    throw error;
  }
  const { parcels } = town;
  const colouring = setUpMeasures(parcels);
  const layerState = setUpLayers(page.values);
  const paint = setUpPainter(town, colouring, layerState.layers);
  setUpMap(map);
  const shown = setUpShown(town, colouring);
  const grid = new TownGrid(paint, { maxZoom: 21, opacity: page.values.basemap ? 0.8 : 1, className: "parcel-tiles" });
  const popup = setUpPopup(map, town, colouring);
  const tables = setUpTables(town, colouring, popup, shown, map);
  setUpPointer(map, town, colouring, layerState.layers, popup, tables);
  setUpSearch(town, popup, shown, tables);
  setUpLegend(colouring);
  const layerChoice = setUpLayerChoice(layerState, town);
  setUpDownload(town, tables);
  setUpSheet(map, town, colouring, paint, tables);
  setUpAbout();
  setUpView(map, town, colouring, layerChoice, shown, tables);
  grid.addTo(map);
  page.on("shown", () => grid.repaint());
  page.on("layers", () => grid.repaint());
  document.documentElement.dataset.ready = "true";
}

/** Every layer that the page holds, by name. */
async function readTown() {
  const unpacked = (name) => (page.byId(name + "-data") ? unpackedLayer(name + "-data") : null);
  const names = ["parcels", "roofs", "sides", "rounds", "areas", "lines"];
  const read = await Promise.all(names.map(unpacked));
  const town = Object.fromEntries(names.map((name, i) => [name, read[i]]));
  const { parcels, sides } = town;
  parcels.name = (row) => parcels.address[row] || page.word("no_address", { parcel: parcels.parcel_id[row] });
  if (sides) {
    sides.hand = sides.side_id.map((id) => ({ L: 1, R: -1 })[id.slice(-1)] ?? 0);
    sides.name = (row) => {
      const side = page.word("side_of_" + sides.side[row]);
      return page.word("side_name", { street: sides.street[row] ?? page.word("no_street"), side });
    };
  }
  return town;
}

function setUpMap(map) {
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
  map.getContainer().setAttribute("role", "application");
  map.getContainer().setAttribute("aria-label", word("map_label"));
  map.getContainer().setAttribute("aria-describedby", "map-help");
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

start(map_harvest);
