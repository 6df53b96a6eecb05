"use strict";

/*
 * Pointing and clicking at parcels and street sides, and Enter for the parcel in the middle of the map.
 */

const REACH_PX = 10;

function setUpPointer(map, town, colouring, layers, popup, tables) {
  const { parcels, sides } = town;
  const { element, withUnit, rounded } = page;
  const container = map.getContainer();
  const tip = L.tooltip({ direction: "top", offset: [0, -6], className: "parcel-tip" });
  let tipOf = { row: -1, side: -1 }; // what it tells of

  function parcelAt(place) {
    const { x, y } = map.project(place, WORLD_ZOOM);
    return parcels.outlines.at(x, y);
  }

  /** The side whose line passes near `place`: where two share a line, the one on that hand of it. */
  function sideAt(place) {
    if (!sides || !layers.sides) return -1;
    const { x, y } = map.project(place, WORLD_ZOOM);
    const reach = REACH_PX * 2 ** (WORLD_ZOOM - map.getZoom());
    return sides.lines.nearestOnHand(x, y, reach, sides.hand);
  }

  map.on("click", (event) => {
    const row = parcelAt(event.latlng);
    if (row >= 0) {
      popup.open(row, null);
      return;
    }
    const side = sideAt(event.latlng);
    if (side < 0) return;
    tables.view("sides");
    tables.chooseSide(side, false);
  });

  map.on("mousemove", (event) => {
    const row = parcelAt(event.latlng);
    const side = row < 0 ? sideAt(event.latlng) : -1;
    container.classList.toggle("over-parcel", row >= 0 || side >= 0);
    if ((row < 0 && side < 0) || (row >= 0 && row === popup.opened())) {
      tip.remove();
      return;
    }
    if (tipOf.row !== row || tipOf.side !== side || !map.hasLayer(tip)) {
      tip.setContent(row >= 0 ? ofParcel(row) : ofSide(side));
      tipOf = { row, side };
    }
    tip.setLatLng(event.latlng).addTo(map);
  });
  map.on("mouseout movestart", () => tip.remove());
  page.on("coloured", () => tip.remove());

  function ofParcel(row) {
    const { unit, digits } = colouring.measure;
    const figure = withUnit(rounded(colouring.value(row), digits), unit);
    return element("div", {}, element("strong", {}, parcels.name(row)), element("br"), figure);
  }

  function ofSide(row) {
    const { label, unit } = page.figure("to_visit_count", "sides");
    const figure = withUnit(`${label}: ${page.told("to_visit_count", sides.to_visit_count[row], null, "sides")}`, unit);
    return element("div", {}, element("strong", {}, sides.name(row)), element("br"), figure);
  }

  container.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.target !== container) return;
    const row = parcelAt(map.getCenter());
    if (row >= 0) popup.open(row, () => container);
  });
}
