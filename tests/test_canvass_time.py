"""Time at doors: by hand, and against a published canvassing day."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from harvest.plan.canvass_time import conversations, door_minutes, doors_a_shift, expected_l_yr
from harvest.project.rounds import Rounds


def test_a_door_by_hand() -> None:
    """0.33 × 5 min + 0.67 × 1 min, and 2 × 15 m at 66 m a minute."""
    assert float(door_minutes(0.33, Rounds())) == pytest.approx(0.33 * 5 + 0.67 + 30 / 66)


def test_a_published_day_fits() -> None:
    """current.org, August 2016: a canvasser walks by about 120 houses and has 40 conversations a day.

    A day of 8 h with 6 h at doors, lots 15 m wide: that the day has 8 h is ours, the article does not say.
    """
    day = Rounds(shift_hours=8.0)
    doors = doors_a_shift(day, 15.0)
    assert doors == pytest.approx(120, rel=0.05)
    assert float(conversations(doors, day.answer, day)) == pytest.approx(40, rel=0.05)


def test_expected_litres_by_hand() -> None:
    """1,000 L used × 0.33 × 0.08 × 0.6 that replaces tap water; half of the unanswered doors tried again add theirs."""
    assert float(expected_l_yr(1000.0, 0.33, 0.08, 0.6, Rounds())) == pytest.approx(15.84)
    again = Rounds(second_pass=0.5)
    assert float(expected_l_yr(1000.0, 0.33, 0.08, 0.6, again)) == pytest.approx(15.84 * (1 + 0.5 * 0.67))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"shift_hours": 0.0}, "knocks at no door"),
        ({"shift_hours": 0.02}, "less than the"),
        ({"last_hour": "08:00"}, "not after"),
        ({"pairs": True, "canvassers": 1}, "at least 2"),
    ],
)
def test_hours_that_can_not_be(wrong: dict[str, object], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        Rounds(**wrong)
