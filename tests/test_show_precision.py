"""What the map page is sent of a figure: enough to show and to add up, and not a digit more."""

from __future__ import annotations

import numpy as np

from harvest.show.figures import dollars_worth, rounded
from harvest.show.precision import decimals, dollars_kept, kept, significant


def half_up(value: float, digits: int) -> float:
    """As a browser rounds: a tie goes up."""
    step = 10.0 ** (np.floor(np.log10(value)) - digits + 1)
    return float(np.floor(value / step + 0.5 + 1e-9) * step)


def test_significant_digits() -> None:
    values = np.array([43_349.6, 0.012345, 0.0, np.nan, 99_960.0])
    np.testing.assert_allclose(significant(values, 3), [43_300, 0.0123, 0, np.nan, 100_000])


def test_what_is_kept_finer_shows_as_the_exact_figure_does() -> None:
    # By hand: 43,349.6 shows as 43,300, but 43,350 (five digits) would show as 43,400; a tie shows as the even one.
    np.testing.assert_allclose(kept(np.array([43_349.6, 43_351.2, 43_250.0]), 3, 2), [43_349, 43_351, 43_249])
    drawn = np.random.default_rng(5).lognormal(6, 3, 20_000)
    drawn = np.concatenate([drawn, np.rint(drawn)[drawn > 1e3], [0.0]])
    fine = kept(drawn, 3, 2)
    some = drawn > 0
    assert [rounded(half_up(one, 3)) for one in fine[some]] == [rounded(one) for one in drawn[some]]
    assert np.abs(fine[some] / drawn[some] - 1).max() < 1.01e-4
    assert abs(fine.sum() / drawn.sum() - 1) < 1e-6


def test_the_fewest_decimals() -> None:
    assert decimals(np.array([1.0, 250.0, np.nan])) == 0
    assert decimals(np.array([1.0, 0.25, 1e9])) == 2
    assert decimals(np.array([])) == 0
    assert decimals(significant(np.array([0.1 + 0.2]), 3)) == 1


def test_dollars_are_kept_as_they_are_told() -> None:
    drawn = np.concatenate(
        [np.random.default_rng(8).lognormal(3, 2, 5_000), [0.0, 0.004, 9.994, 9.996, 99.7, 1234.5]]
    )
    np.testing.assert_allclose(dollars_kept(drawn), [dollars_worth(one) for one in drawn], rtol=1e-12)
    assert np.isnan(dollars_kept(np.array([np.nan]))).all()
