"""Invented towns for the tests of the public edition: streets in a grid, and homes on their sides."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from harvest.fields.parcels import HOMES, LARGE_ROOFS

TOWN_CRS = "EPSG:32621"
PLANE = CRS.from_proj4("+proj=laea +lat_0=41.00 +lon_0=-58.00 +datum=WGS84 +units=m +no_defs")
WEST, SOUTH = 415_003.7, 4_538_001.3
LONG_M = 160.0
"""From junction to junction."""


@dataclass(frozen=True)
class PublicTown:
    """Parcels with the columns that the public edition reads (and some that it must not), and street sides."""

    parcels: gpd.GeoDataFrame
    sides: gpd.GeoDataFrame

    @property
    def homes(self) -> gpd.GeoDataFrame:
        """The parcels that have to be protected."""
        known = self.parcels[["runoff_l_yr", "capturable_l_yr", "yield_l_yr"]].notna().all(axis=1)
        return self.parcels[self.parcels["list"].eq(HOMES) & known]


def stretches(across: int, down: int) -> gpd.GeoDataFrame:
    """Both sides of every stretch of ``across`` streets that run north and ``down`` that run east."""
    rows = []
    for line in range(down):
        for at in range(across - 1):
            start = (WEST + at * LONG_M, SOUTH + line * LONG_M)
            rows.append(
                (f"E{line}-{at}", f"Row {line} Street", f"Col {at} to Col {at + 1}", start, (LONG_M, 0.0))
            )
    for at in range(across):
        for line in range(down - 1):
            start = (WEST + at * LONG_M, SOUTH + line * LONG_M)
            rows.append(
                (f"N{at}-{line}", f"Col {at} Street", f"Row {line} to Row {line + 1}", start, (0.0, LONG_M))
            )
    both = [
        {
            "side_id": f"{name}-{hand}",
            "street": street,
            "stretch": stretch,
            "side": {"L": "north", "R": "south"}[hand] if step[0] else {"L": "west", "R": "east"}[hand],
            "geometry": shapely.LineString([start, (start[0] + step[0], start[1] + step[1])]),
        }
        for name, street, stretch, start, step in rows
        for hand in "LR"
    ]
    frame = pd.DataFrame(both).astype(dict.fromkeys(("side_id", "street", "stretch", "side"), "str"))
    return gpd.GeoDataFrame(frame, geometry="geometry", crs=TOWN_CRS)


def town_of(
    sides: gpd.GeoDataFrame, homes_on: dict[str, list[float]], astray: list[float] = ()
) -> PublicTown:
    """Homes with the given capturable litres on sides by ``side_id``; ``astray`` are homes on no street."""
    rows = []
    lines = sides.set_index("side_id").geometry
    for side_id, litres in homes_on.items():
        line = lines[side_id].parallel_offset(15, "left" if side_id.endswith("L") else "right")
        for number, one in enumerate(litres):
            rows.append((side_id, one, line.interpolate((number + 0.5) / len(litres), normalized=True)))
    rows += [(None, one, shapely.Point(WEST - 900 - 30 * n, SOUTH - 900)) for n, one in enumerate(astray)]
    litres = pd.Series([one for _, one, _ in rows], dtype="float64")
    names = pd.Series([f"P-{number:05d}" for number in range(len(rows))], dtype="str")
    frame = pd.DataFrame(
        {
            "parcel_id": names,
            "address": ("No. " + names.str[2:] + " Hiding Place").astype("str"),
            "list": pd.Series(HOMES, index=names.index, dtype="str"),
            "side_id": pd.Series([side for side, _, _ in rows], dtype="str"),
            "runoff_l_yr": litres * 2.1,
            "capturable_l_yr": litres,
            "yield_l_yr": np.minimum(1_000.0, litres / 10),
            "geometry": [place.buffer(5) for _, _, place in rows],
        }
    )
    return PublicTown(gpd.GeoDataFrame(frame, geometry="geometry", crs=TOWN_CRS), sides)


def random_town(seed: int) -> PublicTown:
    """Some sides full, some nearly empty; now and then a giant; some parcels without figures or on the other list."""
    draw = np.random.default_rng(seed)
    sides = stretches(int(draw.integers(2, 6)), int(draw.integers(2, 6)))
    crowded = draw.uniform(1, 16)
    homes_on = {}
    for side_id in sides["side_id"]:
        count = int(draw.poisson(crowded * draw.choice([0, 0.2, 1.0])))
        litres = draw.lognormal(11, 0.4, count)
        if count and draw.random() < 0.15:
            litres[0] *= draw.choice([8, 60])
        if count:
            homes_on[side_id] = [float(one) for one in litres]
    astray = [float(one) for one in draw.lognormal(11, 0.4, int(draw.choice([0, 0, 1, 3, 12])))]
    town = town_of(sides, homes_on, astray)
    kept = town.parcels.sample(frac=1, random_state=seed)
    kept["list"] = kept["list"].mask(draw.random(len(kept)) < 0.05, LARGE_ROOFS)
    kept["list"] = kept["list"].mask(draw.random(len(kept)) < 0.05)
    kept["yield_l_yr"] = kept["yield_l_yr"].mask(draw.random(len(kept)) < 0.03)
    return PublicTown(kept, sides)
