"""Result folders of the sample with a public edition, by street side or by block, and with hostile street names."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import geopandas as gpd
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


def edition_in(
    folder: Path, sample: Result, units: str = "us", settings: Public | None = None
) -> tuple[Result, PublicCells, gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The sample's result in ``folder`` with the table of public cells; those, the parcels, and the street sides."""
    folder.mkdir(parents=True, exist_ok=True)
    chosen = settings or Public()
    parcels, sides = sample.table("parcels"), sample.table("sides")
    sides["street"] = sides["street"].replace(HOSTILE)
    by_street = chosen.by == "streets"
    plane = CRS.from_user_input(sample.run["plane"])
    found = public_cells(parcels, sides if by_street else None, plane, chosen, units)
    found.cells.to_parquet(folder / f"{PUBLIC.name}.parquet", index=False)
    sides.to_parquet(folder / "sides.parquet", index=False)
    for name in ("parcels", "roofs", "findings", "context"):
        shutil.copy(sample.folder / f"{name}.parquet", folder)
    values = {f"public.{name}": value for name, value in chosen.model_dump().items()}
    run = sample.run | {"units": units, "public": found.record}
    run["settings"] = [one | {"value": values.get(one["setting"], one["value"])} for one in run["settings"]]
    (folder / "run.json").write_text(json.dumps(run), encoding="utf-8")
    return Result.at(folder), found, parcels, sides
