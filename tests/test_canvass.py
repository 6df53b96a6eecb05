"""Streets and rounds of the sample town, end to end: litres kept, shifts kept, doors in order, words that are true."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from harvest.canvass import canvassed
from harvest.clock import Clock
from harvest.errors import LayerError, ProjectError
from harvest.estimate import Estimate, estimate, ranked
from harvest.fields import ROUNDS, SIDES, STOPS
from harvest.fields.parcels import HOMES
from harvest.place.street_names import normal_name
from harvest.project import Project, read_project
from harvest.result import Result
from harvest.run import read_inputs, worked_out
from harvest.street_sides import OnStreets, on_streets

SAMPLE = Path(__file__).parents[1] / "data" / "sample"


@pytest.fixture(scope="module")
def sides(sample_result: Result) -> gpd.GeoDataFrame:
    return sample_result.table("sides")


@pytest.fixture(scope="module")
def rounds(sample_result: Result) -> gpd.GeoDataFrame:
    return sample_result.table("rounds")


@pytest.fixture(scope="module")
def stops(sample_result: Result) -> pd.DataFrame:
    return sample_result.table("stops")


@pytest.fixture(scope="module")
def lots(sample_result: Result) -> gpd.GeoDataFrame:
    return sample_result.table("parcels")


def test_litres_are_kept_from_parcels_to_sides(sides: gpd.GeoDataFrame, lots: gpd.GeoDataFrame) -> None:
    by_side = lots.groupby("side_id")["capturable_l_yr"].sum()
    told = sides.set_index("side_id")["capturable_l_yr"]
    assert told.sort_index().to_numpy() == pytest.approx(by_side.reindex(told.index).sort_index().to_numpy())
    nowhere = lots.loc[lots["side_id"].isna(), "capturable_l_yr"].sum()
    assert told.sum() + nowhere == pytest.approx(lots["capturable_l_yr"].sum(), rel=1e-9)


def test_each_parcel_stands_on_the_street_its_address_names(lots: gpd.GeoDataFrame) -> None:
    """Common practice, no source: an address names the street that its door opens on. The sample's one street that
    the street layer lacks is left out."""
    some = lots.dropna(subset=["address", "street"])
    said = normal_name(some["address"].str.replace(r"^\S+\s+", "", regex=True))
    known = said.isin(normal_name(some["street"].drop_duplicates()))
    assert known.sum() > 1000
    assert (said[known] == normal_name(some["street"])[known]).mean() > 0.99


def test_the_compass_says_where_the_parcels_lie(sides: gpd.GeoDataFrame, lots: gpd.GeoDataFrame) -> None:
    middles = lots.dropna(subset=["side_id"]).set_index("side_id").geometry.centroid
    mean_x = middles.x.groupby(level=0).mean()
    mean_y = middles.y.groupby(level=0).mean()
    right = 0
    for row in sides.itertuples():
        here = shapely.Point(mean_x[row.side_id], mean_y[row.side_id])
        foot = row.geometry.interpolate(row.geometry.project(here))
        east, north = here.x - foot.x, here.y - foot.y
        away = {"east": east, "west": -east, "north": north, "south": -north}
        right += away[row.side] > 0
    assert right / len(sides) > 0.97


def test_house_numbers_are_those_of_the_addresses(sides: gpd.GeoDataFrame, lots: gpd.GeoDataFrame) -> None:
    number = pd.to_numeric(lots["address"].str.extract(r"^(\d+)\s", expand=False))
    ends = number.groupby(lots["side_id"]).agg(["min", "max"]).dropna()
    told = sides.set_index("side_id")["numbers"].dropna()
    some = told[told.str.contains(" to ")].index
    assert len(some) > 100
    for side in some:
        low, high = ends.loc[side].astype(int)
        assert told[side].split(",")[0] == f"{low} to {high}"
    odd = sides[sides["numbers"].str.endswith("odd").fillna(False)]
    assert all(int(text.split()[0]) % 2 == 1 for text in odd["numbers"])


def test_a_stretch_is_named_after_streets_that_meet_it(sides: gpd.GeoDataFrame) -> None:
    streets = gpd.read_file(SAMPLE / "streets.geojson").to_crs(sides.crs).dissolve("name").geometry
    checked = 0
    for row in sides.dropna(subset=["stretch"]).sample(60, random_state=1).itertuples():
        for name, at in zip(row.stretch.split(" to "), (0, -1), strict=True):
            if name in streets.index:
                end = shapely.get_point(row.geometry, at)
                assert streets[name].distance(end) < 2 / 0.3048, (row.side_id, name)
                checked += 1
    assert checked > 60


def test_ranks_go_by_worth_a_minute(sides: gpd.GeoDataFrame) -> None:
    ordered = sides.dropna(subset=["rank"]).sort_values("rank")
    assert ordered["rank"].tolist() == list(range(1, len(ordered) + 1))
    assert (ordered["worth_l_min"].diff().dropna() <= 1e-5).all()
    assert (sides["worth_l_min"] * sides["canvass_min"]).to_numpy() == pytest.approx(
        sides["worth_l_yr"].to_numpy(), nan_ok=True
    )


def test_rounds_fit_a_shift_and_hold_their_stops(
    rounds: gpd.GeoDataFrame, stops: pd.DataFrame, sample_result: Result
) -> None:
    """The default shift: 4 h, three quarters of it at doors, is 180 min."""
    assert len(rounds) == sample_result.run["rounds"]["laid"] > 0
    assert rounds["canvass_min"].le(180 + 1e-9).all()
    by_round = stops.groupby("round")
    assert by_round["door_count"].sum().tolist() == rounds["door_count"].tolist()
    assert by_round.size().tolist() == rounds["stop_count"].tolist()
    assert by_round["worth_l_yr"].sum().to_numpy() == pytest.approx(rounds["worth_l_yr"].to_numpy())
    assert all(group.tolist() == list(range(1, len(group) + 1)) for _, group in by_round["stop"])
    assert not stops["parcel_id"].duplicated().any()
    # Worth is litres × what replaces tap water × the chance that one of d doors joins, 1 − (1 − p)^d; joins are d × p.
    of_tap = read_project(SAMPLE / "pellwick.toml").settings.costs.replaces_tap
    doors = stops["door_count"].astype(float)
    somebody = stops["worth_l_yr"] / (of_tap * stops["yield_l_yr"])
    joins = (doors * (1 - (1 - somebody) ** (1 / doors))).groupby(stops["round"]).sum()
    assert rounds["joins"].to_numpy() == pytest.approx(joins.to_numpy())
    assert (rounds["joins"] < rounds["answers"]).all() and (rounds["answers"] < rounds["door_count"]).all()


def test_only_homes_on_the_list_are_stops(stops: pd.DataFrame, lots: gpd.GeoDataFrame) -> None:
    mine = lots.set_index("parcel_id").loc[stops["parcel_id"]]
    assert mine["list"].eq(HOMES).all() and mine["worth_l_yr"].gt(0).all()
    assert mine["round"].tolist() == stops["round"].tolist()
    assert mine["side_id"].tolist() == stops["side_id"].tolist()
    assert lots["round"].notna().sum() == len(stops)


def test_doors_of_one_side_come_in_the_order_of_the_street(
    stops: pd.DataFrame, sides: gpd.GeoDataFrame, lots: gpd.GeoDataFrame
) -> None:
    """Along a side walked in one go each stop lies on from the one before, one way or the other."""
    lines = sides.set_index("side_id").geometry
    middles = lots.set_index("parcel_id").geometry.centroid
    checked = 0
    for _, walk in stops.groupby("round"):
        runs = (walk["side_id"] != walk["side_id"].shift()).cumsum()
        for _, part in walk.groupby(runs):
            if len(part) >= 4 and (walk["side_id"] == part["side_id"].iloc[0]).sum() == len(part):
                along = np.array(
                    [lines[part["side_id"].iloc[0]].project(middles[one]) for one in part["parcel_id"]]
                )
                steps = np.diff(along)
                assert (steps > -5).all() or (steps < 5).all()
                checked += 1
    assert checked > 10


def test_a_walk_passes_its_doors(
    rounds: gpd.GeoDataFrame, stops: pd.DataFrame, lots: gpd.GeoDataFrame
) -> None:
    """No stop lies farther from its round's walk than a deep lot (100 m); lengths agree but for crossings."""
    foot = 0.3048006
    middles = lots.set_index("parcel_id").geometry.centroid
    for row in rounds.itertuples():
        mine = middles[stops.loc[stops["round"] == row.round, "parcel_id"]]
        assert mine.distance(row.geometry).max() * foot < 100
        assert row.geometry.length * foot <= row.walk_m * 1.001


def test_the_run_says_how_far_from_the_bound(sample_result: Result) -> None:
    said = sample_result.run["rounds"]
    assert said["worth_l_yr"] <= said["bound_l_yr"] * (1 + 1e-9)
    assert said["gap_to_bound"] == pytest.approx(1 - said["worth_l_yr"] / said["bound_l_yr"])
    assert len(said["by_hand"]) == 3
    assert all(one["worth_l_yr"] <= said["bound_l_yr"] * (1 + 1e-9) for one in said["by_hand"])


def test_walks_hold_no_people(stops: pd.DataFrame, rounds: gpd.GeoDataFrame) -> None:
    assert set(stops.columns) == set(STOPS.names) and set(rounds.columns) == set(ROUNDS.names)
    assert not [
        name for name in (*STOPS.names, *ROUNDS.names, *SIDES.names) if "phone" in name or "owner" in name
    ]


# on the sample's own streets, something spoiled


@pytest.fixture(scope="module")
def standing(sample_result: Result) -> tuple[Project, Estimate, OnStreets]:
    """The sample placed on its streets, with the litres of the session's run."""
    project = read_project(SAMPLE / "pellwick.toml")
    inputs, clock = read_inputs(project, Clock()), Clock()
    found, placed = on_streets(estimate(inputs, project.settings, clock), inputs, project.settings, clock)
    assert placed is not None
    known = sample_result.table("parcels").set_index("parcel_id")
    columns = [name for name in known if "barrels" in name or name in ("yield_l_yr",)]
    parcels = found.parcels.assign(
        **{name: known[name].reindex(found.parcels["parcel_id"]).to_numpy() for name in columns}
    ).astype({"suggested_barrels": "Int64"})
    return project, ranked(replace(found, parcels=parcels), project.settings, clock), placed


def with_rounds(project: Project, **changed: object) -> Project:
    rounds = type(project.settings.rounds).model_validate(
        {**project.settings.rounds.model_dump(), "effort": 0, **changed}
    )
    return project.model_copy(update={"settings": project.settings.model_copy(update={"rounds": rounds})})


def test_rounds_begin_at_the_nearest_start(standing: tuple[Project, Estimate, OnStreets]) -> None:
    """The walk from the start counts, so a round's line begins at the corner nearest to it."""
    project, found, placed = standing
    place = found.parcels.geometry.centroid.iloc[200]
    changed = with_rounds(project, canvassers=1, shifts=2, starts=[[place.x, place.y]])
    made, _ = canvassed(found, placed, changed.settings, Clock())
    begin = shapely.get_point(made.more["rounds"].geometry.to_numpy(), 0)
    corners = made.more["sides"].geometry
    ends = np.concatenate([shapely.get_point(corners.to_numpy(), at) for at in (0, -1)])
    nearest = shapely.distance(ends, place).min()
    assert shapely.distance(begin, place) == pytest.approx([nearest] * 2, rel=1e-3)


def test_a_start_far_away_is_refused(standing: tuple[Project, Estimate, OnStreets]) -> None:
    project, found, placed = standing
    far = with_rounds(project, starts=["-50.0,41.0"])
    with pytest.raises(ProjectError, match="more than 5 km from every street"):
        canvassed(found, placed, far.settings, Clock())


def test_more_shifts_win_no_less(standing: tuple[Project, Estimate, OnStreets]) -> None:
    project, found, placed = standing
    worth = []
    for shifts in (1, 3, 6):
        changed = with_rounds(project, canvassers=1, shifts=shifts)
        _, said = canvassed(found, placed, changed.settings, Clock())
        assert said is not None
        worth.append(said["worth_l_yr"])
    assert worth == sorted(worth)


def test_without_streets_there_is_no_such_table(sample_copy: Path) -> None:
    text = sample_copy.read_text(encoding="utf-8")
    head, tail = text.split("[streets]")
    sample_copy.write_text(head + tail[tail.index("[ranking]") :], encoding="utf-8")
    project = read_project(sample_copy)
    inputs = read_inputs(project, Clock())
    found, told = worked_out(inputs, project.settings, Clock())
    assert inputs.streets is None and told["rounds"] is None
    assert "sides" not in found.more and "side_id" not in found.parcels


def test_a_street_file_that_is_not_there_is_named(sample_copy: Path) -> None:
    (sample_copy.parent / "streets.geojson").unlink()
    with pytest.raises(LayerError, match=r"streets\.geojson"):
        read_inputs(read_project(sample_copy), Clock())
