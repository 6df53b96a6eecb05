"""The public edition's cells: homes added up by street side or block, so that no household can be read back.

What keeps a household from being read back, and what undoes it:

- Only homes count (parcels on the list of homes, with figures); who is excluded, or a large roof, is in no sum.
- A sum of fewer than ``least_homes``, or of which one home has more than ``most_share``, is joined to its neighbour:
  a street side to the other side of its stretch, then the stretch to the next of the same street; a block to the
  next block. Where there is none, it is hidden.
- What is hidden can be worked out by whoever knows a total. So all of it together must be something that may be
  shown; else the smallest shown cells are hidden with it. Totals are rounded to two digits besides.
- Street sides or blocks, never both: their differences would be small.
- Blocks are squares of the UTM zone in which the town lies, counted from its origin; data can't move them. Two
  editions of other cells (``by``, ``cell_m``, ``least_homes``), or of homes that moved in or out between, can be
  subtracted. So leave the settings alone, and take one edition down when the next goes up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from harvest.fields.parcels import HOMES
from harvest.fields.public import BOTH_SIDES, MEASURES, PUBLIC
from harvest.findings import Finding, counted
from harvest.layers import between, crs_text
from harvest.plan.tallies import Floats, Positions, Rule, Tally, hidden, joined
from harvest.project.public import Public
from harvest.units import L_PER_GALLON

LAYER = "public edition"
TOTAL_DIGITS = 2


@dataclass(frozen=True)
class PublicCells:
    """``cells`` with the register's columns, ``record`` for ``run.json``, and what there is to say."""

    cells: gpd.GeoDataFrame
    record: dict[str, Any]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class _Places:
    """Cells that homes [homes] stand in: ``cell`` (-1 for none), and a frame with a row of words and geometry each.

    The rows of ``frame`` stand in the order in which they are told.
    """

    cell: Positions
    frame: gpd.GeoDataFrame


def public_cells(
    parcels: gpd.GeoDataFrame, sides: gpd.GeoDataFrame | None, plane: CRS, settings: Public, units: str
) -> PublicCells:
    """The cells that may be shown of ``parcels`` (the register's columns) to those who read ``units``.

    ``sides`` is the table of street sides, None where there is none; then blocks are made. ``plane`` says where the
    town lies.
    """
    homes, measures = _homes(parcels)
    litres = homes[measures].to_numpy("float64")
    rule = Rule(settings.least_homes, settings.most_share)
    by_street = settings.by == "streets" and sides is not None
    grid = town_grid(plane)
    if by_street and sides is not None:
        places = _by_street(homes, litres, sides.to_crs(parcels.crs), rule)
    else:
        places = _by_block(homes, litres, grid, settings.cell_m, rule)
    tally = Tally.of(places.cell, litres, len(places.frame))
    astray = Tally.of(np.where(places.cell < 0, 0, -1), litres, 1)
    away = hidden(tally, astray, rule)
    shown = places.frame[~away].reset_index(drop=True)
    sums = _rounded(tally.total[~away], settings.step_l(units))
    frame = shown.assign(
        cell=np.arange(1, len(shown) + 1),
        home_count=_homes_rounded(tally.count[~away], settings.step_homes),
        **{name: sums[:, at] for at, name in enumerate(measures)},
    )
    whole = Tally.of(np.zeros(len(homes), np.intp), litres, 1)
    left_out = int(astray.count[0] + tally.count[away].sum())
    record = {
        "by": "streets" if by_street else "blocks",
        "grid": None if by_street else crs_text(grid),
        "cells": len(shown),
        "hidden_cells": int((away & (tally.count > 0)).sum()),
        "homes_left_out": left_out,
        "totals": _totals(whole, measures, units) if len(shown) and whole.shows(rule)[0] else None,
    }
    return PublicCells(
        gpd.GeoDataFrame(PUBLIC.checked(frame), geometry="geometry", crs=parcels.crs),
        record,
        tuple(_told(settings, by_street, len(shown), len(homes), left_out)),
    )


def town_grid(plane: CRS) -> CRS:
    """The UTM zone of the middle of ``plane``: a grid that stays where it is when the town's data change."""
    east, north = between(CRS(plane), CRS.from_epsg(4326)).transform(0, 0)
    zone = int((east + 180) % 360 // 6) + 1
    return CRS.from_epsg((32600 if north >= 0 else 32700) + zone)


def _homes(parcels: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Homes of which everything is known that is known of any, sorted by id; and the measures that are."""
    homes = parcels[parcels["list"].eq(HOMES)]
    measures = [name for name in MEASURES if name in homes and homes[name].notna().any()]
    measures = measures or list(MEASURES[:2])
    known = homes[measures].notna().all(axis=1)
    return homes[known].sort_values("parcel_id", ignore_index=True), measures


def _by_street(homes: gpd.GeoDataFrame, litres: Floats, sides: gpd.GeoDataFrame, rule: Rule) -> _Places:
    """Street sides where both may be shown, else whole stretches, joined along the street where they must be."""
    sides = sides.sort_values(["street", "stretch", "side", "side_id"], ignore_index=True)
    side = pd.Index(sides["side_id"]).get_indexer(homes["side_id"])
    names = sides["side_id"].str.replace(r"\W?[LR]$", "", regex=True)
    stretch_of, stretches = pd.factorize(names)
    of_side = Tally.of(side, litres, len(sides))
    fails = (of_side.count > 0) & ~of_side.shows(rule)
    whole = np.bincount(stretch_of[fails], minlength=len(stretches)) > 0
    at = np.where(side >= 0, stretch_of[side], -1)
    root = joined(Tally.of(at, litres, len(stretches)), _along(sides, stretch_of), rule)
    alone = np.bincount(root, minlength=len(stretches)) == 1
    apart = ~whole & alone[root]

    key = np.where(apart[stretch_of], np.arange(len(sides)), len(sides) + root[stretch_of])
    cell_of_side, keys = pd.factorize(key)
    rows = [
        _street_row(some, split=bool(keys[cell] < len(sides)))
        for cell, some in sides.groupby(cell_of_side, sort=True)
    ]
    frame = gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=["street", "stretch", "side", "geometry"]).astype(
            dict.fromkeys(("street", "stretch", "side"), "str")
        ),
        geometry="geometry",
        crs=sides.crs,
    )
    return _Places(np.where(side >= 0, cell_of_side[side], -1), frame)


def _street_row(sides: gpd.GeoDataFrame, *, split: bool) -> tuple[Any, ...]:
    """What is told of one cell made of ``sides``: one side, or everything of some stretches of a street."""
    stretches = "; ".join(dict.fromkeys(sides["stretch"].dropna()))
    lines = shapely.get_parts(sides.geometry.to_numpy())
    once = list(dict.fromkeys(shapely.normalize(lines)))
    line = once[0] if len(once) == 1 else shapely.MultiLineString(once)
    street = sides["street"].iloc[0]
    return (
        None if pd.isna(street) else street,
        stretches or None,
        sides["side"].iloc[0] if split else BOTH_SIDES,
        line,
    )


def _along(sides: gpd.GeoDataFrame, stretch_of: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Pairs of stretches of one named street that touch at an end."""
    ends = shapely.boundary(sides.geometry.to_numpy())
    points, side = (
        shapely.get_coordinates(ends),
        np.repeat(np.arange(len(sides)), shapely.get_num_geometries(ends)),
    )
    table = pd.DataFrame(
        {
            "street": sides["street"].to_numpy()[side],
            "x": np.rint(points[:, 0] * 10),
            "y": np.rint(points[:, 1] * 10),
            "stretch": stretch_of[side],
        }
    )
    meeting = table[table["street"].notna()].drop_duplicates().groupby(["street", "x", "y"])["stretch"]
    return [
        (one, other)
        for _, met in meeting
        for place, one in enumerate(met)
        for other in met.iloc[place + 1 :]
        if one != other
    ]


def _by_block(homes: gpd.GeoDataFrame, litres: Floats, grid: CRS, cell_m: float, rule: Rule) -> _Places:
    """Squares of ``grid`` with homes, joined to their neighbours where they must be; from north to south."""
    middles = homes.geometry.representative_point().to_crs(grid)
    columns = np.floor(middles.x.to_numpy() / cell_m).astype(np.int64)
    lines = np.floor(middles.y.to_numpy() / cell_m).astype(np.int64)
    squares, at = np.unique(np.column_stack([-lines, columns]), axis=0, return_inverse=True)
    at = at.reshape(-1)
    place = {(int(one), int(other)): number for number, (one, other) in enumerate(squares)}
    near = [
        (number, place[beside])
        for (line, column), number in place.items()
        for beside in ((line + 1, column), (line, column + 1))
        if beside in place
    ]
    root = joined(Tally.of(at, litres, len(squares)), near, rule)
    cell_of_square, _ = pd.factorize(root)
    west, south = squares[:, 1] * cell_m, -squares[:, 0] * cell_m
    boxes = shapely.box(west, south, west + cell_m, south + cell_m)
    mine = [some.to_numpy() for _, some in pd.Series(np.arange(len(squares))).groupby(cell_of_square)]
    frame = gpd.GeoDataFrame(
        {
            "square": pd.Series(
                ["; ".join(f"{squares[one, 1]} E, {-squares[one, 0]} N" for one in some) for some in mine],
                dtype="str",
            )
        },
        geometry=[shapely.union_all(boxes[some]) for some in mine],
        crs=grid,
    )
    return _Places(cell_of_square[at], frame.to_crs(homes.crs))


def _rounded(litres: Floats, step_l: float) -> Floats:
    """``litres`` to the nearest multiple of ``step_l``, halves up; told in whole litres."""
    return np.asarray(np.rint(np.floor(litres / step_l + 0.5) * step_l))


def _homes_rounded(count: NDArray[np.int64], step: int) -> NDArray[np.int64]:
    """``count`` to the nearest multiple of ``step``, at least one step."""
    return np.maximum(step, (2 * count + step) // (2 * step) * step)


def _totals(whole: Tally, measures: list[str], units: str) -> dict[str, float]:
    """What all homes of the town come to, to two digits of what people read."""
    unit = L_PER_GALLON if units == "us" else 1.0
    sums = {name: _two_digits(whole.total[0, at] / unit) * unit for at, name in enumerate(measures)}
    return {"home_count": _two_digits(float(whole.count[0])), **sums}


def _two_digits(value: float) -> float:
    return float(f"{value:.{TOTAL_DIGITS - 1}e}")


def _told(settings: Public, by_street: bool, cells: int, homes: int, left_out: int) -> list[Finding]:
    found = []
    if settings.by == "streets" and not by_street:
        found.append(
            Finding(
                "public edition by block",
                LAYER,
                "note",
                1,
                "There are no street sides, so the public edition adds homes up by block.",
                'Give streets, or set [public] by = "blocks"; never publish both.',
            )
        )
    if cells:
        found.append(
            Finding(
                "public edition",
                LAYER,
                "note",
                left_out,
                f"The public edition shows {counted(cells, 'sum')} of at least {settings.least_homes} homes each. Of "
                f"{counted(homes, 'home')}, {left_out:,} are in none of them: too few in one place, or one that stands "
                "out, or left out to protect those.",
                "Take the edition before down when this one goes up, and keep [public] as it is from year to year: two "
                "editions can be subtracted from each other, the more so the more differently they are cut.",
            )
        )
    else:
        found.append(
            Finding(
                "nothing to publish",
                LAYER,
                "warning",
                homes,
                f"No sum in the public edition may be shown: of {counted(homes, 'home')} none are in a place with at "
                f"least {settings.least_homes} of which none stands out, or what is left over would give them away.",
                "Larger blocks (cell_m) hold more homes. Do not lower least_homes to get a fuller map.",
            )
        )
    return found
