"""The interactive map: one HTML file that opens from disk, made from the result folder and nothing else."""

from __future__ import annotations

from pathlib import Path

from harvest.errors import OutputError
from harvest.findings import Finding
from harvest.project.basemap import Basemap
from harvest.result import Result
from harvest.show.mapdata import page_values
from harvest.show.maplayers import blocks, layers
from harvest.show.pageframe import OfflineMap, page_html
from harvest.show.sources import source_text
from harvest.show.words.page import WORDS, filled

MAP_FILE = "map.html"
MAP_NAME = "harvest"
STYLES = ("page.css", "panel.css", "popup.css", "narrow.css", "sheet.css")
SCRIPTS = (
    "page.js",
    "unpack.js",
    "shapes.js",
    "grid.js",
    "measures.js",
    "paint.js",
    "paint_streets.js",
    "visits.js",
    "layers.js",
    "shown.js",
    "contents.js",
    "popup.js",
    "table.js",
    "tables.js",
    "pointer.js",
    "search.js",
    "legend.js",
    "download.js",
    "sheet.js",
    "about.js",
    "view.js",
    "start.js",
)
"""The page's own scripts, joined in this order."""


def write_map(
    result: Result, folder: Path, most_parcels: int, best: int, basemap: Basemap | None = None
) -> list[Finding]:
    """Write ``folder/map.html`` from ``result``; a note comes back when it can't show every parcel.

    Up to ``most_parcels`` parcels are all shown, above that the ``best`` ranked. A ``basemap`` is the only
    thing that the page asks a network for. Raises :class:`OutputError` when the file can't be written.
    """
    drawn = layers(result, most_parcels, best)
    values = page_values(result, drawn)
    values["basemap"] = basemap.model_dump() if basemap else None
    everything, shown = drawn.everything, len(drawn.parcels)
    limited = filled("limited", all=f"{everything:,}", best=f"{shown:,}") if drawn.limited else ""
    town = str(result.run["town"])
    (south, west), (north, east) = values["bounds"]
    text = page_html(
        OfflineMap(MAP_NAME, ((south + north) / 2, (west + east) / 2)),
        language="en",
        title=filled("title", town=town),
        body=source_text("page", "body.html"),
        texts=WORDS | {"heading": filled("heading", town=town), "limited": limited},
        styles=[source_text("page", name) for name in STYLES],
        scripts=["\n".join(source_text("page", name) for name in SCRIPTS)],
        values={"page-values": values},
        blocks=blocks(drawn, result.run["units"]),
        image_hosts=[basemap.host] if basemap else [],
    )
    path = folder / MAP_FILE
    try:
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(
            f"{path} can't be written: {error.strerror}; free the disk or choose --out."
        ) from None
    return [_limited_finding(everything, shown)] if drawn.limited else []


def _limited_finding(everything: int, shown: int) -> Finding:
    return Finding(
        "map shows the best only",
        "parcels",
        "note",
        everything - shown,
        f"The town has {everything:,} parcels; the map shows the {shown:,} best ranked, the tables hold all.",
        "Raise map_most_parcels in [outputs] if the map must show every parcel.",
    )
