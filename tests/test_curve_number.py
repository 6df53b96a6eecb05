"""NRCS runoff of one storm, held to the printed table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harvest.units import MM_PER_INCH
from harvest.water.curve_number import initial_abstraction_mm, storm_runoff_mm

ROOF_ROW = {
    1.0: 0.79,
    1.2: 0.99,
    1.4: 1.18,
    1.6: 1.38,
    1.8: 1.58,
    2.0: 1.77,
    2.5: 2.27,
    3.0: 2.77,
    4.0: 3.77,
    5.0: 4.76,
    6.0: 5.76,
    10.0: 9.76,
}


@pytest.mark.parametrize("rain_in", ROOF_ROW)
def test_table_2_1_of_a_roof(rain_in: float) -> None:
    """USDA TR-55 (1986), Table 2-1, CN 98, inches; as kept in the R package iemiscdata."""
    ours = storm_runoff_mm(np.array([rain_in * MM_PER_INCH]))[0] / MM_PER_INCH
    assert ours == pytest.approx(ROOF_ROW[rain_in], abs=0.0051)


def test_table_2_1_of_curve_number_75() -> None:
    """USDA TR-55 (1986), Table 2-1, P 6 in and CN 75: 3.28 in."""
    ours = storm_runoff_mm(np.array([6 * MM_PER_INCH]), 75.0)[0] / MM_PER_INCH
    assert ours == pytest.approx(3.28, abs=0.005)


def test_metric_check() -> None:
    """P 74.4 mm and CN 76.8 give 25.7 mm; quoted in a public test suite."""
    assert storm_runoff_mm(np.array([74.4]), 76.8)[0] == pytest.approx(25.7, abs=0.05)


def test_initial_abstraction_of_a_roof() -> None:
    """Derived from TR-55 eq. 2-2 and 2-4: 0.2 · (1000/98 - 10) = 0.0408 in; below it nothing runs off."""
    start = float(initial_abstraction_mm(98.0))
    assert start / MM_PER_INCH == pytest.approx(0.0408, abs=1e-4)
    assert storm_runoff_mm(np.array([0.0, start, start * 1.01]))[:2].tolist() == [0, 0]
    assert storm_runoff_mm(np.array([start * 1.01]))[0] > 0


def test_differs_from_a_coefficient_as_told() -> None:
    """The share that runs off grows with the storm, as the module says: 79 % of 1 inch and 98 % of 10."""
    rain = np.array([0.1, 1.0, 10.0]) * MM_PER_INCH
    share = storm_runoff_mm(rain) / rain
    assert share[1:] == pytest.approx([0.79, 0.98], abs=0.005)
    assert share[0] < 0.2


@given(st.floats(0, 500), st.floats(0.001, 100), st.floats(30, 100))
def test_never_more_than_the_rain_and_never_less_with_more_rain(
    rain: float, more: float, number: float
) -> None:
    less, greater = storm_runoff_mm(np.array([rain, rain + more]), number)
    assert 0 <= less <= rain * (1 + 1e-12)
    assert less <= greater


def test_sealed_ground_sheds_all() -> None:
    assert storm_runoff_mm(np.array([0.0, 12.0]), 100.0).tolist() == [0, 12]


def test_refusals() -> None:
    with pytest.raises(ValueError, match="curve number"):
        storm_runoff_mm(np.ones(1), 101.0)
    with pytest.raises(ValueError, match="rain must"):
        storm_runoff_mm(np.array([np.nan]))
