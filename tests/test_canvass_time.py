"""The time that canvassing takes, and the settings that it rests on."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from harvest.plan.canvass_time import (
    Pace,
    conversations,
    door_minutes,
    doors_a_shift,
    expected_l_yr,
    first_pass_min,
    hours_at_doors,
    pace,
    tries,
)
from harvest.project.rounds import Rounds, lon_lat


def test_minutes_at_a_door_by_hand() -> None:
    """0.33 × 5 min + 0.67 × 1 min + 30 m at 66 m/min."""
    assert float(door_minutes(0.33, Rounds())) == pytest.approx(0.33 * 5 + 0.67 * 1 + 30 / 66)
    assert door_minutes([0.0, 1.0], Rounds()) == pytest.approx([1 + 30 / 66, 5 + 30 / 66])


def test_a_published_day_of_canvassing_fits() -> None:
    """ "A canvasser walks by about 120 houses and has 40 conversations" a day: current.org, August 2016, of canvassing
    for public radio. It does not give the hours; an 8 h day is common practice, without a source. Houses stand 12 to
    20 m apart along the street here, from memory."""
    day = Rounds(shift_hours=8.0)
    assert float(conversations(120, 0.33, day)) == pytest.approx(40, abs=0.5)
    for apart in (12.0, 16.0, 20.0):
        assert doors_a_shift(day, apart) == pytest.approx(120, rel=0.05)
        assert hours_at_doors(day, 120, apart) == pytest.approx(6.0, rel=0.05)


def test_four_hours_hold_half_that_day() -> None:
    assert pace(Rounds()).shift_min == 180
    assert doors_a_shift(Rounds(), 16.0) == pytest.approx(doors_a_shift(Rounds(shift_hours=8.0), 16.0) / 2)


def test_a_second_pass_takes_its_time_and_wins_its_answers() -> None:
    """With half the doors that nobody opened tried again: 1 + 0.5 × 0.6 tries at a chance of 0.4."""
    again = Rounds(second_pass=0.5)
    assert float(tries(0.4, 0.5)) == pytest.approx(1.3)
    assert float(door_minutes(0.4, again)) == pytest.approx(1.3 * float(door_minutes(0.4, Rounds())))
    assert float(conversations(100, 0.4, again)) == pytest.approx(52)
    assert pace(again).metres_a_min == pytest.approx(66 / 1.5)


def test_when_the_second_pass_begins() -> None:
    again = Rounds(second_pass=1.0)
    once = first_pass_min(40, 660, again)
    assert once == pytest.approx(40 * (0.33 * 5 + 0.67 + 30 / 66) + 10)
    whole = 40 * float(door_minutes(0.33, again)) + 660 / pace(again).metres_a_min
    assert once < whole == pytest.approx(once + 0.67 * (once - 10) + 10)


def test_expected_litres_are_the_product_of_the_chances() -> None:
    """2,000 L × 0.33 × 0.08 × 0.6."""
    found = expected_l_yr(np.array([2000.0, 0.0]), 0.33, 0.08, 0.6, Rounds())
    assert found == pytest.approx([2000 * 0.33 * 0.08 * 0.6, 0.0])


@pytest.mark.parametrize("chance", [-0.1, 1.1])
def test_a_chance_outside_0_to_1_is_refused(chance: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        door_minutes([0.3, chance], Rounds())


@pytest.mark.parametrize("wrong", [(0.0, 66.0, 20.0), (180.0, 0.0, 20.0), (180.0, 66.0, -1.0)])
def test_a_pace_of_nothing_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        Pace(*wrong)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"shift_hours": 0.0}, "a shift of 0 hours knocks at no door"),
        ({"shift_hours": 0.1}, "a shift has 4.5 min at doors, less than the 5.45 min that one door takes"),
        ({"shift_hours": 4.0, "door_share": 0.01}, "less than the 5.45 min that one door takes"),
        ({"pairs": True, "canvassers": 1}, "pairs needs at least 2 canvassers"),
        ({"first_hour": "20:00", "last_hour": "09:00"}, "last_hour 09:00 is not after first_hour 20:00"),
        (
            {"first_hour": "17:00", "last_hour": "20:00"},
            "a shift of 4 h does not fit between 17:00 and 20:00",
        ),
        ({"first_hour": "9"}, "'9' is not an hour such as 09:00"),
        ({"last_hour": "24:00"}, "'24:00' is not an hour"),
        ({"starts": [[1.0]]}, "a start is"),
        ({"starts": ["71 W, 42 N"]}, 'is not "longitude,latitude"'),
        ({"starts": ["42.36,-171.06"]}, "lies off the earth"),
        ({"starts": ["-190.5,42.0"]}, "lies off the earth"),
        ({"canvassers": 0}, "greater than or equal to 1"),
        ({"answer": 0.0}, "greater than 0"),
    ],
)
def test_settings_that_can_not_be_are_told(given: dict[str, object], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        Rounds(**given)


def test_pairs_walk_half_as_many_rounds() -> None:
    assert Rounds(canvassers=4, shifts=10).round_count == 40
    pairs = Rounds(canvassers=5, shifts=10, pairs=True)
    assert (pairs.teams, pairs.round_count, pairs.canvasser_hours) == (2, 20, 8.0)


def test_a_start_in_degrees() -> None:
    assert lon_lat("-71.06, 42.36") == (-71.06, 42.36)
    assert Rounds(starts=[[3.0, 4], "-71.06,42.36"]).starts[0] == [3.0, 4]
