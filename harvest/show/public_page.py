"""The public edition's page: what it is told of the cells, and nothing of any home.

Settings and inputs are named here one by one; a run's settings can hold parcels' ids, its findings and files too.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from harvest.fields import PUBLIC
from harvest.result import Result
from harvest.show.block import block, number_section, outline_section, text_section, word_section
from harvest.show.classes import class_colours, class_of
from harvest.show.figures import read_unit, rounded
from harvest.show.pageframe import OfflineMap, page_html
from harvest.show.public_drawn import Coloured, drawn, ground, measures
from harvest.show.sources import source_text
from harvest.show.town import made_up_days
from harvest.show.words.public import PUBLIC_WORDS, told
from harvest.units import M_PER_FOOT

MAP_NAME = "harvest"
STYLES = ("page.css", "panel.css", "popup.css", "narrow.css", "public.css")
SCRIPTS = (
    "page.js",
    "unpack.js",
    "shapes.js",
    "grid.js",
    "paint.js",
    "public_contents.js",
    "popup.js",
    "table.js",
    "public_map.js",
    "public_start.js",
)
"""Those that the internal map uses too, and the edition's own, joined in this order."""

MOST_STRETCHES = 2
"""Stretches that are all named; of more, the first is, and how many there are besides."""


def public_page(result: Result) -> str:
    """The whole page as text."""
    cells = result.table(PUBLIC.name)
    run, town = result.run, str(result.run["town"])
    around = ground(result)
    values = page_values(run, cells, _bounds(cells, around))
    (south, west), (north, east) = values["bounds"]
    least = f"{setting(run, 'public.least_homes'):,}"
    return page_html(
        OfflineMap(MAP_NAME, ((south + north) / 2, (west + east) / 2)),
        language="en",
        title=told("title", town=town),
        body=source_text("page", "public.html"),
        texts=PUBLIC_WORDS
        | {"heading": told("heading", town=town), "edition_text": told("edition_text", least=least)},
        styles=[source_text("page", name) for name in STYLES],
        scripts=["\n".join(source_text("page", name) for name in SCRIPTS)],
        values={"page-values": values},
        blocks={"cells-data": cells_block(cells, run), "ground-data": _ground_block(around)},
    )


def page_values(run: Mapping[str, Any], cells: gpd.GeoDataFrame, bounds: list[list[float]]) -> dict[str, Any]:
    """Everything that the page's scripts need beside the blocks."""
    units = run["units"]
    return {
        "words": PUBLIC_WORDS,
        "units": units,
        "by": run["public"]["by"],
        "bounds": bounds,
        "measures": [_measure(name, one, units) for name, one in measures(cells, units).items()],
        "step": _step(run),
        "shown": what_is_seen(run, cells),
        "made_up_days": made_up_days(run) and "yield_l_yr" in measures(cells, units),
        "totals": _totals(run),
        "method": _method(run),
        "made_with": told("made_with", program=run["program"], version=run["version"]),
    }


def _measure(name: str, one: Coloured, units: str) -> dict[str, Any]:
    field = PUBLIC.field(name)
    return {
        "name": name,
        "label": field.label,
        "meaning": field.meaning,
        "unit": read_unit(units, field.unit)[0],
        "digits": field.digits,
        "breaks": one.breaks,
        "colours": class_colours(len(one.breaks) + 1),
    }


def cells_block(cells: gpd.GeoDataFrame, run: Mapping[str, Any]) -> bytes:
    """Places, figures and classes of the cells."""
    figures = measures(cells, run["units"])
    return block(
        len(cells),
        [
            outline_section(drawn(cells, CRS.from_user_input(run["plane"]))),
            text_section("where", pd.Series([where(one) for one in cells.to_dict("records")], dtype="str")),
            number_section("home_count", cells["home_count"]),
            *(number_section(name, pd.Series(one.values)) for name, one in figures.items()),
            *(
                number_section(f"class_{name}", pd.Series(class_of(one.values, one.breaks)))
                for name, one in figures.items()
            ),
        ],
    )


def where(cell: Mapping[str, Any]) -> str:
    """Where a cell is, in words."""
    square, street, stretch = (
        None if pd.isna(cell[name]) else cell[name] for name in ("square", "street", "stretch")
    )
    if square is not None:
        return told("where_squares" if ";" in square else "where_square", square=square)
    side = PUBLIC_WORDS[f"side_{cell['side']}"]
    stretches = (stretch or "").split("; ")
    name = "where_street" if stretch else "where_short"
    if len(stretches) > MOST_STRETCHES:
        name, stretch = "where_more", stretches[0]
    return PUBLIC_WORDS[name].format(
        street=street or PUBLIC_WORDS["no_street"], stretch=stretch, side=side, more=len(stretches) - 1
    )


def _ground_block(around: gpd.GeoDataFrame) -> bytes:
    kinds = around["kind"].astype("str")
    return block(len(around), [outline_section(around.geometry), word_section("kind", kinds)])


def _bounds(cells: gpd.GeoDataFrame, around: gpd.GeoDataFrame) -> list[list[float]]:
    """South-west and north-east corner of the cells, else of the ground [degrees north, degrees east]."""
    frame = cells.geometry.to_crs(4326) if len(cells) else around.geometry
    if frame.empty:
        return [[0.0, 0.0], [0.0, 0.0]]
    west, south, east, north = (round(float(one), 6) for one in frame.total_bounds)
    return [[south, west], [north, east]]


def setting(run: Mapping[str, Any], name: str) -> Any:
    return next(one["value"] for one in run["settings"] if one["setting"] == name)


def _step(run: Mapping[str, Any]) -> float:
    """What volumes are rounded to, in the unit that people read."""
    us = run["units"] == "us"
    return float(setting(run, "public.step_gal") if us else 1_000 * setting(run, "public.step_m3"))


def _side(run: Mapping[str, Any]) -> str:
    """The side of a block in words."""
    metres = float(setting(run, "public.cell_m"))
    return f"{rounded(metres / M_PER_FOOT, 2)} ft" if run["units"] == "us" else f"{metres:g} m"


def what_is_seen(run: Mapping[str, Any], cells: pd.DataFrame) -> list[str]:
    if cells.empty:
        return [told("shown_empty")]
    by = told("shown_blocks", cell=_side(run)) if run["public"]["by"] == "blocks" else told("shown_streets")
    return [by, told("shown_blank")]


def _totals(run: Mapping[str, Any]) -> list[dict[str, str]]:
    """What all homes come to, already rounded to two digits; nothing where that would tell of too few."""
    totals = run["public"]["totals"] or {}
    lines = []
    for name, value in totals.items():
        if name == "home_count":
            lines.append({"label": told("about_homes_label"), "value": rounded(value, 2)})
            continue
        unit, converted = read_unit(run["units"], PUBLIC.field(name).unit)
        lines.append({"label": PUBLIC.field(name).label, "value": f"{rounded(converted(value), 2)} {unit}"})
    return lines


def _method(run: Mapping[str, Any]) -> list[str]:
    us, by_block = run["units"] == "us", run["public"]["by"] == "blocks"
    step = f"{_step(run):,.0f} gal" if us else f"{setting(run, 'public.step_m3'):g} m³"
    grid = CRS.from_user_input(run["public"]["grid"]).name if by_block else ""
    return [
        told("method_area"),
        told("method_season", first=setting(run, "season.first"), last=setting(run, "season.last")),
        told("method_used"),
        told("method_homes"),
        told(
            "method_hidden",
            least=f"{setting(run, 'public.least_homes'):,}",
            share=f"{100 * setting(run, 'public.most_share'):g}",
        ),
        told("method_rounded", step=step, homes=setting(run, "public.step_homes")),
        *([told("method_grid", cell=_side(run), grid=grid)] if by_block else []),
        told("method_ids"),
    ]
