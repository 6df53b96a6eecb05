"""``harvest start`` and the weather: which tables it takes for a gauge and for temperatures, and which not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pandas as pd
import pytest

from harvest.project import Settings, read_project
from harvest.project.outputs import Limits
from harvest.read.gauge import read_gauge
from harvest.start import start
from tests.gauges_made import lines_of, made_days, real_record
from tests.test_gauge_ghcn import STATION, column_lines, element_lines
from tests.test_start import named_town, rain_file

LOWS = (-3, -2, 1, 5, 9, 14, 17, 17, 13, 8, 4, -1)
MONTHS = ["month,tmin_c,tmax_c", *(f"{month},{low},{low + 10}" for month, low in enumerate(LOWS, 1))]
VISITS = ["date,parcel,outcome,amount", *(f"2025-05-{day:02},{day},joined,2" for day in range(1, 32))]
NO_GAUGE = "Gauge: none found; days of rain will be made up from the grid's months."
NO_TEMPERATURES = (
    "Temperatures: none found; the garden will ask for the same every week, whatever the weather."
)


def put(folder: Path, name: str, lines: Sequence[str]) -> None:
    (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")


def started(folder: Path) -> tuple[Settings, list[str], str]:
    """What start wrote, what it printed, and the project file as one line without the signs of remarks."""
    if not (folder / "buildings.gpkg").exists():
        named_town(folder)
    report = start(folder)
    text = report.path.read_text(encoding="utf-8")
    return read_project(report.path).settings, list(report.lines), " ".join(text.replace("\n# ", " ").split())


def gauge_lines(lines: list[str]) -> list[str]:
    """The line of the gauge and those that belong to it."""
    first = next(number for number, line in enumerate(lines) if line.startswith("Gauge: "))
    last = next(number for number, line in enumerate(lines) if line.startswith("Temperatures: "))
    return lines[first:last]


def temperature_lines(lines: list[str]) -> list[str]:
    first = next(number for number, line in enumerate(lines) if line.startswith("Temperatures: "))
    return [lines[first], *(line for line in lines[first + 1 :] if line.startswith("  "))]


def test_a_gauge_and_temperatures_with_their_reasons(tmp_path: Path) -> None:
    days = made_days()
    put(tmp_path, "days.csv", lines_of(days))
    put(tmp_path, "months.csv", MONTHS)
    settings, lines, text = started(tmp_path)
    assert settings.gauge is not None and settings.temperature is not None
    assert settings.gauge.model_fields_set == settings.temperature.model_fields_set == {"file"}
    why = (
        "a column says 'rain'; it holds 2 whole years of daily rain, 2010 to 2011, with "
        f"{days.sum() / 2:,.0f} mm a year."
    )
    assert gauge_lines(lines) == [f"Gauge: days.csv: {why}"]
    assert f'Guessed: {why} file = "days.csv"' in text
    why = (
        "a column says 'tmin'; it holds 12 months, from a mean low of -3.0 °C in January to a mean high of "
        "27.0 °C in July."
    )
    assert temperature_lines(lines) == [f"Temperatures: months.csv: {why}"]
    assert f'Guessed: {why} file = "months.csv"' in text
    assert not any(line.startswith("Not used") for line in lines)


def test_no_weather_at_all(tmp_path: Path) -> None:
    settings, lines, text = started(tmp_path)
    assert settings.gauge is None and settings.temperature is None
    assert gauge_lines(lines) == [NO_GAUGE] and temperature_lines(lines) == [NO_TEMPERATURES]
    assert "[gauge] A record of daily rain" in text and "file = …" in text


def test_a_grid_of_whole_years_can_not_make_days_up(tmp_path: Path) -> None:
    named_town(tmp_path)
    rain_file(tmp_path, bands=1)
    assert gauge_lines(started(tmp_path)[1]) == [
        "Gauge: none found; the grid has no months to make days up from, so nothing will be said of barrels."
    ]


@pytest.mark.parametrize(
    ("name", "lines", "what"),
    [
        ("visits_2025.csv", VISITS, "a visit log"),
        ("log.csv", VISITS, "a visit log"),
        ("attempts.csv", ["date,parcel,attempts", "2025-05-06,11,2"], "a table"),
        ("drainage_reports.csv", ["longitude,latitude,date,depth", "-70.3,42.3,2022-01-02,30"], "points"),
        ("river gauge.csv", ["date,value", *(f"2022-01-{day:02},1.2" for day in range(1, 32))], "a table"),
        ("sales.csv", ["date,rain_barrels", "2022-01-02,3"], "a table"),
        ("sites.csv", ["date,rain_type", "2022-01-02,drizzle"], "a table"),
        ("doors.csv", ["date,outcome,rain", "2025-05-06,joined,1"], "a visit log"),
    ],
)
def test_other_tables_with_dates_are_no_gauge(tmp_path: Path, name: str, lines: list[str], what: str) -> None:
    put(tmp_path, name, lines)
    settings, told, _ = started(tmp_path)
    assert settings.gauge is None and settings.temperature is None
    assert gauge_lines(told) == [NO_GAUGE] and temperature_lines(told) == [NO_TEMPERATURES]
    if what == "a visit log":
        assert settings.visits is not None and settings.visits.file == name
    else:
        assert f"Not used by this version: {name}, {what}." in told


def with_names(days: pd.Series) -> list[str]:
    return ["ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME", *element_lines(days)]


def heat_first(days: pd.Series) -> list[str]:
    """The first row, in which the names would stand, is one of TMAX."""
    return element_lines(days)[1:]


@pytest.mark.parametrize(
    ("form", "sign"),
    [
        (element_lines, "its rows are those of GHCN-Daily (ID, DATE, ELEMENT, DATA_VALUE)"),
        (heat_first, "its rows are those of GHCN-Daily (ID, DATE, ELEMENT, DATA_VALUE)"),
        (with_names, "its elements are those of GHCN-Daily, PRCP among them"),
        (column_lines, "a column says 'prcp'"),
    ],
)
def test_ghcn_daily_is_a_gauge_and_no_temperatures(
    tmp_path: Path, form: Callable[[pd.Series], list[str]], sign: str
) -> None:
    """Its name says nothing; its TMAX is a day's and not a month's, which needs no word."""
    put(tmp_path, f"{STATION}.csv", form(made_days()))
    settings, lines, _ = started(tmp_path)
    assert settings.gauge is not None and settings.gauge.model_fields_set == {"file"}
    assert gauge_lines(lines)[0].startswith(f"Gauge: {STATION}.csv: {sign}; it holds 2 whole years")
    assert f"{made_days().sum() / 2:,.0f} mm a year" in gauge_lines(lines)[0]
    assert temperature_lines(lines) == [NO_TEMPERATURES]


def test_a_real_climate_record_is_a_gauge(tmp_path: Path) -> None:
    """Daily rain, heat and evaporation of Tunis between tabs."""
    real_record(tmp_path, "tunis")
    settings, lines, _ = started(tmp_path)
    assert settings.gauge is not None and settings.gauge.file == "tunis.csv"
    assert gauge_lines(lines)[0].startswith("Gauge: tunis.csv: a column says 'prcp'; it holds 23 whole years")
    assert temperature_lines(lines) == [NO_TEMPERATURES]


def test_a_unit_that_is_missing_is_asked_for_and_not_guessed(tmp_path: Path) -> None:
    put(tmp_path, "days.csv", lines_of(made_days(), head="date,rain"))
    settings, lines, text = started(tmp_path)
    assert settings.gauge is not None and settings.gauge.model_fields_set == {"file"}
    head, asked = gauge_lines(lines)
    assert (
        head == "Gauge: days.csv: a column says 'rain'; it holds 2 whole years of daily rain, 2010 to 2011."
    )
    assert asked.startswith(
        "  days.csv does not say the unit of its column 'rain'; set unit in [gauge] to one of"
    )
    assert f"In your files: {asked.strip()} unit = …" in text
    told = settings.gauge.model_copy(update={"unit": "mm"})
    assert read_gauge(told, tmp_path, Limits()).years == (2010, 2011)


def test_a_station_and_a_unit_that_are_missing_are_both_asked_for(tmp_path: Path) -> None:
    days = lines_of(made_days(), head="date,rain")
    rows = [f"{station},{line}" for station in ("quay", "hill") for line in days[1:]]
    put(tmp_path, "days.csv", [f"station,{days[0]}", *rows])
    settings, lines, text = started(tmp_path)
    assert settings.gauge is not None and settings.gauge.model_fields_set == {"file"}
    head, station, unit = gauge_lines(lines)
    assert head == "Gauge: days.csv: a column says 'rain'; it holds daily rain."
    assert station == "  days.csv holds 2 stations (quay, hill); say which one with station = in [gauge]."
    assert unit.startswith("  days.csv does not say the unit")
    assert f"In your files: {station.strip()}" in text and f"In your files: {unit.strip()}" in text


def test_two_columns_of_rain_are_asked_about(tmp_path: Path) -> None:
    days = lines_of(made_days(), head="date,rain")
    rows = [f"{line},{line.split(',')[1]}" for line in days[1:]]
    put(tmp_path, "days.csv", ["date,rain_north,rain_south", *rows])
    settings, lines, _ = started(tmp_path)
    assert settings.gauge is not None and settings.gauge.model_fields_set == {"file"}
    _, column, unit = gauge_lines(lines)
    assert column == (
        "  days.csv has several columns that may be rain: rain_north, rain_south; say which with rain = in [gauge]."
    )
    assert unit.startswith("  days.csv does not say the unit of its column 'rain_north'")


def test_of_several_gauges_the_longest_is_taken(tmp_path: Path) -> None:
    """One that lacks its unit comes last, however long it is."""
    put(tmp_path, "a.csv", lines_of(made_days()))
    put(tmp_path, "b.csv", lines_of(made_days("2008-01-01", "2011-12-31")))
    put(tmp_path, "c.csv", lines_of(made_days("2000-01-01", "2011-12-31"), head="date,rain"))
    settings, lines, text = started(tmp_path)
    assert settings.gauge is not None and settings.gauge.file == "b.csv"
    head, second, third = gauge_lines(lines)
    assert head.startswith("Gauge: b.csv: ") and "4 whole years" in head
    assert head.endswith(
        "taken before a.csv, c.csv, by what can be read as it stands, then by the longest record."
    )
    assert second.startswith("  Not used: a.csv: ") and "2 whole years" in second
    assert third.startswith("  Not used: c.csv: ") and "12 whole years" in third
    assert "taken before a.csv, c.csv" in text


@pytest.mark.parametrize(
    ("content", "trouble"),
    [
        pytest.param(b"", "its name says 'rain': rain_days.csv is empty", id="empty"),
        pytest.param(b"date,rain_mm\x00\x01\n", "its name says 'rain': rain_days.csv is no CSV", id="binary"),
        pytest.param(
            "\n".join(lines_of(made_days("2010-03-01", "2010-06-30"))).encode(),
            "a column says 'rain': rain_days.csv has no whole year: at best 2010, with 243 days missing",
            id="four months",
        ),
        pytest.param(
            b"month,rain_mm\n1,80\n2,70\n",
            "a column says 'rain': rain_days.csv has no column that is called date",
            id="months",
        ),
        pytest.param(
            b"date,rain\n3/4/2015,1\n4/4/2015,2\n",
            "a column says 'rain': rain_days.csv leaves open whether 3/4/2015 is day 3 of month 4",
            id="order of dates",
        ),
    ],
)
def test_a_gauge_that_can_not_be_read_is_told_and_left_out(
    tmp_path: Path, content: bytes, trouble: str
) -> None:
    (tmp_path / "rain_days.csv").write_bytes(content)
    settings, lines, _ = started(tmp_path)
    assert settings.gauge is None
    first, second = gauge_lines(lines)
    assert first == NO_GAUGE and second.startswith(f"  Not used, though {trouble}")
    assert not any(line.startswith("Not used by this version: rain_days.csv") for line in lines)


def test_monthly_normals_of_rain_and_heat_are_temperatures_only(tmp_path: Path) -> None:
    put(tmp_path, "normals.csv", ["rain_mm," + MONTHS[0], *(f"80,{line}" for line in MONTHS[1:])])
    settings, lines, _ = started(tmp_path)
    assert settings.gauge is None and gauge_lines(lines) == [NO_GAUGE]
    assert settings.temperature is not None and settings.temperature.file == "normals.csv"


def test_temperatures_without_a_unit_are_asked_about(tmp_path: Path) -> None:
    put(tmp_path, "climate.csv", ["Month,Low,High", *MONTHS[1:]])
    settings, lines, text = started(tmp_path)
    assert settings.temperature is not None and settings.temperature.model_fields_set == {"file"}
    assert temperature_lines(lines) == [
        "Temperatures: climate.csv: its name says 'climate'; it holds lows and highs of 12 months.",
        "  climate.csv does not say its unit in the names of its columns (Low, High); set unit in [temperature] to "
        '"C" or "F".',
    ]
    assert "In your files: climate.csv does not say its unit" in text


def test_temperatures_that_lack_a_month_are_told_and_left_out(tmp_path: Path) -> None:
    put(tmp_path, "months.csv", MONTHS[:-1])
    settings, lines, _ = started(tmp_path)
    assert settings.temperature is None
    assert temperature_lines(lines) == [
        NO_TEMPERATURES,
        "  Not used, though a column says 'tmin': months.csv lacks December; give one row for each of the 12 months.",
    ]


def test_of_two_tables_of_temperatures_the_one_with_a_unit_is_taken(tmp_path: Path) -> None:
    put(tmp_path, "a.csv", ["month,tmin,tmax", *MONTHS[1:]])
    put(tmp_path, "b.csv", MONTHS)
    settings, lines, _ = started(tmp_path)
    assert settings.temperature is not None and settings.temperature.file == "b.csv"
    assert "taken before a.csv" in temperature_lines(lines)[0]
    assert temperature_lines(lines)[1].startswith("  Not used: a.csv: ")


def test_paths_start_from_the_project_file(tmp_path: Path) -> None:
    layers, projects = tmp_path / "layers", tmp_path / "projects"
    layers.mkdir()
    projects.mkdir()
    named_town(layers)
    put(layers, "days.csv", lines_of(made_days()))
    put(layers, "months.csv", MONTHS)
    settings = read_project(start(layers, projects / "town.toml").path).settings
    assert settings.gauge is not None and settings.temperature is not None
    assert settings.gauge.file == "../layers/days.csv"
    assert settings.temperature.file == "../layers/months.csv"
