"""GHCN-Daily in its two CSV forms: tenths of mm, flags, traces and totals of several days.

The rows are made; the meaning of elements and flags follows the readme of GHCN-Daily, from memory.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from gauges_made import by_check, made_days, read_lines

from harvest.errors import InputError
from harvest.layers import DailyRain

STATION = "XQ000PELLWK"
HEAD = "STATION,DATE,LATITUDE,NAME,PRCP,PRCP_ATTRIBUTES,MDPR,MDPR_ATTRIBUTES,DAPR,TMAX"


def tenths(days: pd.Series) -> dict[str, str]:
    return {f"{day:%Y-%m-%d}": f"{depth * 10:.0f}" for day, depth in days.dropna().items()}


def element_lines(days: pd.Series, change: dict[str, list[str]] | None = None) -> list[str]:
    """One row for each element and day, without names; ``change`` replaces the rows of a day."""
    lines = []
    for date, value in tenths(days).items():
        rows = (change or {}).get(date, [f"PRCP,{value},,,X,0700"])
        lines += [f"{STATION},{date.replace('-', '')},{row}" for row in (*rows, "TMAX,211,,,X,")]
    return lines


def column_lines(days: pd.Series, change: dict[str, str] | None = None) -> list[str]:
    """One row a day; ``change`` gives its cells from PRCP to DAPR."""
    lines = [HEAD]
    for date, value in tenths(days).items():
        cells = (change or {}).get(date, f'{value},",,X,0700",,,')
        lines.append(f'{STATION},{date},41.0,"PELLWICK, QUAY",{cells},211')
    return lines


def month(rain: DailyRain, first: str, last: str) -> np.ndarray:
    return rain.rain_mm[(rain.dates >= np.datetime64(first)) & (rain.dates <= np.datetime64(last))]


@pytest.mark.parametrize("lines_of", [element_lines, column_lines])
def test_both_forms_are_tenths_of_a_millimetre(tmp_path: Path, lines_of: object) -> None:
    days = made_days("2011-01-01", "2012-12-31")
    rain = read_lines(tmp_path, lines_of(days))  # type: ignore[operator]
    assert rain.rain_mm == pytest.approx(days.to_numpy()) and rain.years == (2011, 2012)
    assert set(by_check(rain.findings)) - {"unit by form"} == {"short record"}


def test_names_on_top_of_the_long_form(tmp_path: Path) -> None:
    days = made_days()
    head = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"
    rain = read_lines(tmp_path, [head, *element_lines(days)])
    assert rain.rain_mm == pytest.approx(days.to_numpy())


def test_the_column_form_in_another_unit_must_be_told(tmp_path: Path) -> None:
    days = made_days()
    inches = [
        HEAD,
        *(f'{STATION},{day:%Y-%m-%d},41,P,{depth / 25.4:.2f},",,X",,,,1' for day, depth in days.items()),
    ]
    with pytest.raises(InputError, match="does not say the unit of its column 'PRCP'"):
        read_lines(tmp_path, inches)
    rain = read_lines(tmp_path, inches, unit="inch")
    assert rain.rain_mm == pytest.approx(days.to_numpy(), abs=0.13)


def test_flagged_readings_are_dropped_and_traces_are_dry(tmp_path: Path) -> None:
    days = made_days()
    days["2010-03-01":"2010-03-04"] = 5.0
    change = {
        "2010-03-01": ["PRCP,50,,D,X,"],
        "2010-03-02": ["PRCP,0,T,,X,"],
        "2010-03-03": ["PRCP,-9999,,,,"],
        "2010-03-04": ["PRCP,50,B,,X,"],
    }
    columns = {
        date: f'{rows[0].split(",")[1]},"{",".join(rows[0].split(",")[2:5])}",,,'
        for date, rows in change.items()
    }
    for lines in (element_lines(days, change), column_lines(days, columns)):
        rain = read_lines(tmp_path, lines)
        found = by_check(rain.findings)
        assert found["flagged"].count == found["trace"].count == found["marked missing"].count == 1
        assert rain.missing_days == 2
        assert month(rain, "2010-03-01", "2010-03-04") == pytest.approx([0, 0, 0, 5.0])


def test_a_total_marked_as_missing_is_none(tmp_path: Path) -> None:
    days = made_days()
    value = f"{days['2010-03-03'] * 10:.0f}"
    rain = read_lines(tmp_path, column_lines(days, {"2010-03-03": f'{value},",,X",-9999,",,",-9999'}))
    assert rain.rain_mm == pytest.approx(days.to_numpy())
    assert set(by_check(rain.findings)) == {"unit by form", "short record"}


def test_totals_of_several_days_are_shared_out_and_told(tmp_path: Path) -> None:
    days = made_days()
    days["2010-03-01":"2010-03-05"] = 5.0
    change: dict[str, list[str]] = {
        "2010-03-01": [],
        "2010-03-02": [],
        "2010-03-03": ["MDPR,90,,,X,", "DAPR,3,,,X,"],
    }
    columns = {"2010-03-01": ",,,,", "2010-03-02": ",,,,", "2010-03-03": ',,90,",,X",3'}
    for lines in (element_lines(days, change), column_lines(days, columns)):
        rain = read_lines(tmp_path, lines)
        told = by_check(rain.findings)["total shared out"]
        assert told.first == ("2010-03-03: 9 mm of 3 days",) and told.severity == "warning"
        assert month(rain, "2010-03-01", "2010-03-05") == pytest.approx([3.0, 3.0, 3.0, 5.0, 5.0])
        assert rain.missing_days == 0


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(["MDPR,90,,,X,"], id="days not told"),
        pytest.param(["MDPR,90,,,X,", "DAPR,3,,,X,"], id="a day read by itself"),
        pytest.param(["MDPR,90,,,X,", "DAPR,-9999,,,X,"], id="days missing"),
    ],
)
def test_totals_that_can_not_be_shared_out_are_left_out(tmp_path: Path, rows: list[str]) -> None:
    days = made_days()
    days["2010-03-01":"2010-03-05"] = 5.0
    rain = read_lines(tmp_path, element_lines(days, {"2010-03-02": [], "2010-03-03": rows}))
    found = by_check(rain.findings)
    assert found["total left out"].first == ("2010-03-03: 9 mm",)
    assert "total shared out" not in found and rain.missing_days == 2
    assert month(rain, "2010-03-01", "2010-03-05") == pytest.approx([5.0, 0, 0, 5.0, 5.0])


@pytest.mark.parametrize(("span", "shared"), [(31, True), (32, False)])
def test_totals_of_more_than_a_month_are_left_out(tmp_path: Path, span: int, shared: bool) -> None:
    days = made_days()
    change: dict[str, list[str]] = {
        f"{day:%Y-%m-%d}": [] for day in pd.date_range("2010-03-01", periods=span - 1)
    }
    last = f"{pd.Timestamp('2010-03-01') + pd.Timedelta(days=span - 1):%Y-%m-%d}"
    change[last] = ["MDPR,620,,,X,", f"DAPR,{span},,,X,"]
    rain = read_lines(tmp_path, element_lines(days, change), most_missing_days=60)
    assert ("total shared out" in by_check(rain.findings)) == shared
    assert rain.missing_days == (0 if shared else span)
    assert month(rain, "2010-03-01", "2010-03-31") == pytest.approx([2.0 if shared else 0.0] * 31)


def test_stations_and_elements_that_are_not_there(tmp_path: Path) -> None:
    lines = element_lines(made_days())
    other = [line.replace(STATION, "XQ000OTHERS") for line in lines]
    with pytest.raises(InputError, match=f"2 stations \\({STATION}, XQ000OTHERS\\)"):
        read_lines(tmp_path, lines + other)
    assert len(read_lines(tmp_path, lines + other, station=STATION).dates) == 730
    with pytest.raises(InputError, match=r"no rain \(element PRCP\) but TMAX"):
        read_lines(tmp_path, [line for line in lines if "TMAX" in line])
