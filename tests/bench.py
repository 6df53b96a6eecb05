"""Speed and memory, as ratios within one run; answers compared before times are. ``python tests/bench.py [PART …]``

Each way runs in a process of its own, in turn with the other, and the median ratio counts: machines are
noisy. Each runs first on a town of 200 parcels, so that what libraries load once counts for neither. Nothing
here decides a test; every line says whether its target was met or missed.
"""

from __future__ import annotations

import gc
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bench_barrels
import bench_map
import bench_rounds
import bench_streets

SAMPLE = Path(__file__).parents[1] / "data" / "sample"
sys.path.insert(0, str(SAMPLE))
PROJECT = """
[town]
name = "Bench"
[footprints]
file = "footprints.parquet"
id = "bldg_no"
[parcels]
file = "parcels.parquet"
id = "parcel_id"
address = "address"
land_use = "land_use"
[rainfall]
file = "rain_monthly.tif"
[season]
first = "04-15"
last = "10-31"
"""
MOST_CORE_OVER_FLOOR, AIM_CORE_OVER_FLOOR = 3.0, 2.0
MOST_MEMORY_MB = 1000
LEAST_OBVIOUS_OVER_OURS = 50
MOST_HELP_SECONDS = 0.2


def make(folder: Path, parcels: int) -> Path:
    """A plain town of ``parcels`` parcels and as many roofs, as GeoParquet and a 12-band GeoTIFF."""
    from make_town import build_town, write_town

    write_town(build_town(parcels, seed=3, quirks=False), folder, formats="geoparquet")
    (folder / "bench.toml").write_text(PROJECT)
    return folder


# one way each: prints seconds and what it found, in a process of its own


def core(folder: Path) -> dict[str, Any]:
    """Read to rank to the core of the result folder."""
    from harvest.clock import Clock
    from harvest.deliver import untold
    from harvest.estimate import estimate, ranked
    from harvest.project import read_project
    from harvest.run import read_inputs, write_core
    from harvest.staging import staged

    project, clock = read_project(folder / "bench.toml"), Clock()
    begun = time.perf_counter()
    inputs = read_inputs(project, clock)
    found = ranked(
        untold(estimate(inputs, project.settings, clock), project.settings), project.settings, clock
    )
    with staged(folder / "out") as stage:
        write_core(stage, project, inputs, found, [*inputs.findings, *found.findings], {})
    return {"seconds": time.perf_counter() - begun, "rows": len(found.roofs), "steps": clock.seconds}


def floor(folder: Path) -> dict[str, Any]:
    """What GeoPandas alone needs to read, reproject and write the same two layers."""
    import geopandas as gpd

    begun = time.perf_counter()
    rows = 0
    for name in ("footprints", "parcels"):
        frame = gpd.read_parquet(folder / f"{name}.parquet").to_crs("EPSG:4326")
        frame.to_parquet(folder / f"floor_{name}.parquet", compression="zstd")
        rows = len(frame)
    return {"seconds": time.perf_counter() - begun, "rows": rows}


def ours(folder: Path) -> dict[str, Any]:
    """Our read and estimate, kept for comparison."""
    from harvest.clock import Clock
    from harvest.estimate import estimate, ranked
    from harvest.project import read_project
    from harvest.run import read_inputs

    project, clock = read_project(folder / "bench.toml"), Clock()
    begun = time.perf_counter()
    found = ranked(estimate(read_inputs(project, clock), project.settings, clock), project.settings, clock)
    seconds = time.perf_counter() - begun
    found.roofs[["roof_id", "rain_mm_yr"]].to_parquet(folder / "ours_roofs.parquet")
    found.parcels[["parcel_id", "runoff_l_yr"]].to_parquet(folder / "ours_parcels.parquet")
    return {"seconds": seconds}


def obvious(folder: Path) -> dict[str, Any]:
    """The script that one would write first: zonal statistics of a yearly band, an overlay, a groupby."""
    import geopandas as gpd
    import rasterio
    from rasterstats import zonal_stats

    with rasterio.open(folder / "rain_monthly.tif") as grid:
        profile = {**grid.profile, "count": 1, "dtype": "float64", "nodata": -9999.0}
        values = grid.read(masked=True) * (grid.scales[0] or 1)
        with rasterio.open(folder / "rain_year.tif", "w", **profile) as year:
            year.write(values.sum(axis=0).filled(-9999.0), 1)
    begun = time.perf_counter()
    roofs = gpd.read_parquet(folder / "footprints.parquet")
    parcels = gpd.read_parquet(folder / "parcels.parquet").to_crs(roofs.crs)
    lonlat = roofs.to_crs(4326)
    stats = zonal_stats(lonlat, str(folder / "rain_year.tif"), stats=["mean"], all_touched=True)
    roofs["rain"] = [one["mean"] for one in stats]
    pieces = gpd.overlay(roofs, parcels[["parcel_id", "geometry"]], how="intersection")
    pieces["litres"] = pieces.area * pieces["rain"] * 0.8
    litres = pieces.groupby("parcel_id")["litres"].sum()
    seconds = time.perf_counter() - begun
    return {"seconds": seconds, **compared(folder, roofs, litres)}


def compared(folder: Path, roofs: Any, litres: Any) -> dict[str, float]:
    """How far the obvious script's answers lie from ours, for roofs inside one grid cell and for all parcels.

    Where a roof crosses cell edges the script takes the plain mean of the cells, and is itself off.
    """
    import numpy as np
    import pandas as pd
    import rasterio

    with rasterio.open(folder / "rain_year.tif") as grid:
        west, south, east, north = roofs.to_crs(grid.crs).bounds.to_numpy().T
        (row, column), (last_row, last_column) = (
            ((grid.bounds.top - y) / grid.res[1], (x - grid.bounds.left) / grid.res[0])
            for x, y in ((west, north), (east, south))
        )
    inside = (np.floor(row) == np.floor(last_row)) & (np.floor(column) == np.floor(last_column))
    our_roofs = pd.read_parquet(folder / "ours_roofs.parquet").set_index("roof_id")["rain_mm_yr"]
    theirs = roofs.assign(roof_id=roofs["bldg_no"].astype(str)).set_index("roof_id")
    single = theirs.index[inside]
    parcels = pd.read_parquet(folder / "ours_parcels.parquet").set_index("parcel_id")["runoff_l_yr"]
    both = pd.concat([parcels, litres], axis=1).dropna()
    apart = (both["runoff_l_yr"] / both["litres"] - 1).abs()
    return {
        "one_cell": float((our_roofs[single] / theirs.loc[single, "rain"] - 1).abs().max()),
        "single": len(single),
        "town": float(abs(both["runoff_l_yr"].sum() / both["litres"].sum() - 1)),
        "within": float((apart <= 0.005).mean()),
        "worst": float(apart.max()),
    }


OF_ROOFS = {"core": core, "floor": floor, "ours": ours, "obvious": obvious}
WAYS = {
    **OF_ROOFS,
    **bench_barrels.WAYS,
    **bench_map.WAYS,
    **bench_streets.WAYS,
    **bench_rounds.WAYS,
}


def timed(way: str, folder: Path) -> dict[str, Any]:
    """One way in a process of its own: what it printed, and its peak memory [MB]."""
    ended = subprocess.run(
        [sys.executable, __file__, way, str(folder)], capture_output=True, text=True, check=True
    )
    return json.loads(ended.stdout.splitlines()[-1])


def said(name: str, figure: str, met: bool, target: str) -> None:
    print(f"{'met   ' if met else 'MISSED'}  {name}: {figure} (target {target})", flush=True)


class Towns:
    """Towns of 10,000 and 100,000 parcels in ``made``, built when first asked for."""

    def __init__(self, made: Path) -> None:
        self.made = made

    def of(self, parcels: int) -> Path:
        """The folder of the town of so many ``parcels``; a small one, to warm up on, lies beside it."""
        for count in (200, parcels):
            folder = self.made / f"{count}"
            if not folder.exists():
                make(folder, count)
        return self.made / f"{parcels}"


def over_floor(towns: Towns) -> None:
    """The core of the main job, beside what GeoPandas needs to read, reproject and write the same layers."""
    folder = towns.of(100_000)
    ratios, cores, floors = [], [], []
    timed("floor", folder)
    for _ in range(3):
        cores.append(timed("core", folder))
        floors.append(timed("floor", folder))
        ratios.append(cores[-1]["seconds"] / floors[-1]["seconds"])
    if cores[0]["rows"] < floors[0]["rows"]:
        raise SystemExit("The core lost roofs.")
    ratio = statistics.median(ratios)
    seconds = f"{cores[-1]['seconds']:.1f} s against {floors[-1]['seconds']:.1f} s"
    said(
        "100,000 roofs, core over floor",
        f"{ratio:.2f} ({seconds})",
        ratio <= MOST_CORE_OVER_FLOOR,
        "3, aim 2",
    )
    steps = sorted(cores[-1]["steps"].items(), key=lambda item: -item[1])
    print("        steps: " + ", ".join(f"{name} {s:.2f} s" for name, s in steps))
    memory = max(one["memory_mb"] for one in cores)
    said("100,000 roofs, peak memory", f"{memory:.0f} MB", memory <= MOST_MEMORY_MB, "1,000 MB")


def over_ours(towns: Towns) -> None:
    """The obvious script beside ours, at a size that it can do."""
    folder = towns.of(10_000)
    our = statistics.median(timed("ours", folder)["seconds"] for _ in range(3))
    theirs = timed("obvious", folder)
    if theirs["one_cell"] > 1e-9 or theirs["town"] > 0.005 or theirs["within"] < 0.99:
        raise SystemExit(f"The answers differ: {theirs}")
    ratio = theirs["seconds"] / our
    figure = f"{ratio:.0f} times ({theirs['seconds']:.1f} s against {our:.2f} s)"
    said("10,000 roofs, obvious script over ours", figure, ratio >= LEAST_OBVIOUS_OVER_OURS, "50 times")
    print(
        f"        same answers: {theirs['single']:,} roofs inside one cell to {theirs['one_cell']:.0e}, "
        f"{theirs['within']:.2%} of parcels to 0.5 %, the worst (across cells) to {theirs['worst']:.2%}"
    )


def helped(_: Towns) -> None:
    """How soon help is printed."""
    command = [str(Path(sys.executable).with_name("harvest")), "--help"]
    helps = []
    for _ in range(7):
        begun = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        helps.append(time.perf_counter() - begun)
    help_s = statistics.median(helps)
    said("harvest --help", f"{help_s:.2f} s", help_s <= MOST_HELP_SECONDS, "0.2 s")


PARTS: dict[str, Callable[[Towns], None]] = {
    "floor": over_floor,
    "barrels": lambda towns: bench_barrels.report(timed, said, towns.of(100_000)),
    "obvious": over_ours,
    "map": lambda towns: bench_map.report(timed, said, {n: towns.of(n) for n in bench_map.SIZES}),
    "streets": lambda towns: bench_streets.report(timed, said, towns.of(200)),
    "rounds": lambda towns: bench_rounds.report(timed, said, towns.of(200)),
    "help": helped,
}


def main(parts: list[str]) -> None:
    """What ``make bench`` prints; with names of ``parts``, only those."""
    if unknown := set(parts) - set(PARTS):
        raise SystemExit(f"No such part: {', '.join(sorted(unknown))}. There are: {', '.join(PARTS)}.")
    with tempfile.TemporaryDirectory() as made:
        for part in parts or PARTS:
            PARTS[part](Towns(Path(made)))


if __name__ == "__main__":
    if len(sys.argv) == 3 and sys.argv[1] in WAYS:
        way, town = WAYS[sys.argv[1]], Path(sys.argv[2])
        if sys.argv[1] in OF_ROOFS:
            way(town.with_name("200"))
        gc.freeze()  # collecting garbage need not walk what the libraries loaded, whichever way is measured
        answer = way(town)
        answer["memory_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(json.dumps(answer))
    else:
        main(sys.argv[1:])
