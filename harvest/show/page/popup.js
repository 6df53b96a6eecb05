"use strict";

/*
 * The pop-up of one parcel, the ring around it, and where the focus goes when it closes.
 */

function setUpPopup(map, parcels) {
  const { word, element, values, figure, rounded } = page;
  const popup = L.popup({
    closeButton: false,
    minWidth: 236,
    maxWidth: 300,
    autoPanPadding: [12, 12],
    className: "parcel-popup",
  });
  const ring = [
    L.polygon([], { color: "#ffffff", weight: 7, opacity: 0.9, fill: false, interactive: false }),
    L.polygon([], { color: "#b0480a", weight: 3.5, fill: false, interactive: false }),
  ];
  let opened = -1;
  let opener = null;

  /** Open the pop-up of `row`. `from` gets the focus back when it closes; then the focus is in the pop-up. */
  function open(row, from) {
    const point = parcels.outlines.pointIn(row);
    const place = map.unproject([point.x, point.y], WORLD_ZOOM);
    opened = row;
    opener = from;
    const closer = drawRing(row);
    if (from) {
      page.byId("map-side").scrollIntoView({ block: "nearest" });
      map.setView(place, Math.max(map.getZoom(), closer), { animate: false });
    }
    popup.options.maxHeight = Math.max(140, map.getSize().y - 70);
    const content = contents(row);
    popup.setLatLng(place).setContent(content).openOn(map);
    if (from) content.focus({ preventScroll: true });
    page.tell("opened", row);
  }

  /** Draws the ring around `row` and says the zoom at which it is easily seen. */
  function drawRing(row) {
    const rings = [];
    parcels.outlines.eachRing(row, (from, to) => {
      const corners = [];
      for (let i = from; i < to; i++) {
        corners.push(map.unproject([parcels.outlines.x[i], parcels.outlines.y[i]], WORLD_ZOOM));
      }
      rings.push(corners);
    });
    ring.forEach((line) => line.setLatLngs(rings).addTo(map));
    return Math.min(18, map.getBoundsZoom(ring[0].getBounds().pad(1.5)));
  }

  map.on("popupclose", () => {
    ring.forEach((line) => line.remove());
    const back = opener;
    opened = -1;
    opener = null;
    page.tell("closed");
    if (back) (back() || map.getContainer()).focus();
  });

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && opened >= 0) {
      event.preventDefault();
      map.closePopup(popup);
    }
  });

  function contents(row) {
    const close = element("button", { type: "button", class: "close", "aria-label": word("close") }, "×");
    close.addEventListener("click", () => map.closePopup(popup));
    return element(
      "div",
      { role: "dialog", "aria-labelledby": "popup-heading", tabindex: -1 },
      close,
      element("h2", { id: "popup-heading" }, parcels.name(row)),
      parcels.address[row] ? element("p", { class: "quiet" }, word("parcel", { parcel: parcels.parcel_id[row] })) : null,
      ...standing(row),
      ...levels(row),
      facts(row)
    );
  }

  /** Place on a list, or why there is none. */
  function standing(row) {
    const list = parcels.list[row];
    const reason = parcels.reason[row] ? element("p", {}, parcels.reason[row]) : null;
    if (list === null || Number.isNaN(parcels.rank[row])) {
      const status = word("not_ranked", { status: parcels.status[row] });
      return [element("div", { class: "not-ranked" }, element("p", {}, status), reason)];
    }
    const place = word("standing", {
      list: word("list_" + list),
      rank: rounded(parcels.rank[row], null),
      all: rounded(values.ranked[list], null),
    });
    return [element("p", { class: "standing" }, place), element("p", { class: "quiet" }, word("low_rank")), reason];
  }

  /** What the roofs shed and how much of that is capturable, never one without the other. */
  function levels(row) {
    const names = ["runoff_l_yr", "capturable_l_yr"];
    const [sheds, capturable] = names.map((name) => parcels[name][row]);
    if (Number.isNaN(sheds) && Number.isNaN(capturable)) return [];
    const parts = names.map((name) =>
      element(
        "div",
        { "data-figure": name },
        element("dt", {}, figure(name).label),
        element(
          "dd",
          {},
          element("span", { class: "number" }, rounded(parcels[name][row], figure(name).digits)),
          " " + figure(name).unit
        )
      )
    );
    const share = sheds > 0 ? (100 * capturable) / sheds : NaN;
    const meter = element("div", { class: "share", "aria-hidden": "true" }, element("div"));
    if (share > 0) meter.firstChild.style.width = Math.min(100, share) + "%";
    return [
      element("dl", { class: "levels" }, ...parts),
      share > 0 ? meter : null,
      capturable > 0 ? element("p", { class: "quiet" }, word("levels_note")) : null,
    ];
  }

  function facts(row) {
    const depth = values.storm_depth;
    const rows = [];
    for (const name of ["storm_l", "catchment_area_m2", "rain_mm_yr", "roof_count", "door_count"]) {
      const number = parcels[name][row];
      if (Number.isNaN(number)) continue;
      const told = figure(name);
      const label =
        name === "storm_l" && depth
          ? word("storm", { depth: rounded(depth.value, null) + " " + depth.unit })
          : told.label;
      rows.push(
        element(
          "div",
          { "data-figure": name },
          element("dt", {}, label),
          element("dd", {}, rounded(number, told.digits) + (told.unit ? " " + told.unit : ""))
        )
      );
    }
    return element("dl", { class: "facts" }, ...rows);
  }

  return { open, opened: () => opened };
}
