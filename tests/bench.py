"""Speed and memory, as ratios within one run; answers compared before times are. ``python tests/bench.py``

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
from pathlib import Path
from typing import Any

import bench_barrels
import bench_map

SAMPLE = Path(__file__).parents[1] / "data" / "sample"
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


LEAST_EXACT_OVER_SURFACE = {"surface_one": 20, "surface_rain": 4}
MOST_DOUBT_SECONDS, MOST_DOUBT_MB = 10, 1500
MOST_CARDS_SECONDS = 30


def make(folder: Path, parcels: int) -> Path:
    """A plain town of ``parcels`` parcels and as many roofs, as GeoParquet and a 12-band GeoTIFF."""
    sys.path.insert(0, str(SAMPLE))
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


WAYS = {
    "core": core,
    "floor": floor,
    "ours": ours,
    "obvious": obvious,
    **bench_barrels.WAYS,
    **bench_map.WAYS,
}


def timed(way: str, folder: Path) -> dict[str, Any]:
    """One way in a process of its own: what it printed, and its peak memory [MB]."""
    ended = subprocess.run(
        [sys.executable, __file__, way, str(folder)], capture_output=True, text=True, check=True
    )
    return json.loads(ended.stdout.splitlines()[-1])


def said(name: str, figure: str, met: bool, target: str) -> None:
    print(f"{'met   ' if met else 'MISSED'}  {name}: {figure} (target {target})", flush=True)


def barrels(folder: Path) -> None:
    """What barrels deliver, for the town of 100,000 in ``folder``."""
    for way, words in (("surface_one", "one rain"), ("surface_rain", "local rain")):
        answer = timed(way, folder)
        if answer["over_bound"] > 1:
            raise SystemExit(f"The surface lies off the exact balance: {answer}")
        ratio = answer["exact_seconds"] / answer["seconds"]
        said(
            f"100,000 roofs × 6 numbers of barrels × 30 years, {words}, daily loop over surface",
            f"{ratio:.0f} times ({answer['exact_seconds']:.0f} s by what {bench_barrels.RUN_EXACTLY:,} roofs took, "
            f"against {answer['seconds']:.1f} s for {answer['points']:,} points; error {answer['over_bound']:.2f} of "
            "its bound)",
            ratio >= LEAST_EXACT_OVER_SURFACE[way],
            f"{LEAST_EXACT_OVER_SURFACE[way]} times",
        )
    answer = timed("doubt", folder)
    each = ", ".join(f"{name} {seconds:.1f} s" for name, seconds in answer["by_measure"].items())
    said(
        f"500 draws of doubt for {answer['parcels']:,} parcels, a measure",
        f"{each}, {answer['memory_mb']:.0f} MB with the whole town",
        answer["seconds"] <= MOST_DOUBT_SECONDS and answer["memory_mb"] <= MOST_DOUBT_MB,
        "10 s, 1,500 MB",
    )
    answer = timed("whole", folder)
    steps = sorted(answer["steps"].items(), key=lambda item: -item[1])
    print(
        f"        a whole run of 100,000: {answer['seconds']:.0f} s, {answer['memory_mb']:.0f} MB; "
        + ", ".join(f"{name} {seconds:.1f} s" for name, seconds in steps[:6])
    )
    answer = timed("cards", folder)
    said(
        "1,000 door cards in one PDF",
        f"{answer['seconds']:.1f} s, {answer['mb']:.0f} MB, {answer['memory_mb']:.0f} MB of memory",
        answer["seconds"] <= MOST_CARDS_SECONDS,
        "30 s",
    )


def main() -> None:
    """Everything that ``make bench`` prints."""
    with tempfile.TemporaryDirectory() as made:
        make(Path(made) / "warm", 200)
        folder = make(Path(made) / "100k", 100_000)
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

        barrels(folder)

        towns = {"10k": make(Path(made) / "10k", 10_000), "100k": folder}
        folder = towns["10k"]
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

        bench_map.report(timed, said, towns)

    command = [str(Path(sys.executable).with_name("harvest")), "--help"]
    helps = []
    for _ in range(7):
        begun = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        helps.append(time.perf_counter() - begun)
    help_s = statistics.median(helps)
    said("harvest --help", f"{help_s:.2f} s", help_s <= MOST_HELP_SECONDS, "0.2 s")


if __name__ == "__main__":
    if len(sys.argv) == 3:
        way, town = WAYS[sys.argv[1]], Path(sys.argv[2])
        if sys.argv[1] not in bench_barrels.WAYS | bench_map.WAYS:
            way(town.with_name("warm"))
        gc.freeze()  # collecting garbage need not walk what the libraries loaded, whichever way is measured
        answer = way(town)
        answer["memory_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(json.dumps(answer))
    else:
        main()
