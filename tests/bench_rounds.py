"""Speed and worth of rounds: how long a plan takes, its gap to the bound, and litres an hour beside planning by hand.

Ways that ``bench.py`` times in processes of their own, at three sizes of town. Forty shifts each, but eight for 1,000
doors, where forty would knock at every door. The litres behind each door are made up; the streets and lots are the
invented town's.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

SHIFTS = {1_000: 8, 10_000: 40, 100_000: 40}
SEED = 3
LEAST_OVER_BY_HAND = 1.25
MOST_SECONDS = 60


def rounds(doors: int) -> dict[str, Any]:
    """Rounds for a town of ``doors`` doors, and the three ways by hand in the same hours at the same pace."""
    import numpy as np
    from street_grids import town_streets

    from harvest.plan.by_hand import Doors, by_hand
    from harvest.plan.rounds import planned
    from harvest.project.rounds import Rounds

    settings = Rounds(canvassers=4, shifts=SHIFTS[doors] // 4)
    town = town_streets(doors, SEED, settings)
    sides = town.sides
    begun, worked = time.perf_counter(), time.process_time()
    plan = planned(sides, settings)
    seconds, own = time.perf_counter() - begun, time.process_time() - worked
    rows = town.doors
    places = Doors.of(
        sides,
        np.array(town.columns["segment_id"])[rows["segment"]].tolist(),
        rows["side"].to_numpy(),
        rows["along_m"].to_numpy(),
        rows["value"].to_numpy(),
    )
    hand = {one.way: one.value_an_hour for one in by_hand(sides, settings, places)}
    return {
        "seconds": seconds,
        "processor_seconds": own,
        "doors": doors,
        "segments": len(sides),
        "shifts": settings.round_count,
        "rounds": len(plan.rounds),
        "knocked_at": sum(one.doors for one in plan.rounds),
        "walking_share": sum(one.walk_m for one in plan.rounds)
        / (66.0 * sum(one.minutes for one in plan.rounds)),
        "gap_to_bound": plan.gap_to_bound,
        "l_yr_an_hour": plan.value_an_hour,
        "by_hand_l_yr_an_hour": hand,
        "over_best_by_hand": plan.value_an_hour / max(hand.values()),
    }


def _of(doors: int) -> Callable[[Path], dict[str, Any]]:
    return lambda _: rounds(doors)


WAYS: dict[str, Callable[[Path], dict[str, Any]]] = {
    "rounds_1k": _of(1_000),
    "rounds_10k": _of(10_000),
    "rounds_100k": _of(100_000),
}


def report(timed: Callable[[str, Path], dict[str, Any]], said: Callable[..., None], folder: Path) -> None:
    """Everything that is said of rounds; ``folder`` is not looked at."""
    for way, doors in zip(WAYS, SHIFTS, strict=True):
        answer = timed(way, folder)
        largest = doors == max(SHIFTS)
        hand = ", ".join(f"{way} {worth:,.0f}" for way, worth in answer["by_hand_l_yr_an_hour"].items())
        said(
            f"{doors:,} doors, {answer['segments']:,} segments, {answer['shifts']} shifts",
            f"{answer['seconds']:.0f} s, {answer['over_best_by_hand']:.2f} of the best by hand, "
            f"{answer['gap_to_bound']:.1%} to the bound",
            not largest
            or (answer["seconds"] <= MOST_SECONDS and answer["over_best_by_hand"] >= LEAST_OVER_BY_HAND),
            f"{MOST_SECONDS} s, {LEAST_OVER_BY_HAND} times" if largest else "none",
        )
        print(f"        {answer['l_yr_an_hour']:,.0f} L/yr an hour; by hand: {hand}")
