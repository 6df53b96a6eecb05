"""Result folders with a public edition: the sample by block, and the sample by sides of invented streets."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from harvest.fields import PUBLIC
from harvest.plan.public_cells import PublicCells, public_cells
from harvest.project.public import Public
from harvest.result import Result

HOSTILE = {
    "Oat Road": "Oat</script ><img src=x onerror=\"window.bad='img'\"> Road",
    "Shore Road": '=HYPERLINK("x") {{ 6*7 }} Shore {} Road',
}
"""Names that streets of the sample get instead of their own."""


def with_sides(parcels: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """``parcels`` with invented street sides by street name, hundred and odd or even number; and those sides."""
    number = pd.to_numeric(parcels["address"].str.extract(r"^(\d+) ")[0]).astype("Int64")
    street = parcels["address"].str.extract(r"^\d+ (.+)$")[0].replace(HOSTILE)
    stretch = (number // 20).astype("string") + "0 to " + (number // 20 + 1).astype("string") + "0"
    side = number.mod(2).map({0: "north", 1: "south"}, na_action="ignore").astype("string")
    side_id = (
        street + " " + stretch + "-" + side.map({"north": "L", "south": "R"}, na_action="ignore")
    ).astype("str")
    middles = gpd.GeoSeries(parcels.geometry.representative_point(), crs=parcels.crs)
    placed = pd.DataFrame(
        {"street": street, "stretch": stretch, "side": side, "side_id": side_id, "at": middles}
    )
    rows = []
    for (name, part), some in placed.dropna(subset=["side_id"]).groupby(["street", "stretch"]):
        points = np.array([(one.x, one.y) for one in some["at"]])
        order = np.argsort(points @ np.array([1.0, 1e-3]))
        ends = points[order[[0, -1]]]
        line = shapely.LineString(ends if len(points) > 1 else [ends[0], ends[0] + 60])
        for hand, mine in some.groupby("side_id"):
            rows.append((hand, name, str(part), str(mine["side"].iloc[0]), line))
    frame = pd.DataFrame(rows, columns=["side_id", "street", "stretch", "side", "geometry"])
    frame = frame.astype(dict.fromkeys(("side_id", "street", "stretch", "side"), "str"))
    return parcels.assign(side_id=side_id), gpd.GeoDataFrame(frame, geometry="geometry", crs=parcels.crs)


def edition_in(
    folder: Path, sample: Result, units: str = "us", settings: Public | None = None
) -> tuple[Result, PublicCells, gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The sample's result in ``folder`` with the table of public cells; those, the parcels, and the street sides.

    The sides stand in the result too when the edition is by street.
    """
    folder.mkdir(parents=True, exist_ok=True)
    chosen = settings or Public()
    parcels, sides = with_sides(sample.table("parcels"))
    by_street = chosen.by == "streets"
    plane = CRS.from_user_input(sample.run["plane"])
    found = public_cells(parcels, sides if by_street else None, plane, chosen, units)
    found.cells.to_parquet(folder / f"{PUBLIC.name}.parquet", index=False)
    if by_street:
        sides.to_parquet(folder / "sides.parquet", index=False)
    for name in ("parcels", "roofs", "findings"):
        shutil.copy(sample.folder / f"{name}.parquet", folder)
    values = {f"public.{name}": value for name, value in chosen.model_dump().items()}
    run = sample.run | {"units": units, "public": found.record}
    run["settings"] = [one | {"value": values.get(one["setting"], one["value"])} for one in run["settings"]]
    (folder / "run.json").write_text(json.dumps(run), encoding="utf-8")
    return Result.at(folder), found, parcels, sides
