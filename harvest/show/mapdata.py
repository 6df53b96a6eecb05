"""What the map page is told beside its layers: words, figures and their units, settings, findings, sources."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from harvest.fields import PARCELS, ROUNDS, SIDES, Field, Table
from harvest.fields.outreach import VISIT_STATUSES
from harvest.fields.parcels import LISTS, STATUSES
from harvest.result import Result
from harvest.show.figures import MONEY, MONEY_SIGN, read_unit
from harvest.show.limits import FORMULA_STARTS
from harvest.show.maplayers import FIGURES, ROUND_FIGURES, SIDE_FIGURES, SUMMED, UNDERNEATH, Layers
from harvest.show.measures import BARRELS, COLOURED, SWITCHED, measures
from harvest.show.tables import BYTE_ORDER_MARK
from harvest.show.town import SAVING, made_up_days, rounds_told, town_figures
from harvest.show.words.page import WORDS, filled

SEVERITIES = ("serious", "warning", "note")


def page_values(result: Result, drawn: Layers) -> dict[str, Any]:
    """Everything the page's scripts need beside the blocks."""
    run, units, parcels = result.run, result.run["units"], drawn.parcels
    return {
        "words": WORDS,
        "town": run["town"],
        "units": units,
        "coloured": COLOURED,
        "measures": measures(parcels, units),
        "barrels": list(BARRELS) if parcels[SWITCHED[0]].notna().any() else [],
        "lists": list(LISTS),
        "statuses": [one for one in STATUSES if parcels["status"].eq(one).any()],
        "visits": [one for one in VISIT_STATUSES if parcels["visit_status"].eq(one).any()],
        "ranked": _ranked(result),
        "figures": {
            "parcels": _figures(PARCELS, FIGURES, parcels, units),
            "sides": _figures(SIDES, SIDE_FIGURES, drawn.sides, units),
            "rounds": _figures(ROUNDS, ROUND_FIGURES, drawn.rounds, units),
        },
        "summed": list(SUMMED),
        "underneath": int(parcels["status"].isin(UNDERNEATH).sum()),
        "layers": [name for name in ("sides", "rounds", "context") if getattr(drawn, name) is not None],
        "bounds": _bounds(parcels),
        "storm_depth": _told_setting(run, "storm.depth_mm", "mm"),
        "storm_intensity": _told_setting(run, "storm.intensity_mm_h", "mm/h"),
        "made_up_days": made_up_days(run),
        "formula_starts": list(FORMULA_STARTS),
        "byte_order_mark": BYTE_ORDER_MARK,
        "dates": _dates(run),
        "totals": _totals(result),
        "rounds": rounds_told(run),
        "settings": [_setting(one) for one in run["settings"] if one["value"] not in (None, [], {})],
        "inputs": [
            {key: one[key] for key in ("role", "file", "rows")}
            | {"crs": _crs_name(one["crs"]), "sha256": one["sha256"][:12]}
            for one in run["inputs"]
        ],
        "findings": _findings(result),
        "made_with": filled("made_with", program=run["program"], version=run["version"]),
    }


def _figures(
    table: Table, names: Iterable[str], frame: pd.DataFrame | None, units: str
) -> list[dict[str, Any]]:
    """What is told of each figure, and whether any row has one; nothing without the table."""
    if frame is None:
        return []
    return [_figure(table.field(name), units) | {"known": bool(frame[name].notna().any())} for name in names]


def _dates(run: Mapping[str, Any]) -> list[str]:
    """How old the data is, as far as the run tells: the imagery's year, and the years of daily rain."""
    told = []
    imagery = next(
        (one["value"] for one in run["settings"] if one["setting"] == "footprints.imagery_year"), None
    )
    if imagery is not None:
        told.append(filled("dated_imagery", year=imagery))
    years = (run.get("weather") or {}).get("years") or []
    if years and not made_up_days(run):
        told.append(filled("dated_days", first=min(years), last=max(years), count=len(years)))
    return told


def _ranked(result: Result) -> dict[str, int]:
    """How many parcels each list holds in all."""
    frame = result.table("parcels", ["list", "rank"]).dropna()
    return {name: int((frame["list"] == name).sum()) for name in LISTS}


def _figure(field: Field, units: str) -> dict[str, Any]:
    unit, _ = read_unit(units, field.unit)
    return {
        "name": field.name,
        "label": field.label,
        "meaning": field.meaning,
        "sign": MONEY_SIGN if field.unit in MONEY else "",
        "unit": unit,
        "digits": None if field.dtype == "integer" else field.digits,
    }


def _bounds(parcels: gpd.GeoDataFrame) -> list[list[float]]:
    """South-west and north-east corner [degrees north, degrees east] of ``parcels`` in any CRS."""
    if parcels.empty:
        return [[0.0, 0.0], [0.0, 0.0]]
    whole = gpd.GeoSeries([shapely.box(*parcels.total_bounds)], crs=parcels.crs)
    west, south, east, north = whole.to_crs(4326).total_bounds
    return [[float(south), float(west)], [float(north), float(east)]]


def _told_setting(run: Mapping[str, Any], name: str, unit: str) -> str | None:
    """The setting ``name`` in SI ``unit`` as text, at its full worth; None where the run does not have it."""
    for one in run["settings"]:
        if one["setting"] == name:
            told, converted = read_unit(run["units"], unit)
            return f"{converted(float(one['value'])):.4g} {told}"
    return None


def _totals(result: Result) -> list[dict[str, str]]:
    """The whole town's totals as texts: label, value, range, and what the range hangs on."""
    run = result.run
    totals, units = run["totals"], run["units"]
    counts = [
        {"label": WORDS[f"town_{name}"], "value": f"{totals[name]:,}", "range": "", "hangs_on": ""}
        for name in ("parcels", "roofs")
        if name in totals
    ]
    figures = [
        {
            "label": WORDS["town_saving"] if one.name == SAVING else PARCELS.field(one.name).label,
            "value": one.text(units),
            "range": one.range_text(units),
            "hangs_on": one.hangs_on or "",
        }
        for one in town_figures(result).values()
    ]
    return counts + figures


def _setting(one: Mapping[str, Any]) -> dict[str, str]:
    """A setting that says something, as texts. ``meaning`` is empty where the run does not tell it."""
    text = _value_text(one["value"])
    default = one["from"] == "default"
    return {
        "setting": one["setting"],
        "meaning": one.get("meaning") or "",
        "value": text if one["unit"] in (None, "1", "year") else f"{text} {one['unit']}",
        "source": filled("from_default", source=one["source"]) if default else WORDS["from_project"],
    }


def _value_text(value: object) -> str:
    match value:
        case bool():
            return WORDS["yes"] if value else WORDS["no"]
        case float():
            return str(value).removesuffix(".0")
        case list():
            return ", ".join(map(_value_text, value))
        case dict():
            return ", ".join(f"{key}: {_value_text(one)}" for key, one in value.items())
        case _:
            return str(value)


@cache
def _crs_name(text: str) -> str:
    """A coordinate reference system in a few words, however long its definition."""
    try:
        crs = CRS.from_user_input(text)
    except CRSError:
        return text
    return f"{text} ({crs.name})" if len(text) <= 12 and crs.to_authority() else crs.name


def _findings(result: Result) -> list[dict[str, Any]]:
    """Findings, the gravest first."""
    frame = result.table("findings", ["check", "severity", "count", "message", "remedy", "first"])
    order = frame["severity"].map({name: place for place, name in enumerate(SEVERITIES)})
    frame = frame.assign(_order=order).sort_values(["_order", "check"], kind="stable")
    return [
        {
            "severity": row.severity,
            "count": int(row.count_),
            "message": row.message,
            "remedy": row.remedy,
            "first": None if pd.isna(row.first) else row.first,
        }
        for row in frame.rename(columns={"count": "count_"}).itertuples()
    ]
