"""What the map page is told: parcels and roofs as compact blocks, and everything else as plain values.

All figures are turned into the units that people read here, once; the page only rounds them.
"""

from __future__ import annotations

from collections.abc import Mapping
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
from harvest.show.block import Section, block, number_section, outline_section, text_section, word_section
from harvest.show.classes import class_colours, class_of, quantile_breaks
from harvest.show.figures import MONEY, MONEY_SIGN, dollars_worth, read_unit
from harvest.show.precision import SPARE_DIGITS, decimals, kept
from harvest.show.town import SAVING, made_up_days, town_figures
from harvest.show.wording import WORDS, filled

COLOURED = "capturable_l_yr"
"""The figure that colours the map."""

SUMMED = ("runoff_l_yr", "capturable_l_yr", "yield_l_yr", "catchment_area_m2")
"""The figures that the page adds up over the parcels it shows."""

FIGURES = (
    "runoff_l_yr",
    "capturable_l_yr",
    "yield_l_yr",
    "suggested_barrels",
    "yield_low_l_yr",
    "yield_high_l_yr",
    "yield_poor_year_l_yr",
    "yield_good_year_l_yr",
    "fill_min",
    "saving_low_usd_yr",
    "saving_high_usd_yr",
    "net_cost_usd",
    "garden_m2",
    "storm_l",
    "catchment_area_m2",
    "served_area_m2",
    "rain_mm_yr",
    "roof_count",
    "door_count",
)
"""The figures that the page holds of each parcel; it shows all of them, each where it is known."""

SENTENCES = ("yield_hangs_on", "payback")
"""Texts that many parcels share."""

UNDERNEATH = (UNIT, COMMON_GROUND)
"""Parcels drawn first: they lie under others that hold the litres."""

SEVERITIES = ("serious", "warning", "note")


def parcels_shown(result: Result, most_parcels: int, best: int) -> tuple[gpd.GeoDataFrame, int]:
    """The parcels that the map shows, in the order in which they are drawn, and how many there are in all.

    All of them up to ``most_parcels``; above, the ``best`` ranked: the first of each list, then the second
    of each, and so on.
    """
    columns = ["parcel_id", "address", "list", "rank", "status", "reason", *FIGURES, *SENTENCES, "geometry"]
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
                *(_figure_section(parcels, name, units) for name in FIGURES),
                *(word_section(name, parcels[name]) for name in SENTENCES),
            ],
        ),
        "roofs-data": block(len(roofs), [outline_section(roofs.geometry)]),
    }


def read_figure(frame: pd.DataFrame, name: str, units: str) -> pd.Series:
    """Column ``name`` of the parcels in the unit that people read."""
    _, converted = read_unit(units, PARCELS.field(name).unit)
    return frame[name].astype("Float64").pipe(converted)


def _figure_section(parcels: pd.DataFrame, name: str, units: str) -> Section:
    """Column ``name`` as the page shows it, and finer only where the page adds it up."""
    field = PARCELS.field(name)
    values = read_figure(parcels, name, units)
    if field.dtype == "integer":
        return number_section(name, values)
    numbers = values.to_numpy(dtype=float, na_value=np.nan)
    if field.unit in MONEY:
        worth = np.array([one if np.isnan(one) else dollars_worth(one) for one in numbers])
    else:
        worth = kept(numbers, field.digits, SPARE_DIGITS if name in SUMMED else 0)
    return number_section(name, pd.Series(worth), decimals(worth))


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
        "figures": [
            _figure(PARCELS.field(name), units) | {"known": bool(parcels[name].notna().any())}
            for name in FIGURES
        ],
        "summed": list(SUMMED),
        "classes": {
            "breaks": classes.breaks,
            "colours": classes.colours,
            "counts": np.bincount(classes.numbers + 1, minlength=len(classes.colours) + 2).tolist(),
        },
        "bounds": _bounds(parcels),
        "limited": len(parcels) < everything,
        "storm_depth": _told_setting(run, "storm.depth_mm", "mm"),
        "storm_intensity": _told_setting(run, "storm.intensity_mm_h", "mm/h"),
        "made_up_days": made_up_days(run),
        "totals": _totals(result),
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
        "sign": MONEY_SIGN if field.unit in MONEY else "",
        "unit": unit,
        "digits": None if field.dtype == "integer" else field.digits,
    }


def _bounds(parcels: gpd.GeoDataFrame) -> list[list[float]]:
    """South-west and north-east corner [degrees north, degrees east]."""
    if parcels.empty:
        return [[0.0, 0.0], [0.0, 0.0]]
    west, south, east, north = parcels.geometry.to_crs(4326).total_bounds
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
