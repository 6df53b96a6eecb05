"""Which streets to canvass: sides with their worth, rounds that fit a shift, and the doors of each in walking order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.ops import substring

from harvest.clock import Clock
from harvest.errors import ProjectError
from harvest.estimate import Estimate
from harvest.fields import PARCELS, ROUNDS, SIDES, STOPS, STREETS
from harvest.fields.barrels import yield_name
from harvest.findings import Finding, counted
from harvest.layers import between
from harvest.place.plane import WGS84, Geometries, transformed
from harvest.plan.by_hand import Doors, by_hand
from harvest.plan.canvass_time import conversations, first_pass_min, pace
from harvest.plan.door_choice import LEFT_OUT, DoorChoice, door_choice
from harvest.plan.door_order import doors_in_order
from harvest.plan.round_bound import gap
from harvest.plan.round_sides import LaidOut, check_sides, laid_out
from harvest.plan.rounds import Round, RoundPlan, planned
from harvest.plan.side_sums import street_sums, with_worth
from harvest.project import Settings
from harvest.project.rounds import Rounds, lon_lat
from harvest.street_sides import OnStreets, sides_table


def canvassed(
    found: Estimate, placed: OnStreets | None, settings: Settings, clock: Clock
) -> tuple[Estimate, dict[str, Any] | None]:
    """``found`` with the worth of a visit, the tables of sides, rounds and stops, and what ``run.json`` says of rounds.

    Without streets nothing is added.
    """
    if placed is None or yield_name(1) not in found.parcels:
        return found, None
    parcels = with_worth(PARCELS.filled(found.parcels), settings.rounds, settings.costs.replaces_tap)
    found = replace(found, parcels=gpd.GeoDataFrame(parcels, crs=found.parcels.crs))
    with clock.step("sides of streets"):
        sides = sides_table(found, placed, settings)
    with clock.step("laying rounds"):
        everybody = _Town.of(found, placed, settings)
        town = everybody.worth_a_stop()
        plan = planned(town.laid.sides, settings.rounds, town.starts(found.plane))
    stops = _stops(town, plan)
    rounds = _rounds(town, plan, stops, settings)
    of_side = stops.drop_duplicates("side_id").set_index("side_id")["round"]
    sides = sides.assign(round=sides["side_id"].map(of_side).astype("Int64"))
    of_parcel = stops.set_index("parcel_id")["round"]
    table = found.parcels.assign(round=found.parcels["parcel_id"].map(of_parcel).astype("Int64"))
    more = {
        **found.more,
        STREETS.name: street_sums(sides),
        SIDES.name: sides,
        ROUNDS.name: rounds,
        STOPS.name: stops[list(STOPS.names)],
    }
    told = (
        *check_sides(town.laid.sides, pace(settings.rounds)),
        *_check_rounds(plan),
        *_check_passed(everybody),
    )
    return (
        replace(found, parcels=table, findings=(*found.findings, *told), more=more),
        _record(everybody, plan, stops),
    )


@dataclass(frozen=True)
class _Town:
    """Doors [n] where a visit wins something, and the sides they stand on; ``choice`` marks those worth a stop."""

    doors: gpd.GeoDataFrame
    segment: NDArray[np.int64]
    side: NDArray[np.int64]
    along_m: NDArray[np.float64]
    choice: DoorChoice
    placed: OnStreets
    settings: Rounds
    to_crs: Any

    @classmethod
    def of(cls, found: Estimate, placed: OnStreets, settings: Settings) -> _Town:
        parcels, on, stands = found.parcels.iloc[placed.row], placed.on, placed.found
        worth = np.nan_to_num(parcels["worth_l_yr"].to_numpy(dtype=np.float64))
        wanted = parcels["to_visit"].to_numpy(dtype=bool) & (stands.segment >= 0) & (worth > 0)
        doors = parcels[wanted].reset_index(drop=True)
        segment = stands.segment[wanted].astype(np.int64)
        side = np.where(stands.side[wanted] > 0, 0, 1).astype(np.int64)
        choice = door_choice(
            segment,
            side,
            doors["worth_l_yr"],
            doors["minutes"],
            length_m=on.length_m,
            no_crossing=on.no_crossing,
            pace=pace(settings.rounds),
            rounds=settings.rounds.round_count,
        )
        to_crs = between(found.plane, parcels.crs)
        return cls(doors, segment, side, stands.along_m[wanted], choice, placed, settings.rounds, to_crs)

    def worth_a_stop(self) -> _Town:
        """The town with only those doors."""
        kept = self.choice.stops
        return replace(
            self,
            doors=self.doors[kept].reset_index(drop=True),
            segment=self.segment[kept],
            side=self.side[kept],
            along_m=self.along_m[kept],
        )

    @cached_property
    def laid(self) -> LaidOut:
        """The sides with the doors of this town."""
        on = self.placed.on
        ids = [str(one) for one in self.placed.segment_id]
        return laid_out(
            ids,
            on.node_from,
            on.node_to,
            on.length_m,
            on.no_crossing,
            [on.streets[k] if k >= 0 else own for k, own in zip(on.street.tolist(), ids, strict=True)],
            door_segment_id=[ids[k] for k in self.segment.tolist()],
            door_side=self.side,
            door_along_m=self.along_m,
            door_count=self.doors["door_count"].to_numpy(dtype=np.int64),
            door_value=self.doors["worth_l_yr"].to_numpy(dtype=np.float64),
            door_minutes=self.doors["minutes"].to_numpy(dtype=np.float64),
            pace=pace(self.settings),
        )

    @cached_property
    def lines(self) -> Geometries:
        """The line of each row of ``laid`` [r; plane, m]."""
        of_id = pd.Series(np.arange(len(self.placed.segment_id)), index=self.placed.segment_id.astype(str))
        return _parts(self.placed.on.geometry[of_id[self.laid.whole_id].to_numpy()], self.laid)

    def starts(self, plane: CRS) -> list[int]:
        """The nodes nearest to the places where rounds start."""
        given = self.settings.starts
        if not given or not len(self.lines):
            return []
        sides = self.laid.sides
        ends = [shapely.get_point(self.lines, at) for at in (0, -1)]
        nodes = np.concatenate([sides.node_from, sides.node_to])
        points = shapely.get_coordinates(np.concatenate(ends))
        west, south, east, north = shapely.total_bounds(self.lines)
        found_nodes = []
        for place in given:
            if isinstance(place, str):
                x, y = between(WGS84, plane).transform(*lon_lat(place))
            else:
                x, y = self.to_crs.transform(*place, direction="INVERSE")
            if not (
                west - FARTHEST_M <= x <= east + FARTHEST_M and south - FARTHEST_M <= y <= north + FARTHEST_M
            ):
                raise ProjectError(
                    f"[rounds] starts: {place} lies more than {FARTHEST_M / 1000:g} km from every street; give x and y "
                    'in the parcels\' coordinates, or "longitude,latitude".'
                )
            found_nodes.append(int(nodes[np.hypot(*(points - (x, y)).T).argmin()]))
        return sorted(set(found_nodes))


FARTHEST_M = 5_000.0
"""A place where rounds start lies no farther than this from the streets."""


def _parts(whole: Geometries, laid: LaidOut) -> Geometries:
    """The line of each row of ``laid`` [r]: its part of the ``whole`` line [r; plane, m]."""
    sides = laid.sides
    cut = sides.segment_id != laid.whole_id
    lines = whole.copy()
    for row in np.flatnonzero(cut).tolist():
        part = int(sides.segment_id[row].rsplit("/", 1)[1])
        metres = float(sides.length_m[row])
        lines[row] = substring(whole[row], (part - 1) * metres, part * metres)
    return lines


def _stops(town: _Town, plan: RoundPlan) -> pd.DataFrame:
    """The doors of every round in walking order, as the register has them, and a few columns for its sums."""
    laid, doors = town.laid, town.doors
    rows = [
        doors_in_order(one.legs, laid.door_row, town.side, laid.door_along_m, laid.sides.node_from)
        for one in plan.rounds
    ]
    order = np.concatenate([*rows, np.empty(0, dtype=np.int64)]).astype(np.int64)
    counts = [len(one) for one in rows]
    mine = doors.iloc[order].reset_index(drop=True)
    round_number = np.repeat(np.arange(1, len(rows) + 1), counts)
    stop = np.concatenate([*(np.arange(1, count + 1) for count in counts), np.empty(0)]).astype(np.int64)
    return pd.DataFrame(mine.drop(columns="geometry")).assign(
        round=round_number,
        stop=stop,
        suggested_barrels=mine["offer_barrels"],
        yield_l_yr=mine["offer_l_yr"],
        door_count=mine["door_count"].astype("Int64"),
    )


def _rounds(town: _Town, plan: RoundPlan, stops: pd.DataFrame, settings: Settings) -> gpd.GeoDataFrame:
    """One row a round, with the register's columns."""
    doors = stops["door_count"].astype("float64")
    answers = conversations(doors.to_numpy(), stops["answer"].to_numpy(), settings.rounds)
    by_round = stops.assign(answers=answers, joins=doors * stops["door_chance"]).groupby("round")
    numbers = np.arange(1, len(plan.rounds) + 1)
    sums = by_round.agg(
        stop_count=("stop", "size"),
        door_count=("door_count", "sum"),
        answers=("answers", "sum"),
        joins=("joins", "sum"),
    ).reindex(numbers)
    walks = [_walk(one, town) for one in plan.rounds]
    frame = sums.assign(
        streets=pd.array([_streets(town, one) for one in plan.rounds], dtype="str"),
        district=by_round["district"].agg(_most).reindex(numbers).astype("str"),
        canvass_min=[one.minutes for one in plan.rounds],
        first_pass_min=[first_pass_min(one.doors, one.walk_m, settings.rounds) for one in plan.rounds],
        walk_m=[one.walk_m for one in plan.rounds],
        worth_l_yr=[one.value for one in plan.rounds],
        worth_l_min=[one.value / one.minutes for one in plan.rounds],
    )
    frame = frame.astype({"stop_count": "int64", "door_count": "int64"}).rename_axis("round").reset_index()
    lines = np.array(walks, dtype=object)
    return gpd.GeoDataFrame(frame, geometry=transformed(lines, town.to_crs), crs=town.doors.crs)[
        list(ROUNDS.names)
    ]


def _most(names: pd.Series) -> str | None:
    """The name that most of ``names`` [n] are; of equal ones the first; None where none is known."""
    known = names.dropna()
    return None if known.empty else str(known.mode().iloc[0])


def _streets(town: _Town, one: Round) -> str:
    """The streets that a round works on, in walking order."""
    street = town.doors["street"].astype("str")
    of_row = pd.Series(street.to_numpy(), index=town.laid.door_row)
    of_row = of_row[~of_row.index.duplicated()]
    names = of_row.reindex([leg.segment for leg in one.legs if leg.sides]).dropna()
    return ", ".join(dict.fromkeys(names)) or "streets without a name"


def _walk(one: Round, town: _Town) -> Any:
    """The walk of a round as one line [plane, m]."""
    points: list[tuple[float, float]] = []
    for leg in one.legs:
        along = shapely.get_coordinates(town.lines[leg.segment])
        if leg.node_from != town.laid.sides.node_from[leg.segment]:
            along = along[::-1]
        points += [tuple(place) for place in along.tolist() if not points or tuple(place) != points[-1]]
    return shapely.LineString(points)


def _check_rounds(plan: RoundPlan) -> Iterator[Finding]:
    if len(plan.rounds) < plan.asked:
        yield Finding(
            "fewer rounds than shifts",
            "rounds",
            "note",
            plan.asked - len(plan.rounds),
            f"{plan.asked:,} shifts are planned for and {len(plan.rounds):,} rounds hold every door that is worth one; "
            "the other shifts are free.",
            "Use them for doors where nobody was home, or plan fewer in [rounds].",
        )


def _check_passed(everybody: _Town) -> Iterator[Finding]:
    ids = everybody.doors["parcel_id"]
    poor = ids[~everybody.choice.stops]
    if len(poor):
        yield Finding.of(
            "doors not worth a stop",
            "rounds",
            "note",
            poor,
            f"With these hours a minute is better used elsewhere than at {counted(len(poor), 'parcel')} whose "
            "gardens or chances promise least; rounds pass them by.",
            "Plan more shifts in [rounds] to reach them, or write to them.",
        )


def _record(everybody: _Town, plan: RoundPlan, stops: pd.DataFrame) -> dict[str, Any]:
    """What ``run.json`` says of the rounds, beside what planning by hand would win in the same hours."""
    laid, bound = everybody.laid, everybody.choice.bound
    count = everybody.doors["door_count"].to_numpy(dtype=np.int64)
    each = everybody.doors["worth_l_yr"].to_numpy(dtype=np.float64) / count
    single = (laid.door_row, everybody.side, laid.door_along_m, each)
    hands = by_hand(laid.sides, everybody.settings, Doors(*(np.repeat(one, count) for one in single)))
    return {
        "asked": plan.asked,
        "laid": len(plan.rounds),
        "doors": int(stops["door_count"].sum()),
        "worth_l_yr": plan.value,
        "bound_l_yr": bound,
        "gap_to_bound": gap(plan.value, bound),
        "bound": f"The bound leaves out {LEFT_OUT}; so it is loose, and the true gap is smaller.",
        "price_l_min": everybody.choice.price,
        "worth_l_an_hour": plan.value_an_hour,
        "by_hand": [
            {
                "way": one.way,
                "rounds": one.rounds,
                "doors": one.doors,
                "worth_l_yr": one.value,
                "worth_l_an_hour": one.value_an_hour,
            }
            for one in hands
        ],
    }
