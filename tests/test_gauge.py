"""Daily rain: the shapes that records come in, what is missing or odd in them, and the years that are kept."""

from __future__ import annotations

from importlib.metadata import distribution
from pathlib import Path
from typing import get_args

import numpy as np
import pandas as pd
import pytest
from gauges_made import REAL, by_check, changed, lines_of, made_days, read_lines, real_rain

from harvest.errors import InputError
from harvest.layers import DailyRain
from harvest.project.gauge import Gauge, GaugeUnit
from harvest.project.outputs import Limits
from harvest.read.gauge import MM_PER_UNIT, read_gauge

SAMPLE = Path(__file__).parents[1] / "data" / "sample"


def totals(rain: DailyRain) -> dict[int, float]:
    years = rain.dates.astype("datetime64[Y]").astype(int) + 1970
    return {int(year): round(float(rain.rain_mm[years == year].sum()), 1) for year in rain.years}


def same_days(rain: DailyRain, days: pd.Series) -> None:
    assert (rain.dates == days.index.to_numpy().astype("datetime64[D]")).all()
    assert rain.rain_mm == pytest.approx(days.to_numpy(), abs=1e-9)


@pytest.mark.parametrize(
    ("name", "years", "mean_mm"),
    [
        ("champion", (1982, 2018), 414),
        ("brussels", (1976, 2005), 841),
        ("tunis", (1979, 2001), 457),
        ("hyderabad", (2000, 2010), 962),
        ("cordoba", (1991, 2021), 867),
    ],
)
def test_real_records_set_apart_by_white_space(
    tmp_path: Path, name: str, years: tuple[int, int], mean_mm: int
) -> None:
    """Year means as they were measured from the same files by other means."""
    rain = real_rain(tmp_path, name)
    assert rain.years == tuple(range(years[0], years[1] + 1)) and rain.missing_days == 0
    assert rain.rain_mm.sum() / len(rain.years) == pytest.approx(mean_mm, abs=0.6)
    assert len(rain.dates) == (
        np.datetime64(f"{years[1] + 1}-01-01") - np.datetime64(f"{years[0]}-01-01")
    ).astype(int)
    expected = {"year begun or broken off"} if name == "tunis" else set()
    assert set(by_check(rain.findings)) == expected
    assert len(REAL) == 5 and not rain.generated and rain.sources[0].role == "gauge"


def test_a_real_record_of_four_years() -> None:
    """vega_datasets' seattle-weather.csv: 1226.0, 828.0, 1232.8 and 1139.2 mm, slashed dates, a leap year."""
    folder = Path(str(distribution("vega_datasets").locate_file("vega_datasets/_data")))
    with pytest.raises(InputError, match=r'does not say the unit.*"mm" \(1,106 mm a year\)'):
        read_gauge(Gauge(file="seattle-weather.csv"), folder, Limits())
    rain = read_gauge(Gauge(file="seattle-weather.csv", unit="mm"), folder, Limits())
    assert totals(rain) == {2012: 1226.0, 2013: 828.0, 2014: 1232.8, 2015: 1139.2}
    assert len(rain.dates) == 366 + 3 * 365
    assert by_check(rain.findings)["short record"].severity == "warning"


def test_every_fault_planted_in_the_sample_is_found() -> None:
    """data/sample/README.md: 12 blank days in 2011, no rows for 3 days of 2017, a weekend read on the Monday."""
    rain = read_gauge(Gauge(file="gauge_daily.csv"), SAMPLE, Limits())
    found = by_check(rain.findings)
    assert set(found) == {"year left out", "days missing", "late reading"}
    assert "2011 (12 days)" in found["year left out"].message
    assert found["days missing"].first == (
        "2015-10-03", "2015-10-04", "2017-06-21", "2017-06-22", "2017-06-23",
    )  # fmt: skip
    assert found["late reading"].first == ("2015-10-05: 18.2 mm after 2 days without",)
    assert rain.years == tuple(year for year in range(2004, 2024) if year != 2011)
    assert rain.missing_days == 5 and not np.isnan(rain.rain_mm).any()
    assert rain.rain_mm[rain.dates == np.datetime64("2017-06-22")] == 0


@pytest.mark.parametrize("date", ["%Y-%m-%d", "%Y/%m/%d", "%Y%m%d", "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y",
                                  "%d-%b-%Y", "%d %B %Y", "%b %d %Y", "%Y-%m-%dT07:00:00"])  # fmt: skip
def test_ways_of_writing_dates(tmp_path: Path, date: str) -> None:
    """2012 has a 29 February; day or month first is settled by the whole column."""
    days = made_days("2011-01-01", "2012-12-31")
    rain = read_lines(tmp_path, lines_of(days, date))
    same_days(rain, days)
    assert set(by_check(rain.findings)) == {"short record"}


def test_separators_marks_and_rows_in_any_order(tmp_path: Path) -> None:
    days = made_days()
    lines = lines_of(days)
    for sign in (";", "\t", "|"):
        same_days(read_lines(tmp_path, [line.replace(",", sign) for line in lines]), days)
    comma = [line.replace(",", ";").replace(".", ",") for line in lines]
    same_days(read_lines(tmp_path, comma), days)
    same_days(read_lines(tmp_path, [lines[0], *reversed(lines[1:])]), days)
    same_days(read_lines(tmp_path, ["# a remark", "", *lines, "", ""]), days)
    same_days(
        read_lines(tmp_path, ["\ufeff" + lines[0], *(f'"{line[:10]}",{line[11:]},' for line in lines[1:])]),
        days,
    )


def test_three_columns_of_dates_and_columns_by_name(tmp_path: Path) -> None:
    days = made_days()
    plain = lines_of(days, "%Y,%m,%d", "year,month,day,rain_mm")
    same_days(read_lines(tmp_path, plain), days)
    named = lines_of(days, "%d,%b,%Y", "jour,mois,annee,pluie")
    same_days(read_lines(tmp_path, named, date=["annee", "mois", "jour"], rain="pluie", unit="mm"), days)
    same_days(read_lines(tmp_path, lines_of(days, head="d,value"), date="d", unit="mm"), days)
    with pytest.raises(
        InputError, match=r"no column 'dat' \(date in the project file\); did you mean 'date'"
    ):
        read_lines(tmp_path, lines_of(days), date="dat")
    with pytest.raises(InputError, match="no column that is called date"):
        read_lines(tmp_path, lines_of(days, head="when,rain_mm"))
    with pytest.raises(
        InputError, match="no column that is called rain or precipitation; there are date, level"
    ):
        read_lines(tmp_path, lines_of(days, head="date,level"))
    two = ["date,rain_mm,rain_in", *(f"{line},0.0" for line in lines_of(days)[1:])]
    with pytest.raises(InputError, match="several columns that may be rain: rain_mm, rain_in"):
        read_lines(tmp_path, two)
    same_days(read_lines(tmp_path, two, rain="rain_mm"), days)


@pytest.mark.parametrize(
    ("column", "unit"),
    [("rain_mm", "mm"), ("Prcp(mm)", "mm"), ("Precip [0.1 mm]", "0.1 mm"), ("precip_tenths_mm", "0.1 mm"),
     ("rain (inches)", "inch"), ("precip_in", "inch"), ("Precip 0.01 in", "0.01 inch")],
)  # fmt: skip
def test_units_in_names(tmp_path: Path, column: str, unit: GaugeUnit) -> None:
    days = made_days()
    rain = read_lines(tmp_path, lines_of(days, head=f"date,{column}"))
    assert rain.rain_mm == pytest.approx(days.to_numpy() * MM_PER_UNIT[unit])
    said = read_lines(tmp_path, lines_of(days, head=f"date,{column}"), unit="mm")
    same_days(said, days)
    assert ("unit contradicted" in by_check(said.findings)) == (unit != "mm")


def test_units_are_exact() -> None:
    assert set(MM_PER_UNIT) == set(get_args(GaugeUnit))
    assert MM_PER_UNIT == {"mm": 1.0, "0.1 mm": 0.1, "inch": 25.4, "0.01 inch": 0.254}


def test_a_record_without_a_unit_is_refused_with_what_each_would_mean(tmp_path: Path) -> None:
    days = made_days()
    mean = days.sum() / (len(days) / 365.25)
    with pytest.raises(
        InputError, match=rf'column \'rain\'; set unit .*"inch" \({mean * 25.4:,.0f} mm a year\)'
    ):
        read_lines(tmp_path, lines_of(days, head="date,rain"))


def test_text_in_numbers_negatives_and_impossible_figures(tmp_path: Path) -> None:
    days = made_days()
    lines = changed(
        lines_of(days),
        {"2010-03-01": "abc", "2010-03-02": "5.0*", "2010-03-03": "-3.0", "2010-03-04": "2500.0",
         "2010-03-05": "T", "2010-03-06": "-9999", "2010-03-07": "NA"},
    )  # fmt: skip
    rain = read_lines(tmp_path, lines)
    found = by_check(rain.findings)
    line = 1 + 31 + 28 + 1
    assert found["text in numbers"].first == (f"line {line}: abc", f"line {line + 1}: 5.0*")
    assert found["negative"].first == (f"line {line + 2}: -3.0",)
    assert found["impossible depth"].first == (f"line {line + 3}: 2500.0",)
    assert found["trace"].count == 1 and found["trace"].severity == "note"
    assert found["marked missing"].first == (f"line {line + 5}: -9999",)
    assert rain.missing_days == found["days missing"].count == 6
    days["2010-03-01":"2010-03-07"] = 0.0
    same_days(rain, days)
    assert "impossible depth" not in by_check(
        read_lines(tmp_path, changed(lines_of(days), {"2010-03-04": "1900.0"}), most_mm_day=2000.0).findings
    )


def test_nines_that_stand_for_no_reading(tmp_path: Path) -> None:
    days = made_days()
    marks = {f"2010-04-0{n}": "999.9" for n in range(1, 5)}
    found = by_check(read_lines(tmp_path, changed(lines_of(days), marks)).findings)
    assert found["marked missing"].count == found["days missing"].count == 4
    once = read_lines(tmp_path, changed(lines_of(days), {"2010-04-01": "999.9"}))
    assert "marked missing" not in by_check(once.findings) and once.rain_mm.max() == 999.9


def test_a_column_of_text_is_refused(tmp_path: Path) -> None:
    lines = ["date,rain_mm", *(f"{line[:10]},wet" for line in lines_of(made_days())[1:])]
    with pytest.raises(InputError, match=r"no numbers in its column 'rain_mm' \(line 2: wet\)"):
        read_lines(tmp_path, lines)


def test_mixed_orders_are_refused(tmp_path: Path) -> None:
    one, two = (
        lines_of(made_days("2010-01-01", "2010-12-31"), "%d/%m/%Y"),
        lines_of(made_days("2011-01-01"), "%m/%d/%Y"),
    )
    with pytest.raises(
        InputError,
        match=r"day first \(13/01/2010 in line 14\) and the month first \(01/13/2011 in line 379\)",
    ):
        read_lines(tmp_path, one + two[1:])
    iso = lines_of(made_days("2011-01-01"))
    with pytest.raises(InputError, match=r"mixes two ways of writing dates .* a spreadsheet"):
        read_lines(tmp_path, one + iso[1:])


def test_an_order_that_nothing_decides(tmp_path: Path) -> None:
    days = made_days()
    few = days[days.index.day <= 12]
    lines = lines_of(few, "%d/%m/%Y")
    with pytest.raises(
        InputError, match=r"whether 01/01/2010 is day 1 of month 1 .*date_order to \"day first\" or"
    ):
        read_lines(tmp_path, lines)
    with pytest.raises(InputError, match="no whole year") as caught:
        read_lines(tmp_path, lines, date_order="day first")
    assert "221 days missing" in str(caught.value)
    with pytest.raises(InputError, match=r"day first, as 13/01/2010 in line 14 shows.*month first"):
        read_lines(tmp_path, lines_of(days, "%d/%m/%Y"), date_order="month first")
    same_days(read_lines(tmp_path, lines_of(days, "%d/%m/%Y"), date_order="day first"), days)


def test_two_digit_years_and_other_dates_that_are_none(tmp_path: Path) -> None:
    days = made_days()
    with pytest.raises(InputError, match="years with two digits"):
        read_lines(tmp_path, lines_of(days, "%d/%m/%y"))
    with pytest.raises(InputError, match=r"no dates in its column 'date' \(day 001\)"):
        read_lines(tmp_path, lines_of(days, "day %j"))
    with pytest.raises(InputError, match="dates of 730 that can't be"):
        read_lines(tmp_path, lines_of(days, "%Y-%d-%m"))


def test_impossible_and_unreadable_days_are_told(tmp_path: Path) -> None:
    days = made_days()
    rain = read_lines(tmp_path, [*lines_of(days), "2010-02-30,4.0", "2011-02-29,1.0", "soon,2.0"])
    found = by_check(rain.findings)
    assert found["day impossible"].first == ("line 732: 2010-02-30", "line 733: 2011-02-29")
    assert found["date unreadable"].first == ("line 734: soon",)
    same_days(rain, days)
    parts = lines_of(days, "%Y,%m,%d", "year,month,day,rain_mm")
    found = by_check(read_lines(tmp_path, [*parts, "2010,2,30,4.0"]).findings)
    assert found["day impossible"].first == ("line 732: 2010-2-30",)


@pytest.mark.parametrize("zone", ["Z", "+02:00", "-0500", " UTC", " EST"])
def test_time_zone_stamps_count_for_the_date_as_written(tmp_path: Path, zone: str) -> None:
    days = made_days()
    rain = read_lines(tmp_path, lines_of(days, f"%Y-%m-%d 23:30:00{zone}"))
    same_days(rain, days)
    told = by_check(rain.findings)["time of day ignored"]
    assert told.count == 730 and zone.strip() in told.message and told.severity == "note"


def test_several_readings_a_day_are_refused(tmp_path: Path) -> None:
    days = made_days()
    hours = [
        f"{line[:10]} {hour:02d}:00{line[10:]}" for line in lines_of(days)[1:] for hour in (0, 6, 12, 18)
    ]
    with pytest.raises(InputError, match=r"several readings a day \(4 on 2010-01-01\); add them up"):
        read_lines(tmp_path, ["date,rain_mm", *hours])


def test_days_that_stand_twice(tmp_path: Path) -> None:
    days = made_days()
    days["2010-05-02"], days["2010-05-03"] = 3.0, 4.0
    lines = [*lines_of(days), "2010-05-02,3.0", "2010-05-03,9.0", "2010-05-04,"]
    rain = read_lines(tmp_path, lines)
    found = by_check(rain.findings)
    assert found["day repeated"].first == ("2010-05-02", "2010-05-04")
    assert found["day contradicted"].first == ("2010-05-03",)
    same_days(rain, days)


def test_two_stations(tmp_path: Path) -> None:
    days = made_days()
    here, there = lines_of(days), lines_of(days + 1)
    unmarked = here + there[1:]
    with pytest.raises(InputError, match=r"two readings that differ on 730 days.*two stations"):
        read_lines(tmp_path, unmarked)
    marked = [
        "station,date,rain_mm",
        *(f"East,{line}" for line in here[1:]),
        *(f"West,{line}" for line in there[1:]),
    ]
    with pytest.raises(InputError, match=r"2 stations \(East, West\); say which one with station"):
        read_lines(tmp_path, marked)
    rain = read_lines(tmp_path, marked, station="West")
    same_days(rain, days + 1)
    assert by_check(rain.findings)["other stations"].count == 730
    with pytest.raises(InputError, match="no station 'west'; did you mean 'West'"):
        read_lines(tmp_path, marked, station="west")
    with pytest.raises(InputError, match="no column of stations"):
        read_lines(tmp_path, here, station="West")


def test_gaps_leave_years_out_or_count_as_dry(tmp_path: Path) -> None:
    days = made_days("2009-07-01", "2014-03-31")
    days["2010-06-01":"2010-06-10"] = np.nan
    days["2012-06-01":"2012-06-11"] = np.nan
    days = days.drop(pd.date_range("2013-08-01", "2013-08-02"))
    rain = read_lines(tmp_path, lines_of(days))
    found = by_check(rain.findings)
    assert rain.years == (2010, 2011, 2013) and rain.missing_days == 12
    assert found["days missing"].count == 12 and "12 of 1,095" in found["days missing"].message
    assert found["year left out"].first == ("2012",) and "2012 (11 days)" in found["year left out"].message
    assert found["year begun or broken off"].first == ("2009", "2014")
    assert (np.diff(rain.dates[:730]) == np.timedelta64(1, "D")).all() and len(rain.dates) == 1095
    assert 2012 in read_lines(tmp_path, lines_of(days), most_missing_days=11).years
    with pytest.raises(InputError, match="no whole year: at best 2013, with 62 days missing"):
        read_lines(tmp_path, lines_of(days["2013-03-02":]))


def test_one_year_is_kept_and_is_serious(tmp_path: Path) -> None:
    rain = read_lines(tmp_path, lines_of(made_days("2012-01-01", "2012-12-31")))
    assert rain.years == (2012,) and len(rain.dates) == 366
    assert by_check(rain.findings)["short record"].severity == "serious"
    ten = read_lines(tmp_path, lines_of(made_days("2001-01-01", "2010-12-31")))
    assert ten.findings == ()


def test_no_rain_at_all(tmp_path: Path) -> None:
    days = made_days()
    with pytest.raises(InputError, match=r"no rain at all in 730 days; check the column 'rain_mm'"):
        read_lines(tmp_path, lines_of(days * 0))
    dry = days.copy()
    dry["2011"] = 0.0
    long = pd.concat([made_days("2008-01-01", "2009-12-31"), dry])
    told = by_check(read_lines(tmp_path, lines_of(long)).findings)["year nearly dry"]
    assert told.first == ("2011",) and told.severity == "serious"


def test_high_readings_after_a_short_gap_are_told_and_others_are_not(tmp_path: Path) -> None:
    days = made_days()
    gaps = {"2010-02-02": 4, "2010-05-05": 4, "2010-08-06": 5}
    for day, length in gaps.items():
        end = pd.Timestamp(day)
        days[end - pd.Timedelta(days=length) : end - pd.Timedelta(days=1)] = np.nan
    days["2010-02-02"], days["2010-05-05"], days["2010-08-06"] = 40.0, 0.2, 40.0
    rain = read_lines(tmp_path, lines_of(days), most_missing_days=20)
    told = by_check(rain.findings)["late reading"]
    assert told.first == ("2010-02-02: 40 mm after 4 days without",)
    assert rain.rain_mm.max() >= 40.0


def test_totals_read_on_mondays(tmp_path: Path) -> None:
    days = made_days("2005-01-01", "2008-12-31")
    assert set(by_check(read_lines(tmp_path, lines_of(days)).findings)) == {"short record"}
    weekday = days.index.day_of_week
    late = days.copy()
    late[weekday == 0] += late.shift(1)[weekday == 0].fillna(0) + late.shift(2)[weekday == 0].fillna(0)
    late[weekday >= 5] = 0.0
    told = by_check(read_lines(tmp_path, lines_of(late)).findings)["weekday totals"]
    assert (
        told.message.startswith("Mondays have") and "Sundays" in told.message and told.severity == "serious"
    )
    blank = days.where(weekday < 5)
    with pytest.raises(InputError, match="read on weekdays only"):
        read_lines(tmp_path, lines_of(blank))


def test_files_that_can_not_be_read(tmp_path: Path) -> None:
    days = made_days()
    with pytest.raises(InputError, match="no names of columns in its first row"):
        read_lines(tmp_path, lines_of(days)[1:])
    with pytest.raises(InputError, match="names of columns but no rows"):
        read_lines(tmp_path, ["date,rain_mm"])
    with pytest.raises(InputError, match="no rows"):
        read_lines(tmp_path, ["# nothing"])
    with pytest.raises(InputError, match="3 cells in line 3 where its first row has 2 names"):
        read_lines(tmp_path, ["date,rain_mm", "2010-01-01,1.0", "2010-01-02,1.0,7"])
    with pytest.raises(InputError, match=r"2 cells in line 3 where its first row has 4 names; .* by commas"):
        read_lines(tmp_path, ["Day Month Year Rain(mm)", "1 1 2010 0.0", "2 1"])
    with pytest.raises(InputError, match="two columns called 'rain_mm'"):
        read_lines(tmp_path, ["date,rain_mm,rain_mm", "2010-01-01,1.0,1.0"])
    with pytest.raises(InputError, match="no such file"):
        read_gauge(Gauge(file="none.csv"), tmp_path, Limits())
    with pytest.raises(InputError, match="too large for"):
        read_gauge(Gauge(file="gauge_daily.csv"), SAMPLE, Limits(memory_gb=0.001))
    (tmp_path / "latin.csv").write_bytes(
        "\n".join(lines_of(days, head="date,rain_mm")).encode() + b"\n2011-12-31,\xb5"
    )
    assert "text in numbers" in by_check(read_gauge(Gauge(file="latin.csv"), tmp_path, Limits()).findings)


def test_reading_changes_nothing_and_repeats_itself(tmp_path: Path) -> None:
    lines = lines_of(made_days())
    one = read_lines(tmp_path, lines)
    before = (tmp_path / "gauge.csv").read_bytes()
    two = read_gauge(Gauge(file="gauge.csv"), tmp_path, Limits())
    assert one.rain_mm.tobytes() == two.rain_mm.tobytes() and one.findings == two.findings
    assert (tmp_path / "gauge.csv").read_bytes() == before
    assert (one.months == [day.month - 1 for day in one.dates.astype(object)]).all()
