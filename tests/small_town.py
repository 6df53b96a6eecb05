"""A town of a dozen invented lots in a folder, its figures round enough to work by hand, for tests that change it.

Lots stand in a row from west to east in the very plane that a run measures in, so 10 m by 8 m are 80 m². Rain is the
same everywhere: 80 mm in each month.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from gauges_made import lines_of, made_days
from layers_made import write_grid

from harvest.clock import Clock
from harvest.deliver import Barrels, delivered
from harvest.estimate import Estimate, estimate
from harvest.project import read_project
from harvest.run import read_inputs, worked_out

PLANE = "+proj=laea +lat_0=42.00 +lon_0=-71.00 +datum=WGS84 +units=m +no_defs"
WEST, NORTH, CELL = -71.002, 42.004, 0.002
"""Cells of the rain grid are about 165 m wide, so four columns, from the second on, hold the lots."""

ROWS, COLUMNS = 4, 6
MONTH_MM = 80.0
SOUTH_M = 20.0
APART_M = 60.0
"""From the corner of a lot to that of the next."""


class Lot(NamedTuple):
    """A lot and its roofs, each [m] wide and deep; ``gutters`` are said roof by roof or left to the rule."""

    wide: float
    deep: float
    roofs: tuple[tuple[float, float], ...]
    gutters: tuple[str, ...] = ()


LOTS = {
    "house": Lot(30, 40, ((10, 8),)),
    "large": Lot(40, 40, ((20, 12),)),
    "long": Lot(40, 30, ((30, 6), (4, 3))),
    "tight": Lot(10, 12, ((10, 8.8),)),
    "filled": Lot(10, 8.2, ((10, 8),)),
    "vacant": Lot(30, 40, ()),
    "sheds": Lot(30, 40, ((3, 3), (4, 4))),
    "stub": Lot(30, 40, ((1, 0.5),)),
    "tap": Lot(30, 40, ((1, 0.5),), ("yes",)),
    "stack A": Lot(30, 40, ((10, 8),)),
    "stack B": Lot(30, 40, ()),
}
"""``tight`` has 32 m² of open ground, ``filled`` 2 m²; the stacks are two parcels with one outline."""

SECTIONS: dict[str, dict[str, Any]] = {
    "town": {"name": "Smallwick"},
    "footprints": {"file": "footprints.parquet", "id": "roof", "gutter": "gutter"},
    "parcels": {"file": "parcels.parquet", "id": "lot", "address": "street"},
    "rainfall": {"file": "rain.tif"},
    "gauge": {"file": "gauge.csv"},
    "temperature": {"file": "temperature.csv"},
    "season": {"first": "04-15", "last": "10-31"},
    "doubt": {"draws": 50},
    "outputs": {"folder": "results", "formats": ["csv"], "figure": False, "brief": False},
}
LOWS = (-3, -2, 1, 6, 11, 16, 19, 18, 14, 8, 3, -1)
HIGHS = (3, 5, 9, 15, 20, 25, 28, 27, 23, 17, 10, 5)


def small_town(folder: Path, lots: Mapping[str, Lot] = LOTS, **sections: dict[str, Any] | None) -> Path:
    """The project file of a town of ``lots`` in ``folder``; ``sections`` add to its settings, None leaves one out."""
    write_layers(folder, lots)
    write_rain(folder)
    write_gauge(folder, gauge_days())
    table = pd.DataFrame({"month": range(1, 13), "tmin_c": LOWS, "tmax_c": HIGHS})
    table.to_csv(folder / "temperature.csv", index=False)
    return project_file(folder, **sections)


def project_file(folder: Path, **sections: dict[str, Any] | None) -> Path:
    """Write the project file anew, with other settings."""
    said = dict(SECTIONS)
    for name, values in sections.items():
        if values is None:
            said.pop(name)
        else:
            said[name] = said.get(name, {}) | values
    lines = [f"[{name}]\n" + "".join(f"{key} = {_toml(one)}\n" for key, one in values.items())
             for name, values in said.items()]  # fmt: skip
    path = folder / "town.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def write_layers(folder: Path, lots: Mapping[str, Lot]) -> None:
    """Parcels and footprints of ``lots``; what is called stack stands in one place."""
    grounds, outlines, names, gutters = [], [], [], []
    for number, (name, lot) in enumerate(lots.items()):
        x = APART_M * (number - (name == "stack B"))
        grounds.append(shapely.box(x, SOUTH_M, x + lot.wide, SOUTH_M + lot.deep))
        at = SOUTH_M
        for one, (wide, deep) in enumerate(lot.roofs):
            outlines.append(shapely.box(x, at, x + wide, at + deep))
            names.append(f"{name} {one + 1}")
            gutters.append(lot.gutters[one] if lot.gutters else None)
            at += deep + 2
    parcels = gpd.GeoDataFrame(
        {"lot": list(lots), "street": [_address(*one) for one in enumerate(lots)]},
        geometry=grounds,
        crs=PLANE,
    )
    parcels.to_parquet(folder / "parcels.parquet")
    roofs = {"roof": names, "gutter": pd.array(gutters, dtype="str")}
    gpd.GeoDataFrame(roofs, geometry=outlines, crs=PLANE).to_parquet(folder / "footprints.parquet")


def gauge_days() -> pd.Series:
    """Rain by date [mm] of the years 2010 to 2012, the last a leap year."""
    return made_days("2010-01-01", "2012-12-31")


def write_rain(folder: Path, bands: int = 12, east_factor: float = 1.0, dry_from: int | None = None) -> None:
    """The rain grid: ``east_factor`` times as much rain falls on its last column as on its first, and columns from
    ``dry_from`` hold no figure."""
    values = np.full((bands, ROWS, COLUMNS), MONTH_MM * 12 / bands) * np.geomspace(1, east_factor, COLUMNS)
    if dry_from is not None:
        values[:, :, dry_from:] = -9999
    write_grid(folder / "rain.tif", values, west=WEST, north=NORTH, cell=CELL, nodata=-9999)


def write_gauge(folder: Path, rain: pd.Series) -> None:
    """``rain`` [mm by date] as the gauge's file."""
    (folder / "gauge.csv").write_text("\n".join(lines_of(rain)) + "\n", encoding="utf-8")


def worked(project: Path) -> tuple[Estimate, dict[str, Any]]:
    """Tables and what joins ``run.json``, nothing written."""
    opened = read_project(project)
    return worked_out(read_inputs(opened, Clock()), opened.settings, Clock())


def without_doubt(project: Path) -> tuple[Estimate, Barrels | None]:
    """Tables before any input is drawn anew, and what barrels deliver."""
    opened = read_project(project)
    inputs = read_inputs(opened, Clock())
    return delivered(estimate(inputs, opened.settings, Clock()), inputs, opened.settings, Clock())


def parcels_of(found: Estimate) -> pd.DataFrame:
    """Parcels by id."""
    return pd.DataFrame(found.parcels.drop(columns="geometry")).set_index("parcel_id")


def _address(number: int, lot: str) -> str:
    return f"9 Row Unit {lot[-1]}" if lot.startswith("stack") else f"{number + 10} Row"


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    return json.dumps(value)
