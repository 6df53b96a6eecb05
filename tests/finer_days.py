"""A tank balance written out in plain steps, for tests: days cut into shorter steps, each day's rain as one block.

It shares no code with the program. With one step a day it is the daily balance over again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]


@dataclass(frozen=True)
class Steps:
    """Day by day [days; L]: drawn, spilt, and held by all barrels as the day ends."""

    yield_l: Floats
    overflow_l: Floats
    held_l: Floats


def rain_blocks(rain_mm: Floats, steps: int, mm_h: float, seed: int) -> tuple[Whole, Whole]:
    """First step and number of steps [days each] of each day's rain, when a day has ``steps`` of equal length.

    All of a day's rain falls in one block, evenly: at ``mm_h``, but no shorter than a step and no longer than the
    day. It begins at a random step from which it still ends in the same day. The number drawn for a day depends on
    the seed and the day's place in the record alone.
    """
    length = np.clip(np.ceil(rain_mm / mm_h / 24 * steps), 1, steps).astype(np.intp)
    begin = np.random.default_rng(seed).random(len(rain_mm)) * (steps - length + 1)
    return begin.astype(np.intp), length


def by_steps(
    depth_mm: Floats,
    wanted_l: Floats,
    areas_m2: Floats,
    volumes_l: Floats,
    blocks: tuple[Whole, Whole],
    draw_at: int,
    set_up: NDArray[np.bool_],
) -> Steps:
    """Barrels of ``volumes_l`` [k; L] under ``areas_m2`` [k; m²] through ``depth_mm`` of runoff [days; mm].

    In each step a draw comes from what stood there before the step, then what does not fit spills, as if the draw
    had not made room yet. ``wanted_l`` [days; L] is drawn at the step ``draw_at`` of its day, the fullest barrel first.
    On the morning of a day of ``set_up`` [days] barrels are set up, empty.
    """
    areas = [float(one) for one in areas_m2 if one > 0]
    volumes = [float(one) for one in volumes_l if one > 0]
    held = [0.0] * len(volumes)
    drawn, spilt, stood = (np.zeros(len(depth_mm)) for _ in range(3))
    given = zip(depth_mm.tolist(), wanted_l.tolist(), *blocks, strict=True)
    for day, (depth, want, first, length) in enumerate(given):
        if set_up[day]:
            held = [0.0] * len(volumes)
        raining = range(first, first + length) if depth > 0 else range(0)
        drawing = {draw_at} if want > 0 else set()
        for step in sorted({*raining, *drawing}):
            draws = fullest_first(held, want) if step in drawing else [0.0] * len(held)
            for barrel, volume in enumerate(volumes):
                flow = depth / length * areas[barrel] if step in raining else 0.0
                spill = max(0.0, held[barrel] + flow - volume)
                spilt[day] += spill
                held[barrel] += flow - spill - draws[barrel]
            drawn[day] += sum(draws)
        stood[day] = sum(held)
    return Steps(drawn, spilt, stood)


def fullest_first(held: list[float], want: float) -> list[float]:
    """What each barrel gives of ``want``: the fullest is lowered to the next, then both together, and so on."""
    left = list(held)
    while want > 1e-12 and max(left) > 0:
        top = max(left)
        fullest = [barrel for barrel, level in enumerate(left) if level == top]
        below = max((level for level in left if level < top), default=0.0)
        lower = min(top - below, want / len(fullest))
        for barrel in fullest:
            left[barrel] = below if lower == top - below else left[barrel] - lower
        want -= lower * len(fullest)
    return [before - after for before, after in zip(held, left, strict=True)]
