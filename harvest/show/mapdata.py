"""What the map page is told: parcels and roofs as compact blocks, and everything else as plain values.

All figures are turned into the units that people read here, once; the page only rounds them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from pyproj.exceptions import CRSError

from harvest.fields import PARCELS, Field
from harvest.fields.parcels import COMMON_GROUND, LISTS, UNIT
from harvest.result import Result
from harvest.show.block import block, number_section, outline_section, text_section, word_section
from harvest.show.classes import class_colours, class_of, quantile_breaks
from harvest.show.figures import METRIC_NAMES, US_UNITS
from harvest.show.wording import WORDS, filled

COLOURED = "capturable_l_yr"
"""The figure that colours the map."""

FIGURES = (
    "runoff_l_yr",
    "capturable_l_yr",
    "storm_l",
    "catchment_area_m2",
    "rain_mm_yr",
    "roof_count",
    "door_count",
)
"""The figures that the page holds of each parcel."""

UNDERNEATH = (UNIT, COMMON_GROUND)
"""Parcels drawn first: they lie under others that hold the litres."""

SEVERITIES = ("serious", "warning", "note")


def read_unit(units: str, unit: str | None) -> tuple[str, Callable[[float], float]]:
    """What people who read ``units`` ("us" or "metric") read for SI ``unit``: its name, and the way to it."""
    if unit is None or unit == "1":
        return "", _as_it_is
    if units == "us" and unit in US_UNITS:
        return US_UNITS[unit]
    return METRIC_NAMES.get(unit, unit), _as_it_is


def _as_it_is(value: float) -> float:
    return value


def parcels_shown(result: Result, most_parcels: int, best: int) -> tuple[gpd.GeoDataFrame, int]:
    """The parcels that the map shows, in the order in which they are drawn, and how many there are in all.

    All of them up to ``most_parcels``; above, the ``best`` ranked: the first of each list, then the second
    of each, and so on.
    """
    columns = ["parcel_id", "address", "list", "rank", "status", "reason", *FIGURES, "geometry"]
    frame = result.table("parcels", columns)
    everything = len(frame)
    if everything > most_parcels:
        ranked = frame[frame["rank"].notna()]
        frame = ranked.sort_values(["rank", "list"]).head(best)
    under = frame["status"].isin(UNDERNEATH)
    ordered = frame.assign(_above=~under).sort_values(["_above", "address", "parcel_id"])
    return ordered.drop(columns="_above").reset_index(drop=True), everything


def roofs_shown(result: Result, parcels: gpd.GeoDataFrame, everything: int) -> gpd.GeoDataFrame:
    """One row for each roof; only those on ``parcels`` when these are not all of ``everything``."""
    roofs = result.table("roofs", ["roof_id", "parcel_id", "geometry"])
    if len(parcels) < everything:
        roofs = roofs[roofs["parcel_id"].isin(parcels["parcel_id"])]
    return roofs.drop_duplicates("roof_id").sort_values("roof_id").reset_index(drop=True)


def blocks(parcels: gpd.GeoDataFrame, roofs: gpd.GeoDataFrame, units: str) -> dict[str, bytes]:
    """The data of both layers, by the id of the page's element."""
    figures = [
        number_section(name, read_figure(parcels, name, units), decimals=_decimals(PARCELS.field(name)))
        for name in FIGURES
    ]
    classes = pd.Series(classes_of(parcels, units).numbers, dtype="int64")
    return {
        "parcels-data": block(
            len(parcels),
            [
                outline_section(parcels.geometry),
                text_section("parcel_id", parcels["parcel_id"]),
                text_section("address", parcels["address"]),
                word_section("list", parcels["list"]),
                number_section("rank", parcels["rank"]),
                word_section("status", parcels["status"]),
                word_section("reason", parcels["reason"]),
                number_section("class", classes),
                *figures,
            ],
        ),
        "roofs-data": block(len(roofs), [outline_section(roofs.geometry)]),
    }


def read_figure(frame: pd.DataFrame, name: str, units: str) -> pd.Series:
    """Column ``name`` of the parcels in the unit that people read."""
    _, converted = read_unit(units, PARCELS.field(name).unit)
    return frame[name].astype("Float64").pipe(converted)


def _decimals(field: Field) -> int:
    return 0 if field.dtype == "integer" else 2


@dataclass(frozen=True)
class Classes:
    """Classes of the coloured figure: -1 none, 0 nothing to catch, then 1 for the lowest class.

    ``breaks`` are in the unit people read; ``numbers`` has one class a parcel.
    """

    numbers: np.ndarray[Any, np.dtype[np.int64]]
    breaks: list[float]
    colours: tuple[str, ...]


def classes_of(parcels: pd.DataFrame, units: str) -> Classes:
    """Quantile classes over the parcels that have something to catch, so that open land moves no bound."""
    values = read_figure(parcels, COLOURED, units).to_numpy(dtype=float, na_value=np.nan)
    some = np.where(values > 0, values, np.nan)
    breaks = quantile_breaks(some)
    numbers = np.where(values == 0, 0, class_of(some, breaks) + 1)
    return Classes(np.where(np.isnan(values), -1, numbers), breaks, class_colours(len(breaks) + 1))


def page_values(result: Result, parcels: gpd.GeoDataFrame, everything: int) -> dict[str, Any]:
    """Everything the page's scripts need beside the blocks."""
    run, units = result.run, result.run["units"]
    classes = classes_of(parcels, units)
    return {
        "words": WORDS,
        "units": units,
        "coloured": COLOURED,
        "lists": list(LISTS),
        "ranked": _ranked(result),
        "figures": [_figure(PARCELS.field(name), units) for name in FIGURES],
        "classes": {
            "breaks": classes.breaks,
            "colours": classes.colours,
            "counts": np.bincount(classes.numbers + 1, minlength=len(classes.colours) + 2).tolist(),
        },
        "bounds": _bounds(parcels),
        "limited": len(parcels) < everything,
        "storm_depth": _storm_depth(run, units),
        "totals": _totals(run, units),
        "settings": [_setting(one) for one in run["settings"] if one["value"] not in (None, [], {})],
        "inputs": [
            {key: one[key] for key in ("role", "file", "rows")}
            | {"crs": _crs_name(one["crs"]), "sha256": one["sha256"][:12]}
            for one in run["inputs"]
        ],
        "findings": _findings(result),
        "made_with": filled("made_with", program=run["program"], version=run["version"]),
    }


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
        "unit": unit,
        "digits": None if field.dtype == "integer" else field.digits,
    }


def _bounds(parcels: gpd.GeoDataFrame) -> list[list[float]]:
    """South-west and north-east corner [degrees north, degrees east]."""
    if parcels.empty:
        return [[0.0, 0.0], [0.0, 0.0]]
    west, south, east, north = parcels.geometry.to_crs(4326).total_bounds
    return [[float(south), float(west)], [float(north), float(east)]]


def _storm_depth(run: Mapping[str, Any], units: str) -> dict[str, Any] | None:
    for one in run["settings"]:
        if one["setting"] == "storm.depth_mm":
            unit, converted = read_unit(units, "mm")
            return {"value": converted(float(one["value"])), "unit": unit}
    return None


def _totals(run: Mapping[str, Any], units: str) -> list[dict[str, Any]]:
    """The whole town's totals as label, value, unit and digits to show (None: all)."""
    totals = run["totals"]
    rows: list[dict[str, Any]] = [
        {"label": WORDS[f"town_{name}"], "value": totals[name], "unit": "", "digits": None}
        for name in ("parcels", "roofs")
        if name in totals
    ]
    sources = {
        "roof_area_m2": "catchment_area_m2",
        "runoff_l_yr": "runoff_l_yr",
        "capturable_l_yr": "capturable_l_yr",
    }
    for name, field_name in sources.items():
        if totals.get(name) is None:
            continue
        field = PARCELS.field(field_name)
        unit, converted = read_unit(units, field.unit)
        rows.append(
            {
                "label": field.label,
                "value": converted(float(totals[name])),
                "unit": unit,
                "digits": field.digits,
            }
        )
    return rows


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


def _crs_name(text: str) -> str:
    """A coordinate reference system in a few words, however long its definition."""
    try:
        crs = CRS.from_user_input(text)
    except CRSError:
        return text
    return f"{text} ({crs.name})" if crs.to_authority() and len(text) <= 12 else crs.name


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
