"use strict";

/*
 * What the colours mean: a scale of the classes, whose bounds each begin the class above, and the other marks.
 * Marks of classes that no parcel is in are left out.
 */

function setUpLegend() {
  const { word, element, values, rounded } = page;
  const { breaks, colours, counts } = values.classes;
  const { label, unit } = page.figure(values.coloured);

  page.byId("legend-of").textContent = word("legend_of", { label, unit });
  page.byId("legend-note").textContent = colours.length > 1 ? word("legend_note") : "";
  page.byId("legend").append(
    ...colours.map((colour, i) => {
      const box = swatch("class");
      box.style.backgroundColor = colour;
      return element("li", {}, box, range(i));
    })
  );
  const marks = [
    counts[1] ? "nil" : null,
    counts[0] ? "missing" : null,
    "roof",
    "faded",
  ];
  page.byId("legend-marks").append(
    ...marks.filter(Boolean).map((name) => element("li", {}, swatch(name), word("legend_" + name)))
  );

  function range(i) {
    const [low, high] = [breaks[i - 1], breaks[i]].map((bound) => rounded(bound, 2));
    if (breaks.length === 0) return word("legend_any");
    if (i === 0) return word("legend_under", { high });
    return i === breaks.length ? word("legend_over", { low }) : word("legend_between", { low, high });
  }

  function swatch(name) {
    return element("span", { class: "swatch " + name });
  }
}
