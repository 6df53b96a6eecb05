"use strict";

/*
 * What the colours mean: a scale of the classes, whose bounds each begin the class above, with how many parcels
 * each holds, and the other marks. Marks of classes that no parcel is in are left out.
 */

function setUpLegend(colouring) {
  const { word, element, rounded, byId } = page;

  function tell() {
    const { measure, counts } = colouring;
    byId("legend-of").textContent = measure.unit
      ? word("legend_of", { label: colouring.label(), unit: measure.unit })
      : colouring.label();
    byId("legend-meaning").textContent = measure.meaning;
    byId("legend-note").textContent = measure.breaks.length ? word("legend_note") : "";
    byId("legend").replaceChildren(
      ...measure.colours.map((colour, i) => {
        const box = swatch("class");
        box.style.backgroundColor = colour;
        const count = word("legend_count", { count: rounded(counts[i + 2], null) });
        return element("li", {}, box, colouring.range(i + 1), element("span", { class: "quiet" }, count));
      })
    );
    const marks = [
      counts[1] ? ["nil", measure.name === page.values.coloured ? "legend_nil" : "legend_nothing", counts[1]] : null,
      counts[0] ? ["missing", "legend_missing", counts[0]] : null,
      ["faded", "legend_faded", null],
    ];
    byId("legend-marks").replaceChildren(
      ...marks.filter(Boolean).map(([name, text, count]) =>
        element(
          "li",
          {},
          swatch(name),
          word(text),
          count === null ? null : element("span", { class: "quiet" }, word("legend_count", { count: rounded(count, null) }))
        )
      )
    );
  }

  function swatch(name) {
    return element("span", { class: "swatch " + name });
  }

  page.on("coloured", tell);
  tell();
}
