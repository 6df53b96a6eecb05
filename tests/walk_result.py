"""A small invented town with two streets and three rounds, for walk lists and letters; figures round in US units.

Alder Street runs west to east in two stretches, lots on both sides of it, 20 m each; Birch Lane runs north from its
east end. Round 1 walks out along the north side of Alder Street and back along the south side of its second stretch,
then up Birch Lane. Round 2 is one door on the south side of the first stretch. Round 3 has two doors on a street
without a name.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd
import shapely
from card_result import PLANE, parcel, result_in
from table_extras import frame_of

from harvest.fields import ROUNDS, SIDES, STOPS
from harvest.fields.canvass import TO_CANVASS
from harvest.fields.outreach import COME_BACK, JOINED, TO_VISIT, TRY_AGAIN
from harvest.result import Result
from harvest.units import L_PER_GALLON, M_PER_FOOT

ALDER_1 = shapely.LineString([(0, 0), (100, 0)])
ALDER_2 = shapely.LineString([(100, 0), (200, 0)])
BIRCH = shapely.LineString([(200, 0), (200, 120)])
UNNAMED = shapely.LineString([(0, 0), (0, 150)])
CAUTION = "Dog: white and loud, behind the east gate"

LOTS: dict[str, tuple[str, str | None, str | None, float, float]] = {
    "N1": ("A1 L", "1 Alder Street", "Alder Street", 10, 20),
    "N2": ("A1 L", "3 Alder Street", "Alder Street", 30, 20),
    "N3": ("A2 L", "5 Alder Street", "Alder Street", 130, 20),
    "S3": ("A2 R", "6 Alder Street", "Alder Street", 130, -20),
    "S2": ("A2 R", None, "Alder Street", 110, -20),
    "B1": ("B R", "10 Birch Lane", "Birch Lane", 220, 30),
    "B2": ("B R", "9 Birch Lane", "Birch Lane", 220, 60),
    "S1": ("A1 R", "2 Alder Street", "Alder Street", 10, -20),
    "U1": ("U L", "1 Back Way", None, -20, 60),
    "U2": ("U L", "2 Back Way", None, -20, 90),
    "N9": ("A1 L", "99 Alder Street", "Alder Street", 90, 20),
    "N10": ("A1 L", "100 Alder Street", "Alder Street", 70, 20),
    "C1": ("C L", "8 Cedar Street", "Cedar Street", 400, 0),
    "D1": ("D L", "7 Dock Street", "Dock Street", 500, 0),
    "X1": ("A1 L", "11 Alder Street", "Alder Street", 50, 20),
}
"""Parcels: side, address, street, middle [m east, m north]. Those from N9 on are in no round."""

WALKED = (("N1", "N2", "N3", "S3", "S2", "B1", "B2"), ("S1",), ("U1", "U2"))
DOORS = {"N2": 2, "S3": 7}
VISITED = {"N3": TRY_AGAIN, "B1": COME_BACK}
MILE_M = 5280 * M_PER_FOOT
STORM_L = 500 * L_PER_GALLON
SETTINGS: dict[str, Any] = {
    "rounds.first_hour": "09:00",
    "rounds.last_hour": "19:30",
    "rounds.second_pass": 0.0,
}


def lot(name: str) -> shapely.Polygon:
    *_, x, y = LOTS[name]
    return shapely.box(x - 9, y - 12, x + 9, y + 12)


def parcels() -> list[dict[str, Any]]:
    """The parcels of ``LOTS``; D1 has joined, X1 is excluded."""
    rows = []
    for number, (name, (side, address, street, _, _)) in enumerate(LOTS.items()):
        rows.append(
            parcel(
                number,
                name,
                address,
                geometry=lot(name),
                street=street,
                side_id=side,
                district="Ward 1",
                door_count=DOORS.get(name, 1),
                visit_status=VISITED.get(name, TO_VISIT),
                eligible=True,
            )
        )
    rows[13] |= {"visit_status": JOINED}
    rows[14] |= {"status": "excluded", "list": None, "rank": None, "eligible": False}
    return rows


def sides() -> pd.DataFrame:
    lines = {
        "A1 L": (ALDER_1, "Alder Street", "north", 4),
        "A1 R": (ALDER_1, "Alder Street", "south", 5),
        "A2 L": (ALDER_2, "Alder Street", "north", 3),
        "A2 R": (ALDER_2, "Alder Street", "south", 6),
        "B R": (BIRCH, "Birch Lane", "east", 7),
        "U L": (UNNAMED, None, "west", 9),
        "C L": (shapely.LineString([(380, -15), (420, -15)]), "Cedar Street", "north", 2),
        "D L": (shapely.LineString([(480, -15), (520, -15)]), "Dock Street", "north", 1),
    }
    count = len(lines)
    columns = {
        "side_id": list(lines),
        "street": [one[1] for one in lines.values()],
        "side": [one[2] for one in lines.values()],
        "parcel_count": [1] * count,
        "door_count": [1] * count,
        "to_visit_count": [1] * count,
        "visited_count": [0] * count,
        "corrected_count": [0] * count,
        "length_m": [one[0].length for one in lines.values()],
        "rank": [one[3] for one in lines.values()],
        "status": [TO_CANVASS] * count,
        "no_crossing": [name == "B R" for name in lines],
        "geometry": [one[0] for one in lines.values()],
    }
    return frame_of(SIDES, columns, PLANE)


def stops(**changed: Any) -> pd.DataFrame:
    rows = [(number, at, name) for number, names in enumerate(WALKED, 1) for at, name in enumerate(names, 1)]
    names = [name for *_, name in rows]
    columns = {
        "round": [number for number, *_ in rows],
        "stop": [at for _, at, _ in rows],
        "parcel_id": names,
        "address": [LOTS[name][1] for name in names],
        "street": [LOTS[name][2] for name in names],
        "side_id": [LOTS[name][0] for name in names],
        "door_count": [DOORS.get(name, 1) for name in names],
        "visit_status": [VISITED.get(name, TO_VISIT) for name in names],
        "door_caution": [CAUTION if name == "N2" else None for name in names],
        "storm_l": [None if name == "B2" else STORM_L for name in names],
        "suggested_barrels": [{"N3": 2, "B1": 0, "B2": None}.get(name, 1) for name in names],
        "yield_l_yr": [None if name == "B2" else 200 * L_PER_GALLON for name in names],
        "worth_l_yr": [5.0] * len(names),
    }
    return frame_of(STOPS, columns | changed)


def rounds(**changed: Any) -> pd.DataFrame:
    columns = {
        "round": [1, 2, 3],
        "streets": ["Alder Street, Birch Lane", "Alder Street", "a street without a name"],
        "district": ["Ward 1", None, None],
        "stop_count": [7, 1, 2],
        "door_count": [14, 1, 2],
        "canvass_min": [172.4, 7.0, 62.0],
        "first_pass_min": [127.0, 7.0, 50.0],
        "walk_m": [0.5 * MILE_M, 0.0, 30.0],
        "answers": [14 * 0.33, 0.33, 0.66],
        "joins": [14 * 0.33 * 0.08, 0.0264, 0.05],
        "geometry": [
            shapely.LineString([(0, 0), (200, 0), (200, 120)]),
            shapely.LineString(),
            shapely.LineString([(0, 60), (0, 90)]),
        ],
    }
    return frame_of(ROUNDS, columns | changed, PLANE)


def walk_result(
    folder: Path,
    *,
    units: str = "us",
    town: str = "Pellwick",
    stops_are: pd.DataFrame | None = None,
    rounds_are: pd.DataFrame | None = None,
    sides_are: pd.DataFrame | None = None,
    rows: list[dict[str, Any]] | None = None,
    **settings: Any,
) -> Result:
    """The town as a complete result in ``folder``."""
    result_in(
        folder, parcels() if rows is None else rows, units=units, town_name=town, **(SETTINGS | settings)
    )
    (stops() if stops_are is None else stops_are).to_parquet(folder / "stops.parquet", index=False)
    (rounds() if rounds_are is None else rounds_are).to_parquet(folder / "rounds.parquet", index=False)
    (sides() if sides_are is None else sides_are).to_parquet(folder / "sides.parquet", index=False)
    return Result.at(folder)


def with_settings(result: Result, **settings: Any) -> Result:
    """``result`` with some settings changed in its run.json."""
    told = {one["setting"]: one["value"] for one in result.run["settings"]} | settings
    run = result.run | {"settings": [{"setting": name, "value": value} for name, value in told.items()]}
    (result.folder / "run.json").write_text(json.dumps(run), encoding="utf-8")
    return Result.at(result.folder)
