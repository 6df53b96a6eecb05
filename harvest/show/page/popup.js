"use strict";

/*
 * The pop-up of one parcel, the ring around it, and where the focus goes when it closes.
 */

const WIDEST_POPUP = 340;

function setUpPopup(map, town, colouring) {
  const { parcels } = town;
  const { word, element } = page;
  const told = setUpContents(town, colouring);
  const popup = L.popup({
    closeButton: false,
    minWidth: 236,
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
    popup.options.maxWidth = Math.min(WIDEST_POPUP, map.getSize().x - 40);
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

  page.on("coloured", () => {
    if (opened >= 0) popup.setContent(contents(opened));
  });

  /** The whole pop-up: a heading, a way to close it, and what is said of the parcel, which scrolls where it must. */
  function contents(row) {
    const close = element("button", { type: "button", class: "close", "aria-label": word("close") }, "×");
    close.addEventListener("click", () => map.closePopup(popup));
    const said = element("div", { class: "said" }, ...told(row));
    said.style.maxHeight = Math.max(140, map.getSize().y - 110) + "px";
    said.querySelector("details")?.addEventListener("toggle", () => {
      keepInView();
      scrollTo(said, said.querySelector("details"));
    });
    return element(
      "div",
      { role: "dialog", "aria-labelledby": "popup-heading", tabindex: -1 },
      close,
      element("h2", { id: "popup-heading" }, parcels.name(row)),
      said
    );
  }

  /** Moves the map where the pop-up, grown by its details, would reach over the map's upper edge. */
  function keepInView() {
    map.stop();
    const [box, frame] = [popup.getElement(), map.getContainer()].map((one) => one.getBoundingClientRect());
    const over = frame.top + 12 - box.top;
    if (over > 0) map.panBy([0, -over], { animate: false });
  }

  /** Scrolls `said` so that what opened in it can be seen, as far as it fits. */
  function scrollTo(said, part) {
    const [inner, outer] = [part, said].map((one) => one.getBoundingClientRect());
    const [below, above] = [inner.bottom - outer.bottom, inner.top - outer.top];
    if (below > 0) said.scrollTop += Math.min(below, above);
  }

  return { open, opened: () => opened };
}
