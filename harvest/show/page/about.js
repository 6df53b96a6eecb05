"use strict";

/*
 * How it was worked out: what figures mean, the town's totals, findings, settings and files.
 */

function setUpAbout() {
  const { word, element, values, rounded } = page;

  const line = (head, ...texts) =>
    element("tr", {}, element("th", { scope: "row" }, ...[head].flat()), ...texts.map((text) => element("td", {}, text)));

  /** A name such as section.long_key, which may break after a dot or an underscore. */
  const breakable = (name) => name.split(/(?<=[._])/).flatMap((part) => [part, element("wbr")]);

  page.byId("about-figures").append(
    ...[...values.figures.parcels, ...onlyOfSides()]
      .filter((one) => one.known)
      .flatMap((one) => [element("dt", {}, named(one)), element("dd", {}, one.meaning)])
  );
  page.byId("about-town").append(
    ...values.totals.map((one) => line(one.label, one.value, ranged(one)))
  );
  page.byId("about-rounds").textContent = values.rounds;
  page.byId("about-rounds").hidden = !values.rounds;
  page.byId("about-findings").append(
    ...(values.findings.length ? values.findings.map(finding) : [element("li", {}, word("about_no_findings"))])
  );
  page.byId("about-settings").append(
    ...values.settings.map((one) => {
      const meaning = element("span", { class: "quiet" }, one.meaning);
      return line([...breakable(one.setting), meaning], one.value, one.source);
    })
  );
  page.byId("about-inputs").append(
    ...values.inputs.flatMap((one) => [
      element("dt", {}, `${one.role}: ${one.file}`),
      element(
        "dd",
        {},
        one.rows === null ? null : word("input_rows", { rows: rounded(one.rows, null) }) + " ",
        `${one.crs}. `,
        word("input_checksum", one)
      ),
    ])
  );
  page.byId("made-with").textContent = values.made_with;

  page.byId("about-dates").append(...values.dates.map((text) => element("li", {}, text)));
  page.byId("about-dates-part").hidden = values.dates.length === 0;

  /** Figures of street sides that parcels don't have. */
  function onlyOfSides() {
    return values.figures.sides.filter((one) => !page.figure(one.name));
  }

  /** A figure's label with its unit. */
  function named({ label, sign, unit }) {
    const units = [sign, unit].filter(Boolean).join(" ");
    return units ? `${label} (${units})` : label;
  }

  /** The range of a total, and what it hangs on. */
  function ranged({ range, hangs_on }) {
    if (!range) return "";
    const most = hangs_on ? element("span", { class: "quiet" }, word("hangs_on", { input: hangs_on })) : null;
    return element("span", {}, range, most);
  }

  function finding(one) {
    return element(
      "li",
      {},
      element("strong", { class: one.severity }, word("severity_" + one.severity)),
      " " + one.message + " ",
      element("span", { class: "quiet" }, one.remedy),
      one.first ? element("span", { class: "quiet" }, " " + word("finding_first", { first: one.first })) : null
    );
  }
}
