"use strict";

/*
 * Holds the view in the fragment of the page's address, which never leaves the browser: measure, barrels, layers,
 * filters, table and place. Whoever opens that address sees the same. What is wrong in it is ignored.
 */

function setUpView(map, town, colouring, layerChoice, shown, tables) {
  const { byId, values } = page;
  const { sides } = town;
  const parts = ["measure", "barrels", "layers", "side", "table", "at", ...FILTERS];
  let quiet = true;

  function now() {
    const { lat, lng } = map.getCenter();
    const view = {
      measure: colouring.measure.name,
      barrels: String(colouring.barrels),
      layers: layerChoice.on().join(" "),
      ...shown.now(),
      side: town.side >= 0 ? sides.side_id[town.side] : "",
      table: tables.inView(),
      at: [lat.toFixed(5), lng.toFixed(5), String(map.getZoom())].join(" "),
    };
    return "#" + new URLSearchParams(Object.entries(view).filter(([, value]) => value !== ""));
  }

  function keep() {
    if (quiet) return;
    const fragment = now();
    history.replaceState(null, "", fragment);
    byId("view-link").setAttribute("href", fragment);
  }

  /** Show what the fragment says; a fragment of another kind says nothing. */
  function read() {
    const view = Object.fromEntries(new URLSearchParams(location.hash.slice(1)));
    if (!parts.some((part) => part in view)) return;
    quiet = true;
    colouring.choose(view.measure ?? values.measures[0].name, Number(view.barrels ?? SUGGESTED));
    if ("layers" in view) layerChoice.choose(view.layers.split(" "));
    shown.set(view, sides && view.side ? sides.side_id.indexOf(view.side) : -1);
    if (view.table) tables.view(view.table);
    const [lat, lng, zoom] = (view.at ?? "").split(" ").map(Number);
    if (Number.isFinite(zoom) && Math.abs(lat) <= 85 && Math.abs(lng) <= 180) map.setView([lat, lng], zoom, { animate: false });
    quiet = false;
    keep();
  }

  for (const what of ["coloured", "layers", "shown", "table"]) page.on(what, keep);
  map.on("moveend", keep);
  window.addEventListener("hashchange", () => {
    if (location.hash !== byId("view-link").getAttribute("href")) read();
  });
  quiet = false;
  byId("view-link").setAttribute("href", now());
  read();
}
