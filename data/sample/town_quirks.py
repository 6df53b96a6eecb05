"""What is wrong with real layers, put into the invented ones on purpose, and what surrounds the town."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import shapely.ops
from town_bend import UTM, Bend
from town_plan import Plan

OFFSET_M = (0.32, -0.24)
SECOND_CAPTURE_M = (0.45, 0.30)
DUPLICATES = 30


def spoil(
    parcels: gpd.GeoDataFrame,
    footprints: gpd.GeoDataFrame,
    truth: pd.DataFrame,
    bend: Bend,
    seed: int,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, pd.DataFrame, dict[str, list[str]]]:
    """The layers with quirks, and the ids that carry each of them. Inputs are left as they are."""
    rng = np.random.default_rng([seed, 8])
    parcels, footprints = parcels.copy(), footprints.copy()
    marks: dict[str, list[str]] = {}
    marks["stacked"] = parcels.loc[parcels["land_use"] == "condominium", "parcel_id"].tolist()
    marks["after_imagery"] = parcels.loc[parcels["built_year"] == 2025, "parcel_id"].tolist()
    parcels = _two_parts(parcels, truth, marks)
    houses = parcels.index[parcels["land_use"].isin(["single family", "vacant", "shop"])].to_numpy()
    without = np.sort(rng.choice(houses, round(len(parcels) * 0.025), replace=False))
    parcels.loc[without, "address"] = None
    marks["no_address"] = parcels.loc[without, "parcel_id"].tolist()
    footprints, truth = _boat_sheds(footprints, truth, bend, rng, marks)
    _overlaps(footprints, truth, rng, marks)
    _bow_tie(footprints, rng, marks)
    footprints, truth = _second_capture(footprints, truth, marks)
    shapes = shapely.transform(footprints.geometry.to_numpy(), lambda xy: xy + np.array(OFFSET_M))
    return parcels, footprints.set_geometry(shapes, crs=footprints.crs), truth, marks


def _two_parts(
    parcels: gpd.GeoDataFrame, truth: pd.DataFrame, marks: dict[str, list[str]]
) -> gpd.GeoDataFrame:
    """Two houses own the vacant lot across the street or behind: one parcel in two parts."""
    vacant = parcels.index[(parcels["land_use"] == "vacant")]
    homes = parcels.index[(parcels["land_use"] == "single family") & (parcels["built_year"] < 2020)]
    shapes = parcels.geometry
    dropped: list[int] = []
    grown: list[int] = []
    for lot in vacant[5::6]:
        away = shapely.distance(shapes[homes].to_numpy(), shapes[lot])
        near = homes[(away > 8) & (away < 40)].difference(grown)
        if len(near) and shapely.area(shapes[lot]) > 350:
            home = near[np.argmin(away[homes.isin(near)])]
            parcels.loc[[home], "geometry"] = gpd.GeoSeries(
                [shapely.MultiPolygon([shapes[home], shapes[lot]])], [home], crs=parcels.crs
            )
            dropped.append(lot)
            grown.append(home)
        if len(grown) == 2:
            break
    marks["two_parts"] = parcels.loc[grown, "parcel_id"].tolist()
    return parcels.drop(index=dropped).reset_index(drop=True)


def _boat_sheds(
    footprints: gpd.GeoDataFrame,
    truth: pd.DataFrame,
    bend: Bend,
    rng: np.random.Generator,
    marks: dict[str, list[str]],
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """A line of boat sheds on the beach, where there are no parcels."""
    count = 7
    s, t = -330 + 11.0 * np.arange(count) + rng.uniform(-1, 1, count), rng.uniform(-21, -19, count)
    w, d = rng.uniform(4.5, 6.5, count), rng.uniform(7.5, 9.5, count)
    corners = np.stack([np.column_stack(p) for p in ((s, t), (s + w, t), (s + w, t + d), (s, t + d))], axis=1)
    shapes = shapely.polygons(bend(corners.reshape(-1, 2)).reshape(count, 4, 2))
    numbers = footprints["bldg_no"].max() + 1 + np.arange(count)
    sheds = gpd.GeoDataFrame({"bldg_no": numbers, "kind": "boat shed"}, geometry=shapes, crs=footprints.crs)
    marks["on_no_parcel"] = numbers.astype(str).tolist()
    rows = pd.DataFrame(
        {"roof_id": numbers.astype(str), "parcel_id": None, "share": 1.0, "duplicate_of": None}
    )
    both = gpd.GeoDataFrame(pd.concat([footprints, sheds], ignore_index=True), crs=footprints.crs)
    return both, pd.concat([truth, rows.astype(truth.dtypes)], ignore_index=True)


def _overlaps(
    footprints: gpd.GeoDataFrame, truth: pd.DataFrame, rng: np.random.Generator, marks: dict[str, list[str]]
) -> None:
    """A few garages drawn a little into the house they stand behind."""
    owner = truth.drop_duplicates("roof_id").set_index("roof_id")["parcel_id"]
    mine = footprints["bldg_no"].astype(str).map(owner)
    garages = footprints.index[(footprints["kind"] == "garage").to_numpy()]
    house_of = pd.Series(footprints.index, mine.to_numpy())[(footprints["kind"] == "house").to_numpy()]
    chosen = [g for g in rng.permutation(garages) if mine[g] in house_of.index][:6]
    for garage in chosen:
        house = footprints.geometry[house_of[mine[garage]]]
        shape = footprints.geometry[garage]
        a, b = (shapely.get_coordinates(p)[0] for p in shapely.ops.nearest_points(shape, house))
        gap = np.hypot(*(b - a))
        move = (b - a) / gap * (gap + 0.7)
        footprints.loc[[garage], "geometry"] = gpd.GeoSeries(
            [shapely.transform(shape, lambda xy, move=move: xy + move)], [garage], crs=footprints.crs
        )
    marks["overlapping"] = footprints.loc[chosen, "bldg_no"].astype(str).tolist()


def _bow_tie(footprints: gpd.GeoDataFrame, rng: np.random.Generator, marks: dict[str, list[str]]) -> None:
    """One garage whose corners were clicked in the wrong order."""
    busy = set(marks["overlapping"])
    garages = [
        i
        for i in footprints.index[footprints["kind"] == "garage"]
        if str(footprints["bldg_no"][i]) not in busy
    ]
    chosen = int(rng.choice(garages))
    corners = shapely.get_coordinates(footprints.geometry[chosen])[:4]
    tie = shapely.Polygon(corners[[0, 1, 3, 2]])
    footprints.loc[[chosen], "geometry"] = gpd.GeoSeries([tie], [chosen], crs=footprints.crs)
    marks["bow_tie"] = [str(footprints["bldg_no"][chosen])]


def _second_capture(
    footprints: gpd.GeoDataFrame, truth: pd.DataFrame, marks: dict[str, list[str]]
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """The houses of a few neighbouring blocks captured twice, under other ids and a little aside."""
    spared = set(marks["bow_tie"]) | set(marks["overlapping"])
    houses = footprints[(footprints["kind"] == "house") & ~footprints["bldg_no"].astype(str).isin(spared)]
    middle = shapely.points(
        *np.quantile(shapely.get_coordinates(houses.geometry), (0.38, 0.62), axis=0).diagonal()
    )
    patch = houses.iloc[
        np.argsort(shapely.distance(houses.geometry.to_numpy(), middle), kind="stable")[:DUPLICATES]
    ]
    shapes = shapely.transform(patch.geometry.to_numpy(), lambda xy: xy + np.array(SECOND_CAPTURE_M))
    numbers = footprints["bldg_no"].max() + 500 + np.arange(len(patch))
    copies = gpd.GeoDataFrame({"bldg_no": numbers, "kind": "house"}, geometry=shapes, crs=footprints.crs)
    first = dict(zip(patch["bldg_no"].astype(str), numbers.astype(str), strict=True))
    again = truth[truth["roof_id"].isin(first)]
    again = again.assign(duplicate_of=again["roof_id"], roof_id=again["roof_id"].map(first))
    marks["duplicates"] = numbers.astype(str).tolist()
    both = pd.concat([footprints, copies], ignore_index=True)
    return gpd.GeoDataFrame(both, crs=footprints.crs), pd.concat([truth, again], ignore_index=True)


def surroundings(plan: Plan, lots: pd.DataFrame) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Water (bay and pond) and parks."""
    bend = plan.bend
    s = np.arange(-2.6 * bend.half_width_m, 2.6 * bend.half_width_m + 1, 20.0)
    shore = bend(np.column_stack([s, -36 - 8 * np.sin(s / 61.0) - 5 * np.sin(s / 23.0 + 1.0)]))
    south = shore[:, 1].min() - 4000.0
    bay = shapely.Polygon([*shore, (shore[-1, 0], south), (shore[0, 0], south)])
    waters, names = [bay], ["Pellwick Bay"]
    for park in lots.loc[lots["use"] == "pond", "geometry"]:
        waters.append(shapely.simplify(shapely.buffer(shapely.buffer(park, -46.0), 16.0), 0.4))
        names.append("Mill Pond")
    water = gpd.GeoDataFrame({"name": names}, geometry=waters, crs=UTM)
    parks = lots[lots["use"].isin(["green", "park", "pond"])]
    titles = parks["use"].map({"green": "Market Green", "park": "Shore Park", "pond": "Pond Park"})
    return water, gpd.GeoDataFrame(
        {"name": titles.to_numpy()}, geometry=parks["geometry"].to_numpy(), crs=UTM
    )
