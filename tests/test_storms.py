"""One storm at a barrel, held to the units and to printed leader tables."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harvest.units import L_PER_GALLON, M2_PER_SQUARE_FOOT, MM_PER_INCH
from harvest.water.capture import runoff
from harvest.water.storms import depth_to_fill_mm, minutes_to_fill, share_of_first_inch


def square_feet(*area: float) -> np.ndarray:
    return np.array(area) * M2_PER_SQUARE_FOOT


@pytest.mark.parametrize(
    ("inches_an_hour", "minutes"), [(0.1, 235.28), (0.5, 47.06), (1, 23.53), (2, 11.76), (7.14, 3.30)]
)
def test_minutes_to_fill(inches_an_hour: float, minutes: float) -> None:
    """Derived from 144/231 gal per ft² and inch: 55 gal, 250 ft², C 0.9."""
    taken = minutes_to_fill(55 * L_PER_GALLON, square_feet(250), inches_an_hour * MM_PER_INCH, 0.9)[0]
    assert taken == pytest.approx(minutes, abs=0.02)
    assert taken == pytest.approx(55 / (250 * 0.9 * 144 / 231 * inches_an_hour) * 60, rel=1e-12)


def test_rain_that_fills_a_barrel() -> None:
    """Derived: 50 gal on 500 ft² with C 1 is 50 / (500 · 0.62338) = 0.1604 in."""
    depth = depth_to_fill_mm(50 * L_PER_GALLON, square_feet(500), 1.0)[0]
    assert depth / MM_PER_INCH == pytest.approx(0.1604, abs=1e-4)


def test_barrel_and_the_first_inch() -> None:
    """Derived: 1 in on 1,000 ft² is 623 gal; a 55-gal barrel holds 8.8 % of it, 0.088 in."""
    inch = runoff(square_feet(1000), np.array([MM_PER_INCH]), 1.0)[0] / L_PER_GALLON
    assert inch == pytest.approx(623.4, abs=0.05)
    share = share_of_first_inch(55 * L_PER_GALLON, 1.0, square_feet(1000), 1.0)[0]
    assert share == pytest.approx(0.0882, abs=1e-4)
    depth = depth_to_fill_mm(55 * L_PER_GALLON, square_feet(1000), 1.0)[0]
    assert depth / MM_PER_INCH == pytest.approx(0.088, abs=5e-4)


def test_common_practice_fills_within_the_first_minutes() -> None:
    """Common practice, no published source: a barrel fills within the first minutes of a good storm (2 in/h here)."""
    assert minutes_to_fill(55 * L_PER_GALLON, square_feet(500), 2 * MM_PER_INCH, 0.9)[0] < 10


def test_flow_of_a_square_foot() -> None:
    """National Standard Plumbing Code Illustrated 2015, App. A: gpm per ft² = in/h / 12 · 7.48 / 60; 0.010389."""
    flow = 1 / minutes_to_fill(L_PER_GALLON, square_feet(1), MM_PER_INCH, 1.0)[0]
    assert flow == pytest.approx(0.010389, abs=1e-6)
    assert flow == pytest.approx(7.48 / 12 / 60, abs=1e-6)


LEADERS = [(23, 2180), (67, 6426), (144, 13840), (261, 25094), (424, 40805)]
"""National Standard Plumbing Code Illustrated 2006, Table 13.6.1: leaders of 2 to 6 in, gpm and ft² at 1 in/h."""


@pytest.mark.parametrize(("gallons_a_minute", "area_ft2"), LEADERS)
def test_leader_rows(gallons_a_minute: float, area_ft2: float) -> None:
    """Table 13.6.1: what the area sheds in a minute at 1 in/h is the leader's flow, printed to 1.6 %."""
    minutes = minutes_to_fill(gallons_a_minute * L_PER_GALLON, square_feet(area_ft2), MM_PER_INCH, 1.0)[0]
    assert minutes == pytest.approx(1, rel=0.016)


def test_leader_table_divides_by_the_rate() -> None:
    """Table 13.6.1: a 3-in leader at 4 in/h takes 6,426 / 4 = 1,606.5 ft², printed as 1,607: the same flow."""
    one = minutes_to_fill(67 * L_PER_GALLON, square_feet(6426), MM_PER_INCH, 1.0)[0]
    four = minutes_to_fill(67 * L_PER_GALLON, square_feet(1606.5), 4 * MM_PER_INCH, 1.0)[0]
    assert four == pytest.approx(one, rel=1e-12)


def test_a_half_full_barrel_takes_half_and_none_takes_more_than_drains_to_it() -> None:
    roof = square_feet(1000, 1000, 10, 0)
    share = share_of_first_inch(55 * L_PER_GALLON, np.array([1, 0.5, 1, 1]), roof, 0.9, served_share=0.25)
    assert share[1] == pytest.approx(share[0] / 2)
    assert share[2] == 0.25
    assert np.isnan(share[3])


def test_nothing_drains_to_the_barrel() -> None:
    assert depth_to_fill_mm(100.0, np.zeros(1), 0.9)[0] == np.inf
    assert minutes_to_fill(0.0, np.zeros(1), 10.0, 0.9)[0] == np.inf


@given(st.floats(1, 2000), st.floats(0.5, 5000), st.floats(0.05, 1))
def test_the_depth_that_fills_brings_the_volume(volume: float, area: float, coefficient: float) -> None:
    roof = np.array([area])
    depth = depth_to_fill_mm(volume, roof, coefficient)
    assert runoff(roof, depth, coefficient)[0] == pytest.approx(volume)
    assert minutes_to_fill(volume, roof, 30.0, coefficient)[0] == pytest.approx(depth[0] / 30.0 * 60)


@pytest.mark.parametrize("volume", [-1.0, np.nan])
def test_refuses_a_volume_that_is_none(volume: float) -> None:
    with pytest.raises(ValueError, match="a volume must be a number and not negative"):
        depth_to_fill_mm(volume, np.ones(1), 0.9)


def test_refuses_other_bad_numbers() -> None:
    with pytest.raises(ValueError, match="an area must"):
        depth_to_fill_mm(1.0, -np.ones(1), 0.9)
    with pytest.raises(ValueError, match="more than 0 mm an hour"):
        minutes_to_fill(1.0, np.ones(1), 0.0, 0.9)
    with pytest.raises(ValueError, match="how empty a barrel is"):
        share_of_first_inch(1.0, 1.2, np.ones(1), 0.9)
    with pytest.raises(ValueError, match="the share of a roof"):
        share_of_first_inch(1.0, 1.0, np.ones(1), 0.9, served_share=-0.1)
