"""Speed of placing parcels on streets, beside one nearest-neighbour query by GeoPandas on the same layers.

A way that ``bench.py`` times in a process of its own. Both run there in turn on 100,000 lots and the streets that
town has; the answers are held against what is true of the invented town.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

PARCELS, SEED, TURNS = 100_000, 3, 3
UTM = "EPSG:32621"
MOST_OVER_NEAREST = 3.0
LEAST_RIGHT = 0.995


def town_on_streets(parcels: int = PARCELS) -> tuple[Any, Any, Any]:
    """Lots and streets of a plain town on the ground, as GeoDataFrames, and the truth of each lot."""
    import geopandas as gpd
    import town_frontage
    import town_ground
    from town_plan import lay_out

    plan = lay_out(parcels, SEED, plain=True)
    names = town_ground.street_names(plan, SEED)
    lots = town_ground.stacked(town_ground.parcels_on(plan, names, SEED, plain=True), SEED)
    ground = gpd.GeoDataFrame(lots[["parcel_id", "address"]], geometry=lots["geometry"].to_numpy(), crs=UTM)
    return ground, town_ground.streets_on(plan, names, SEED), town_frontage.frontage_on(plan, lots)


def frontage(folder: Path) -> dict[str, Any]:
    """Addresses parsed, streets cut, parcels placed: with all addresses, and with none."""
    import geopandas as gpd
    import pandas as pd

    from harvest.place.addresses import address_parts
    from harvest.place.frontage import frontage as placed
    from harvest.place.segments import segments
    from harvest.project.streets import Streets

    ground, streets, truth = town_on_streets()
    settings = Streets(file="none")
    lines = np.asarray(streets.geometry.array, dtype=object)
    outlines = np.asarray(ground.geometry.array, dtype=object)
    ids, open_to_all = np.arange(len(lines)).astype(str).astype(object), np.zeros(len(lines), dtype=bool)
    none = pd.Series(pd.NA, index=ground.index, dtype="str")
    seconds: dict[str, list[float]] = {}

    def timed(name: str, work: Any) -> Any:
        begun = time.perf_counter()
        made = work()
        seconds.setdefault(name, []).append(time.perf_counter() - begun)
        return made

    def turn() -> tuple[Any, Any, Any, Any]:
        joined = timed(
            "nearest",
            lambda: gpd.sjoin_nearest(
                ground, streets, max_distance=settings.farthest_m, distance_col="away_m"
            ),
        )
        parts = timed("addresses", lambda: address_parts(ground["address"]))
        on = timed(
            "segments",
            lambda: segments(
                lines, ids, streets["name"], open_to_all, snap_m=settings.snap_m, longest_m=settings.longest_m
            ),
        )
        named = timed("frontage", lambda: placed(outlines, parts["street"], on, settings))
        bare = timed("without_addresses", lambda: placed(outlines, none, on, settings))
        return joined, on, named, bare

    for _ in range(TURNS):
        joined, on, named, bare = turn()
    away = joined.groupby(level=0)["away_m"].min().to_numpy()
    if not np.allclose(bare.distance_m[~bare.corner], away[~bare.corner], atol=0.01):
        raise SystemExit("Parcels away from corners do not stand on the street that GeoPandas finds nearest.")
    each = {name: statistics.median(turns) for name, turns in seconds.items()}
    ratios = {
        name: statistics.median(np.array(seconds[name]) / np.array(seconds["nearest"]))
        for name in ("frontage", "without_addresses")
    }
    whole = np.sum([seconds[name] for name in ("addresses", "segments", "frontage")], axis=0)
    return {
        "seconds": each["frontage"],
        "each": each,
        "ratio": ratios["frontage"],
        "ratio_without_addresses": ratios["without_addresses"],
        "ratio_with_parsing_and_cutting": float(np.median(whole / np.array(seconds["nearest"]))),
        "parcels": len(ground),
        "segments": len(on),
        "right": right(named, on, truth),
        "right_without_addresses": right(bare, on, truth),
    }


def right(found: Any, on: Any, truth: Any) -> float:
    """Share of parcels on the true line and side."""
    line = np.append(on.line, -1)[found.segment]
    return float(((line == truth["line"]) & ((found.side == 1) == truth["left"])).mean())


WAYS = {"frontage": frontage}


def report(timed: Callable[[str, Path], dict[str, Any]], said: Callable[..., None], folder: Path) -> None:
    """Everything that is said of placing parcels on streets; ``folder`` is not looked at."""
    answer = timed("frontage", folder)
    size = f"{answer['parcels']:,} parcels on {answer['segments']:,} segments"
    for words, ratio, share in (
        ("by address, then by nearest", answer["ratio"], answer["right"]),
        ("without addresses", answer["ratio_without_addresses"], answer["right_without_addresses"]),
    ):
        said(
            f"{size}, {words}, over GeoPandas' nearest",
            f"{ratio:.2f}; {share:.2%} on their true side",
            ratio <= MOST_OVER_NEAREST and (share >= LEAST_RIGHT or words == "without addresses"),
            f"{MOST_OVER_NEAREST:.0f} times, {LEAST_RIGHT:.1%}",
        )
    print(
        f"        with addresses taken apart and streets cut: {answer['ratio_with_parsing_and_cutting']:.2f} times; "
        + ", ".join(f"{name} {seconds:.2f} s" for name, seconds in answer["each"].items())
    )
