"""The two tables of the brief: the best streets, and totals by district. No row tells of fewer homes than the least."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from harvest.fields.register import unit_of_name
from harvest.result import Result
from harvest.show.card_texts import one_line
from harvest.show.figures import read_unit, rounded
from harvest.show.scene import BEST
from harvest.show.streets import WORTH_A_MINUTE, best_streets, least_homes
from harvest.show.words.brief import said

DIGITS = 2
LONGEST_NAME = 32
MOST_DISTRICTS = 8

SHEDS, CAPTURABLE, USED, RANKING = 1, 2, 3, 5
"""The line of the method that a column's footnote points to; 0 for none."""

BARRELS = "suggested_barrels"
SIDE_COLUMNS = {
    "door_count": 0,
    "to_visit_count": 0,
    "capturable_l_yr": CAPTURABLE,
    "yield_l_yr": USED,
    "worth_l_yr": RANKING,
    WORTH_A_MINUTE: RANKING,
}
DISTRICT_COLUMNS = {
    "door_count": 0,
    "runoff_l_yr": SHEDS,
    "capturable_l_yr": CAPTURABLE,
    "yield_l_yr": USED,
    BARRELS: USED,
}
COUNTS = ("door_count", "to_visit_count")


@dataclass(frozen=True)
class Column:
    """A column's heading and the line of the method behind its figures (0 for none)."""

    label: str
    note: int


@dataclass(frozen=True)
class Grid:
    """A table ready to set: ``rows`` of texts, the first one or two of each being names."""

    heading: str
    lines: list[str]
    names: int
    columns: list[Column]
    rows: list[list[str]]
    total: bool = False


def streets_grid(result: Result) -> tuple[Grid, str]:
    """The best streets, and the name of the column that orders them. Without a row, the lines say why."""
    rows, measure = best_streets(result)
    rows = rows.head(BEST)
    units, least = result.run["units"], least_homes(result.run)
    few = said("streets_few", least=least)
    if rows.empty:
        return Grid(said("streets_heading_few"), [said("streets_none", least=least)], 0, [], []), measure
    if measure == WORTH_A_MINUTE:
        columns = dict(SIDE_COLUMNS)
    else:
        columns = {"door_count": 0, "capturable_l_yr": CAPTURABLE, "yield_l_yr": USED, measure: RANKING}
    columns = {name: note for name, note in columns.items() if rows[name].notna().any()}
    place = ["street", *(["district"] if rows["district"].notna().any() else [])]
    heading = "streets_heading" if len(rows) == BEST else "streets_heading_few"
    lines = [f"{said(f'streets_order_{measure}')} {_unit(units)} {few}"]
    return _grid(said(heading), lines, place, rows, columns, units, numbered=True), measure


def districts_grid(result: Result) -> Grid | None:
    """Totals by district, the small ones taken together, and the town's; None where no parcel has a district."""
    parcels = result.table("parcels", ["parcel_id", "district", *DISTRICT_COLUMNS]).sort_values("parcel_id")
    if not parcels["district"].notna().any():
        return None
    units, least = result.run["units"], least_homes(result.run)
    numbers = parcels.astype(dict.fromkeys(DISTRICT_COLUMNS, "float64"))
    by = numbers.groupby("district", dropna=False)[list(DISTRICT_COLUMNS)]
    sums = by.sum(min_count=1).reset_index()
    named = sums[sums["district"].notna() & sums["door_count"].ge(least)]
    named = named.sort_values(["door_count", "district"], ascending=[False, True]).head(MOST_DISTRICTS)
    others = sums[~sums["district"].isin(named["district"])]
    in_none = others["district"].isna().all()
    rows = [*_records(named.sort_values("district", key=lambda names: names.map(_natural)))]
    if len(others):
        together: dict[str, Any] = dict(others[list(DISTRICT_COLUMNS)].sum(min_count=1))
        if not together["door_count"] >= least:
            together = dict.fromkeys(DISTRICT_COLUMNS)
        rows.append({"district": said("districts_no" if in_none else "districts_other"), **together})
    whole = dict(sums[list(DISTRICT_COLUMNS)].sum(min_count=1))
    rows.append({"district": said("districts_total"), **whole})
    frame = pd.DataFrame(rows)
    columns = {name: note for name, note in DISTRICT_COLUMNS.items() if frame[name].notna().any()}
    lines = [_unit(units)]
    if result.run["totals"].get("unplaced_roofs"):
        lines = [f"{lines[0]} {said('districts_roofless')}"]
    return _grid(said("districts_heading"), lines, ["district"], frame, columns, units, total=True)


def _grid(
    heading: str,
    lines: list[str],
    place: list[str],
    frame: pd.DataFrame,
    columns: Mapping[str, int],
    units: str,
    *,
    numbered: bool = False,
    total: bool = False,
) -> Grid:
    heads = [Column(said(f"column_{name}"), 0) for name in place]
    heads += [Column(said(f"column_{name}"), note) for name, note in columns.items()]
    rows = [
        [
            *(_name(row[name]) for name in place),
            *(_figure(row[name], name, units) for name in columns),
        ]
        for row in _records(frame)
    ]
    if numbered:
        heads = [Column("", 0), *heads]
        rows = [[str(number), *row] for number, row in enumerate(rows, 1)]
    return Grid(heading, lines, len(place) + numbered, heads, rows, total)


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def _figure(value: Any, name: str, units: str) -> str:
    """Homes as they are; everything else to two digits, in the unit people read."""
    if value is None or pd.isna(value):
        return said("missing")
    if name in COUNTS:
        return f"{round(value):,}"
    _, converted = read_unit(units, unit_of_name(name))
    text = rounded(converted(float(value)), DIGITS)
    return text.removesuffix(".0") if name == BARRELS else text


def _name(value: Any) -> str:
    return one_line(value, LONGEST_NAME) if isinstance(value, str) else said("missing")


def _unit(units: str) -> str:
    return said("all_in", unit=read_unit(units, "L/yr")[0])


def _natural(name: str) -> tuple[tuple[int, str], ...]:
    """A key that puts Ward 2 before Ward 10."""
    return tuple(
        (int(part), "") if part.isdecimal() else (0, part.casefold()) for part in re.split(r"(\d+)", name)
    )
