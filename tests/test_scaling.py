"""Days scaled to another place's months, and a gauge held against the grid."""

from __future__ import annotations

import numpy as np
import pytest
from gauges_made import by_check

from harvest.plan.gauge_check import check_against_grid
from harvest.water.generator import days_of_years
from harvest.water.scaling import month_means, monthly_factors, scaled

NORMALS = np.array([90.0, 80, 85, 70, 60, 55, 50, 60, 70, 80, 85, 90])


def two_years() -> tuple[np.ndarray, np.ndarray]:
    dates = days_of_years((2011, 2012))
    rain = np.random.default_rng(1).gamma(0.3, 8.0, len(dates))
    return rain, dates.astype("datetime64[M]").astype(int) % 12


def test_scaled_days_have_the_normals_as_their_means() -> None:
    rain, months = two_years()
    factors = monthly_factors(month_means(rain, months, 2), NORMALS)
    after = scaled(rain, months, factors)
    assert month_means(after, months, 2) == pytest.approx(NORMALS, rel=1e-12)
    assert ((after > 0) == (rain > 0)).all()
    assert after[40] / rain[40] == pytest.approx(factors[1])


def test_many_roofs_at_once_are_the_same_as_one_by_one() -> None:
    rain, months = two_years()
    many = NORMALS * np.array([[0.9], [1.0], [1.2]])
    factors = monthly_factors(month_means(rain, months, 2), many)
    assert factors.shape == (3, 12)
    after = scaled(rain, months, factors)
    assert after.shape == (3, len(rain))
    assert after[2] == pytest.approx(1.2 * after[1])
    assert after[1] == pytest.approx(scaled(rain, months, factors[1]))


def test_month_means_on_paper() -> None:
    """Two years: 10 and 20 mm in January, 3 mm in one December, 29 February counts for February."""
    dates = days_of_years((2011, 2012))
    months = dates.astype("datetime64[M]").astype(int) % 12
    rain = np.zeros(len(dates))
    for day, depth in (("2011-01-05", 10.0), ("2012-01-31", 20.0), ("2012-12-31", 3.0), ("2012-02-29", 4.0)):
        rain[dates == np.datetime64(day)] = depth
    assert month_means(rain, months, 2) == pytest.approx([15.0, 2.0, *[0.0] * 9, 1.5])


def test_months_without_rain() -> None:
    means = NORMALS.copy()
    means[6] = 0.0
    normals = NORMALS.copy()
    normals[7] = 0.0
    factors = monthly_factors(means, normals)
    assert factors[6] == 1.0 and factors[7] == 0.0 and np.isfinite(factors).all()


def test_what_can_not_be_is_refused() -> None:
    with pytest.raises(ValueError, match="12 months"):
        monthly_factors(np.ones(11), np.ones(12))
    with pytest.raises(ValueError, match="12 months"):
        monthly_factors(np.ones(12), np.ones((3, 11)))
    with pytest.raises(ValueError, match="below 0"):
        monthly_factors(NORMALS, -NORMALS)
    with pytest.raises(ValueError, match="at least one year"):
        month_means(np.ones(3), np.zeros(3, int), 0)


@pytest.mark.parametrize(
    ("factor", "told"),
    [
        (1 / 25.4, "in inch, not mm"),
        (1 / 25.4 / 1.2, "in inch, not mm"),
        (25.4, "in mm, not inch"),
        (10.0, "in 0.1 mm, not mm"),
        (0.1, "in mm, not 0.1 mm"),
        (100.0, "in 0.01 inch, not inch"),
        (1 / 0.254, "in 0.01 inch, not mm"),
    ],
)
def test_a_mix_up_of_units_is_named(factor: float, told: str) -> None:
    """1 in = 25.4 mm; the gauge's year over the grid's is the factor that a wrong unit makes."""
    found = check_against_grid(NORMALS * factor, NORMALS)
    assert [one.check for one in found] == ["gauge unit doubtful"]
    assert told in found[0].message and found[0].severity == "serious"


@pytest.mark.parametrize("factor", [0.4, 0.5, 0.75, 1.0, 1.35, 2.5, 6.3])
def test_other_ratios_are_no_unit(factor: float) -> None:
    checks = {one.check for one in check_against_grid(NORMALS * factor, NORMALS)}
    assert checks == (set() if 0.72 < factor < 1.4 else {"gauge far from grid"})


def test_single_months_beyond_the_bounds_are_named() -> None:
    gauge = NORMALS.copy()
    gauge[3], gauge[8] = gauge[3] / 1.5, gauge[8] / 0.6
    told = by_check(check_against_grid(gauge, NORMALS))["gauge far from grid"]
    assert told.first == ("Apr 1.50", "Sep 0.60") and told.count == 2
    assert check_against_grid(gauge, NORMALS, least_factor=0.5, most_factor=1.6) == []
    gauge[0] = 0.0
    assert by_check(check_against_grid(gauge, NORMALS))["month without rain at the gauge"].first == ("Jan",)


def test_nothing_is_said_without_rain_on_one_side() -> None:
    assert check_against_grid(NORMALS, NORMALS * 0) == [] == check_against_grid(NORMALS * 0, NORMALS)
