"""Makes the invented town of Pellwick, or a town like it of any size.

Run ``python make_town.py [FOLDER]`` to write the sample again, or import :func:`build_town` and
:func:`write_town`. The same arguments give the same town.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import town_frontage
import town_ground
import town_outreach
import town_quirks
import town_roofs
import town_weather
from town_bend import UTM
from town_files import write_town
from town_plan import lay_out

__all__ = ["Town", "build_town", "write_town"]

FEWEST, FEWEST_WITH_QUIRKS = 50, 600
# Lambert conformal conic in US survey feet, made for this island; it has no EPSG code.
ISLAND_FEET = (
    'PROJCS["Pellwick Island 2011 (ftUS)",GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,'
    '298.257223563]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],'
    'PROJECTION["Lambert_Conformal_Conic_2SP"],PARAMETER["latitude_of_origin",40.5],'
    'PARAMETER["central_meridian",-58.25],PARAMETER["standard_parallel_1",40.7],'
    'PARAMETER["standard_parallel_2",41.3],PARAMETER["false_easting",656166.666666667],'
    'PARAMETER["false_northing",328083.333333333],UNIT["US survey foot",0.304800609601219],'
    'AXIS["Easting",EAST],AXIS["Northing",NORTH]]'
)


@dataclass(frozen=True)
class Town:
    """An invented town. Layers carry the CRS that they are written in.

    ``parcels`` (island feet): parcel_id, address, land_use, units, built_year, owner_type.
    ``footprints`` (UTM, m): bldg_no (integer), kind. ``truth``: roof_id, parcel_id (none for a roof on no
    parcel), share of the roof, and duplicate_of for a second capture of the same roof; ids are strings.
    ``quirks`` names the ids that carry each quirk. ``frontage``: parcel_id, line (the row in ``streets`` that the
    parcel faces) and left (whether it stands on the left of that line's direction). A plain town has no layers
    but the first two and rain.
    """

    parcels: gpd.GeoDataFrame
    footprints: gpd.GeoDataFrame
    truth: pd.DataFrame
    rain: town_weather.MonthlyGrid
    quirks: dict[str, list[str]] = field(default_factory=dict)
    streets: gpd.GeoDataFrame | None = None
    frontage: pd.DataFrame | None = None
    wards: gpd.GeoDataFrame | None = None
    water: gpd.GeoDataFrame | None = None
    parks: gpd.GeoDataFrame | None = None
    gauge: pd.DataFrame | None = None
    temperature: pd.DataFrame | None = None
    drainage_reports: pd.DataFrame | None = None
    visits: pd.DataFrame | None = None
    offset_m: tuple[float, float] = (0.0, 0.0)


def build_town(parcels: int = 1400, seed: int = 7, quirks: bool = True) -> Town:
    """A town of about ``parcels`` parcels.

    Without ``quirks`` it has exactly so many, all single-family lots with one house each, no other layers
    but the rain grid, and nothing wrong with it. Raises ValueError below ``FEWEST`` parcels.
    """
    fewest = FEWEST_WITH_QUIRKS if quirks else FEWEST
    if parcels < fewest:
        raise ValueError(f"a town needs at least {fewest} parcels, not {parcels}")
    plan = lay_out(parcels, seed, plain=not quirks)
    names = town_ground.street_names(plan, seed)
    lots = town_ground.parcels_on(plan, names, seed, plain=not quirks)
    roofs, owners = town_roofs.roofs_on(plan, lots, seed, plain=not quirks)
    rows = town_ground.stacked(lots, seed)
    if quirks:
        empty = ~lots.index.isin(owners["lot"]) & lots["use"].isin(["single", "two", "row", "shop"])
        bare = rows["lot"].isin(lots.index[empty])
        rows.loc[bare, "land_use"] = "vacant"
        rows.loc[bare, "units"] = 0
        rows.loc[bare, "built_year"] = pd.NA
    truth = owners.merge(rows[["lot", "parcel_id"]], on="lot")
    truth["share"] /= truth.groupby(["roof", "lot"])["parcel_id"].transform("size")
    numbers = 10_001 + np.arange(len(roofs))
    truth["roof_id"] = numbers[truth["roof"]].astype(str)
    truth["duplicate_of"] = pd.Series(pd.NA, truth.index, dtype="str")
    truth = truth[["roof_id", "parcel_id", "share", "duplicate_of"]]
    footprints = gpd.GeoDataFrame(
        {"bldg_no": numbers, "kind": roofs["kind"]}, geometry=roofs["geometry"].to_numpy(), crs=UTM
    )
    columns = ["parcel_id", "address", "land_use", "units", "built_year", "owner_type"]
    ground = gpd.GeoDataFrame(rows[[*columns]], geometry=rows["geometry"].to_numpy(), crs=UTM)
    rain = town_weather.monthly_grid(ground.to_crs("EPSG:4326").total_bounds, plan.bend.depth_m)
    if not quirks:
        return Town(rounded(ground.to_crs(ISLAND_FEET)), rounded(footprints), truth, rain)
    ground, footprints, truth, marks = town_quirks.spoil(ground, footprints, truth, plan.bend, seed)
    water, parks = town_quirks.surroundings(plan, lots)
    streets = town_ground.streets_on(plan, names, seed)
    frontage = town_frontage.frontage_on(plan, rows)
    frontage = frontage[frontage["parcel_id"].isin(ground["parcel_id"])].reset_index(drop=True)
    return Town(
        parcels=rounded(ground.to_crs(ISLAND_FEET)),
        footprints=rounded(footprints),
        truth=truth,
        rain=rain,
        quirks=marks,
        streets=streets.to_crs("EPSG:4326"),
        frontage=frontage,
        wards=rounded(town_ground.wards_on(plan)),
        water=water.to_crs("EPSG:4326"),
        parks=parks.to_crs("EPSG:4326"),
        gauge=town_weather.daily_gauge(seed),
        temperature=town_weather.monthly_temperature(),
        drainage_reports=town_outreach.drainage_reports(ground, water, seed),
        visits=town_outreach.visits(ground, seed),
        offset_m=town_quirks.OFFSET_M,
    )


def rounded(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The layer with coordinates to a thousandth of its unit, as such files hold them."""
    shapes = shapely.transform(frame.geometry.to_numpy(), lambda points: np.round(points, 3))
    return frame.set_geometry(gpd.GeoSeries(shapes, frame.index, crs=frame.crs))


def main() -> None:
    """Writes the sample into the folder given, else beside this file."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    town = build_town()
    for path in write_town(town, folder).values():
        print(f"{path}  {path.stat().st_size:,} bytes")


if __name__ == "__main__":
    main()
