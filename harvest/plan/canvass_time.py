"""How long canvassing takes: at a door, along a street, and how many doors a shift holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from harvest.project.rounds import Rounds

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Pace:
    """What a round is held to: its time at doors and between them, and what walking costs.

    ``metres_a_min`` [m/min] is the walking speed, less where part of the round is walked a second time.
    ``crossing_m`` [m] is one crossing in the middle of a street. ``back``: the walk back to the start counts.
    """

    shift_min: float
    metres_a_min: float
    crossing_m: float = 20.0
    back: bool = False

    def __post_init__(self) -> None:
        if not (self.shift_min > 0 and self.metres_a_min > 0 and self.crossing_m >= 0):
            raise ValueError("a shift and a pace are above 0, and a crossing costs at least 0")


def pace(rounds: Rounds) -> Pace:
    """The pace that the settings stand for. A second pass walks its share of the round again."""
    return Pace(
        shift_min=rounds.shift_hours * 60 * rounds.door_share,
        metres_a_min=rounds.walking_m_s * 60 / (1 + rounds.second_pass),
        crossing_m=rounds.crossing_m,
        back=rounds.return_to_start,
    )


def tries(answer: ArrayLike, second_pass: float) -> Floats:
    """How often a door is knocked at, on average [shape of ``answer``; 1]: once, and again if nobody opened."""
    return np.asarray(1 + second_pass * (1 - np.asarray(answer, dtype=np.float64)))


def door_minutes(answer: ArrayLike, rounds: Rounds) -> Floats:
    """Expected time at one door [shape of ``answer``; min], its path there and back with it.

    tries × (answer × answered + (1 − answer) × not home + 2 × path ÷ speed). Raises ``ValueError`` for a chance
    ``answer`` [1] outside 0 to 1.
    """
    chance = np.asarray(answer, dtype=np.float64)
    if np.any((chance < 0) | (chance > 1)):
        raise ValueError("the chance of an answer lies between 0 and 1")
    path_min = 2 * rounds.path_m / (rounds.walking_m_s * 60)
    at_door = chance * rounds.answered_min + (1 - chance) * rounds.not_home_min
    return np.asarray(tries(chance, rounds.second_pass) * (at_door + path_min))


def conversations(doors: ArrayLike, answer: ArrayLike, rounds: Rounds) -> Floats:
    """Expected doors that are answered [shapes broadcast; 1] out of ``doors`` [1]."""
    return np.asarray(np.asarray(doors) * np.asarray(answer) * tries(answer, rounds.second_pass))


def expected_l_yr(
    used_l_yr: ArrayLike, answer: ArrayLike, join: ArrayLike, replaces_tap: float, rounds: Rounds
) -> Floats:
    """Expected used litres that knocking wins [shapes broadcast; L/yr].

    used × chance of an answer, second try included × chance of joining given an answer × share that replaces tap
    water. ``used_l_yr`` [L/yr] is what suggested barrels deliver there.
    """
    return np.asarray(conversations(used_l_yr, answer, rounds) * np.asarray(join) * replaces_tap)


def doors_a_shift(rounds: Rounds, frontage_m: float) -> float:
    """How many doors fit a shift when each takes ``frontage_m`` [m] of walking along the street."""
    each = float(door_minutes(rounds.answer, rounds)) + frontage_m / pace(rounds).metres_a_min
    return pace(rounds).shift_min / each


def hours_at_doors(rounds: Rounds, doors: int, frontage_m: float) -> float:
    """Hours [h] that ``doors`` take at these settings, each with ``frontage_m`` [m] of walking along the street."""
    return doors / doors_a_shift(rounds, frontage_m) * rounds.shift_hours * rounds.door_share


def first_pass_min(doors: int, walk_m: float, rounds: Rounds) -> float:
    """Time [min] until ``doors`` were tried once on a walk of ``walk_m`` [m]; then the second pass begins."""
    once = rounds.model_copy(update={"second_pass": 0.0})
    return doors * float(door_minutes(rounds.answer, once)) + walk_m / pace(once).metres_a_min
