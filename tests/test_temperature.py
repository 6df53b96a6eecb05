"""Mean daily lows and highs of the months: units, names of months, and what is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from harvest.errors import InputError
from harvest.layers import MonthlyTemperature
from harvest.project.gauge import Temperature
from harvest.project.outputs import Limits
from harvest.read.temperature import read_temperature

SAMPLE = Path(__file__).parents[1] / "data" / "sample"
LOW = [-0.6, -0.9, 1.2, 4.6, 9.1, 13.8, 17.2, 17.5, 14.6, 9.9, 5.5, 1.6]
HIGH = [5.6, 5.5, 7.8, 11.9, 16.7, 21.4, 24.8, 24.9, 21.9, 17.0, 12.1, 7.9]
NAMES = [
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
]  # fmt: skip


def lines(
    head: str = "month,tmin_c,tmax_c", months: Any = range(1, 13), low: Any = LOW, high: Any = HIGH
) -> list[str]:
    return [head, *(f"{month},{a},{b}" for month, a, b in zip(months, low, high, strict=True))]


def read(folder: Path, text: list[str], **settings: Any) -> MonthlyTemperature:
    (folder / "heat.csv").write_text("\n".join(text), encoding="utf-8")
    return read_temperature(Temperature(file="heat.csv", **settings), folder, Limits())


def test_the_sample() -> None:
    heat = read_temperature(Temperature(file="temperature_monthly.csv"), SAMPLE, Limits())
    assert heat.tmin_c == pytest.approx(LOW) and heat.tmax_c == pytest.approx(HIGH)
    assert heat.findings == () and heat.sources[0].rows == 12


@pytest.mark.parametrize(
    "months", [NAMES, [name[:3].upper() for name in NAMES], [f"{n:02d}" for n in range(1, 13)]]
)
def test_months_by_name_or_number_in_any_order(tmp_path: Path, months: list[str]) -> None:
    text = lines(months=months)
    heat = read(tmp_path, [text[0], *reversed(text[1:])])
    assert heat.tmin_c == pytest.approx(LOW) and heat.tmax_c == pytest.approx(HIGH)


@pytest.mark.parametrize(
    "head", ["month,tmin_f,tmax_f", "Month,Low (°F),High (°F)", "mon,min temp F,max temp F"]
)
def test_fahrenheit(tmp_path: Path, head: str) -> None:
    """32 °F = 0 °C and 212 °F = 100 °C, by definition."""
    low, high = ([round(c * 1.8 + 32, 3) for c in values] for values in (LOW, HIGH))
    heat = read(tmp_path, lines(head, low=low, high=high))
    assert heat.tmin_c == pytest.approx(LOW, abs=1e-3) and heat.tmax_c == pytest.approx(HIGH, abs=1e-3)
    assert read(
        tmp_path, lines("m,a,b", low=[32] * 12, high=[50] * 12), month="m", low="a", high="b", unit="F"
    ).tmax_c == (pytest.approx([10.0] * 12))


def test_units_that_are_not_told_or_wrong(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"does not say its unit .*\(low, high\); set unit"):
        read(tmp_path, lines("month,low,high"))
    assert read(tmp_path, lines("month,low,high"), unit="C").tmax_c == pytest.approx(HIGH)
    low, high = ([c * 1.8 + 32 for c in values] for values in (LOW, HIGH))
    with pytest.raises(InputError, match=r'for July, .*look like °F, so set unit = "F"'):
        read(tmp_path, lines(low=low, high=high))
    cold = read(tmp_path, lines(), unit="F")
    assert [one.check for one in cold.findings] == ["no month above freezing"]


def test_a_high_below_its_low_names_the_month(tmp_path: Path) -> None:
    high = list(HIGH)
    high[6], high[10] = 12.0, 1.0
    with pytest.raises(InputError, match="a high below the low in July, November"):
        read(tmp_path, lines(high=high))
    with pytest.raises(InputError, match="columns are swapped"):
        read(tmp_path, lines("month,tmax_c,tmin_c"))


def test_months_that_are_missing_twice_or_none(tmp_path: Path) -> None:
    text = lines()
    with pytest.raises(InputError, match="lacks March, December"):
        read(tmp_path, [*text[:3], *text[4:12]])
    with pytest.raises(InputError, match=r"March twice \(line 14\)"):
        read(tmp_path, [*text, "3,1,2"])
    for odd in ("Smarch", "0", "14", "2.5", ""):
        with pytest.raises(InputError, match="in line 14, which is no month"):
            read(tmp_path, [*text, f"{odd},1,2"])
    heat = read(tmp_path, [*text, "Annual,8.1,15.6"])
    assert [one.check for one in heat.findings] == ["year's mean ignored"]
    assert heat.tmax_c == pytest.approx(HIGH)


def test_figures_that_are_none_or_beyond_belief(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no number in column 'tmax_c', line 6 \('warm'\)"):
        read(tmp_path, lines(high=[*HIGH[:4], "warm", *HIGH[5:]]))
    with pytest.raises(InputError, match=r"says -99.9 °C for January, beyond -60 to 60 °C; check"):
        read(tmp_path, lines(low=[-99.9, *LOW[1:]]))
    with pytest.raises(InputError, match=r"-12.0 °C for January, beyond -10 to"):
        read(tmp_path, lines(low=[-12.0, *LOW[1:]]), least_c=-10.0)


def test_columns_that_can_not_be_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no column that is called high; there are month, tmin_c, warm"):
        read(tmp_path, lines("month,tmin_c,warm"))
    with pytest.raises(InputError, match=r"no column 'tmx' \(high in the project file\)"):
        read(tmp_path, lines(), high="tmx")
    comma = [line.replace(",", ";").replace(".", ",") for line in lines()]
    assert np.allclose(read(tmp_path, comma).tmin_c, LOW)
