"""The brief for a council: one or two pages in PDF, from the result alone, that may be handed out.

It holds no address, no parcel number and no name, and no row tells of fewer homes than the public edition's least.
"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from harvest.errors import ResultError
from harvest.findings import Finding
from harvest.result import Result
from harvest.show.brief_tables import districts_grid, streets_grid
from harvest.show.brief_texts import SETTINGS, BriefTexts
from harvest.show.card import PAPER
from harvest.show.card_texts import one_line
from harvest.show.figure import can_draw, no_package, nothing_to_draw, write_bytes
from harvest.show.scene import Scene, scene
from harvest.show.typeset import can_typeset, typeset
from harvest.show.words.brief import said

BRIEF_FILE = "brief.pdf"
TEMPLATE = "brief.typ"
LONGEST_TOWN = 60
ROOM = {"us-letter": (7.2, 4.4), "a4": (6.97, 4.7)}
"""Width and height that the map has on the page [inches]."""


def write_brief(result: Result, folder: Path) -> list[Finding]:
    """Write ``folder/brief.pdf``. What was left out, or the whole brief where Typst is missing, is a finding.

    Raises :class:`OutputError` when the file can't be written, and :class:`ResultError` for a result that an
    earlier version made, which lacks what a brief tells.
    """
    if not can_typeset():
        return [no_package("no brief", "typst", "The brief was not made")]
    known = {one["setting"] for one in result.run["settings"]}
    if not set(SETTINGS) <= known:
        raise ResultError(f"The result in {result.folder} was made before briefs could be; run again.")
    shown = scene(result, whole_streets=True)
    findings = []
    if shown is None:
        findings.append(nothing_to_draw("no map in the brief"))
    elif not can_draw():
        findings.append(no_package("no map in the brief", "matplotlib", "The brief has no map"))
        shown = None
    write_bytes(folder / BRIEF_FILE, typeset(TEMPLATE, brief_values(result, shown)))
    return findings


def brief_values(result: Result, shown: Scene | None) -> dict[str, Any]:
    """Everything that the template sets, ready: texts, tables, and the map of ``shown`` as SVG."""
    run, texts = result.run, BriefTexts(result)
    town = one_line(str(run["town"]), LONGEST_TOWN)
    streets, measure = streets_grid(result)
    districts = districts_grid(result)
    what = said("map_streets" if result.has("sides") else "map_parcels")
    return {
        "title": said("title", town=town),
        "over": said("over"),
        "under": said("under"),
        "paper": PAPER[run["units"]],
        "levels": [asdict(one) for one in texts.levels()],
        "share": texts.share_lines(),
        "facts": texts.facts(),
        "map": _map(shown, run) if shown else None,
        "map_alt": said("map", town=town, what=what) if shown else said("map_none"),
        "streets": asdict(streets),
        "districts": asdict(districts) if districts else None,
        "means": [said("means_heading"), texts.means()],
        "means_not": [said("not_heading"), texts.means_not()],
        "method": [said("method_heading"), texts.method(measure)],
        "findings": [said("findings_heading"), texts.findings()],
        "cautions": [said("cautions_heading"), texts.cautions()],
        "source": shown.source if shown else "",
        "foot": said("foot"),
        "made_with": f"{run['program']} {run['version']}",
    }


def _map(shown: Scene, run: dict[str, Any]) -> str:
    """The figure's drawing without title and foot, which stand in the brief itself; outlines as a picture, which no
    viewer of PDFs makes too heavy and from which no outline can be taken."""
    from harvest.show.figure_drawing import Layout, drawn
    from harvest.show.sheet import settled

    width, height = ROOM[PAPER[run["units"]]]
    layout = Layout(
        width, height, 300, 0.02, 1.95, 14, heading=10, body=8.8, small=8, framed=False, vector_most=0
    )
    with settled():
        made = drawn(shown, layout).svg(f"{run['program']} {run['version']}", shown.title)
    return made.decode("utf-8")
