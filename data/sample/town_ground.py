"""Parcels, streets and wards on the ground, with what such layers say of them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from town_bend import UTM, bent
from town_plan import Plan, middles

IMAGERY_YEAR = 2023
NEW_STREET_YEAR = 2025

# fmt: off
WORDS = (
    "Alder", "Anchor", "Ash", "Barley", "Beacon", "Beech", "Birch", "Bramble", "Bridge", "Brook", "Cedar",
    "Chalk", "Cherry", "Clover", "Copper", "Coral", "Cotter", "Crane", "Curlew", "Dune", "Elder", "Elm",
    "Fennel", "Fern", "Field", "Flint", "Furrow", "Garden", "Gorse", "Granite", "Gull", "Hazel", "Heath",
    "Heron", "Holly", "Ivy", "Juniper", "Kelp", "Ladder", "Lantern", "Larch", "Lime", "Linden", "Lupin",
    "Maple", "Marsh", "Meadow", "Moss", "Net", "Oak", "Oat", "Orchard", "Osprey", "Oyster", "Pear",
    "Pebble", "Pilot", "Pine", "Plover", "Plum", "Poplar", "Quarry", "Quince", "Reed", "Ridge", "Rope",
    "Rowan", "Rush", "Rye", "Sail", "Salt", "Sand", "Sedge", "Shell", "Slate", "Sorrel", "Spring", "Spruce",
    "Stone", "Sycamore", "Tanner", "Tern", "Thistle", "Thorn", "Tide", "Timber", "Vine", "Walnut", "Warren",
    "Weir", "Wheat", "Willow", "Wren", "Yarrow", "Yew",
)
# fmt: on
ENDINGS = {
    "along": ("Street", "Road", "Street", "Way"),
    "across": ("Avenue", "Road", "Avenue"),
    "local": ("Lane", "Row", "Lane", "Walk"),
    "close": ("Close", "Court"),
}
LAND_USES = {
    "single": "single family",
    "two": "two family",
    "new": "single family",
    "row": "row house",
    "pad": "townhouse",
    "common": "common land",
    "condo": "condominium",
    "shop": "shop",
    "school": "school",
    "works": "industrial",
    "hall": "town",
    "green": "park",
    "park": "park",
    "pond": "park",
    "vacant": "vacant",
}
TOWN_OWNED = ("school", "hall", "green", "park", "pond")


def street_names(plan: Plan, seed: int) -> list[str]:
    """A plain name for each street number, no two alike."""
    rng = np.random.default_rng([seed, 2])
    words = [WORDS[i] for i in rng.permutation(len(WORDS))]
    wanted = sorted(set(plan.lines["street"]) | set(plan.lots["street"]))
    names = [""] * (max(wanted) + 1)
    for turn, number in enumerate(wanted):
        kind = plan.kinds[number]
        if kind in ("shore", "hill", "mill"):
            names[number] = f"{kind.title()} Road"
            continue
        ending = ENDINGS[kind][turn % len(ENDINGS[kind])]
        name, again = f"{words[turn % len(words)]} {ending}", turn // len(words)
        prefix = ("", "North ", "Upper ", "Old ", "East ", "Lower ", "West ", "South ")[again % 8]
        names[number] = f"{prefix}{name}" + (f" {again // 8 + 1}" if again >= 8 else "")
    return names


def parcels_on(plan: Plan, names: list[str], seed: int, plain: bool) -> pd.DataFrame:
    """One row a lot: outline on the ground, corners, use, address and what else a parcel layer says."""
    rng = np.random.default_rng([seed, 3])
    lots = plan.lots.copy()
    lots["geometry"] = shapely.transform(plan.outlines, plan.bend)
    front_long = lots["use"].isin(["common", "green", "park", "pond", "school", "works"]).to_numpy()
    lots.loc[front_long, "geometry"] = bent(plan.outlines[front_long], plan.bend)
    away = plan.cells["remoteness"].to_numpy()[lots["cell"]]
    if not plain:
        draw = rng.random(len(lots))
        single = (lots["use"] == "single").to_numpy()
        lots.loc[single & (draw < np.where(away < 0.5, 0.22, 0.05)), "use"] = "two"
        lots.loc[single & (draw > 0.972), "use"] = "vacant"
    lots = _numbered(lots, names, rng)
    lots["land_use"] = lots["use"].map(LAND_USES)
    lots["built_year"] = _built_years(rng, lots, away)
    lots["units"] = lots["use"].map({"two": 2, "shop": 1, "works": 1}).fillna(1).astype(int)
    lots.loc[lots["use"].isin(["vacant", "common", "green", "park", "pond"]), "units"] = 0
    owner = np.where(lots["use"].isin(TOWN_OWNED), "town", "private")
    lots["owner_type"] = np.where(lots["use"].isin(["common"]), "association", owner)
    return lots


def _numbered(lots: pd.DataFrame, names: list[str], rng: np.random.Generator) -> pd.DataFrame:
    """House numbers, odd on one side of the street and even on the other."""
    lots = lots.copy()
    rank = lots.assign(along=lots["a0"] + lots["a1"]).sort_values(["street", "even", "along"], kind="stable")
    step = pd.Series(np.where(rng.random(len(rank)) < 0.08, 2, 1), rank.index)
    place = step.groupby([rank["street"], rank["even"]]).cumsum()
    lots["number"] = place.reindex(lots.index) * 2 - np.where(lots["even"], 0, 1)
    street = np.array(names, dtype=object)[lots["street"]]
    lots["street_name"] = street
    lots["address"] = lots["number"].astype(str) + " " + street
    return lots


def _built_years(rng: np.random.Generator, lots: pd.DataFrame, away: NDArray[np.float64]) -> pd.Series:
    year = 1878 + 118 * np.clip(away, 0, 1.1) ** 1.15 + rng.normal(0, 9, len(lots))
    rebuilt = rng.random(len(lots)) < 0.06
    year = np.where(rebuilt, rng.uniform(1965, IMAGERY_YEAR - 1, len(lots)), year)
    years = pd.Series(np.clip(year, 1850, IMAGERY_YEAR - 1).round(), lots.index).astype("Int64")
    years[lots["use"].isin(["vacant", "common", "green", "park", "pond"])] = pd.NA
    years[lots["use"] == "new"] = NEW_STREET_YEAR
    return years


def stacked(lots: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Parcel rows: each condominium lot becomes several parcels with one outline.

    Ids are four digits of the block and three of the parcel in it.
    """
    rng = np.random.default_rng([seed, 4])
    copies = np.where(lots["use"] == "condo", rng.integers(6, 11, len(lots)), 1)
    parcels = lots.loc[np.repeat(lots.index, copies)].copy()
    parcels["lot"] = parcels.index
    parcels["unit"] = parcels.groupby("lot").cumcount() + 1
    stack = (parcels["use"] == "condo").to_numpy()
    parcels.loc[stack, "address"] += " Unit " + parcels.loc[stack, "unit"].astype(str)
    block = pd.factorize(parcels["cell"])[0] + 11
    number = parcels.groupby("cell").cumcount() + 1
    parcels["parcel_id"] = [f"{b:04d}{n:03d}" for b, n in zip(block, number, strict=True)]
    return parcels.reset_index(drop=True)


def streets_on(plan: Plan, names: list[str], seed: int) -> gpd.GeoDataFrame:
    """Street centre lines on the ground with name and type; a few have no name."""
    rng = np.random.default_rng([seed, 5])
    lines = plan.lines
    named = np.array(names, dtype=object)[lines["street"]]
    types = lines["kind"].map(
        {
            "shore": "main",
            "hill": "main",
            "mill": "main",
            "across": "main",
            "along": "street",
            "local": "lane",
            "close": "close",
        }
    )
    lanes = np.flatnonzero((lines["kind"] == "local").to_numpy())
    named[rng.choice(lanes, min(4, len(lanes)), replace=False)] = None
    return gpd.GeoDataFrame(
        {"name": named, "type": types.to_numpy()},
        geometry=bent(lines["geometry"].to_numpy(), plan.bend),
        crs=UTM,
    )


def wards_on(plan: Plan) -> gpd.GeoDataFrame:
    """Three wards along street centre lines that together cover the town and its shore."""
    cells = plan.cells
    edge = cells.loc[cells["kept"] & (cells["use"] == "single"), "remoteness"].max()
    cells = cells[cells["kept"] | (cells["remoteness"] < edge)]
    s = middles(cells)[:, 0]
    old_town = (cells["band"] < 3).to_numpy() & (np.abs(s - 40) < 0.40 * plan.bend.half_width_m)
    ward = np.where(old_town, 0, np.where(s < 0.02 * plan.bend.half_width_m, 1, 2))
    boxes = shapely.box(
        cells["s0"], np.where(cells["band"] == 0, -70.0, cells["t0"]), cells["s1"], cells["t1"]
    )
    shapes = [shapely.union_all(boxes[ward == number]) for number in range(3)]
    return gpd.GeoDataFrame(
        {"ward": [1, 2, 3], "name": ["Harbour Ward", "West Ward", "Hill Ward"]},
        geometry=bent(np.array(shapes), plan.bend),
        crs=UTM,
    )
