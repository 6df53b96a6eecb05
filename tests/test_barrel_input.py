"""Bad input for what barrels deliver, the whole way from the command: one message or one finding, and nothing lost.

What each reader says of each fault stands in the tests of the readers; here it is that the command ends as it should,
names the file or the section, leaves the last result as it was, and changes no input.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from gauges_made import lines_of
from small_town import LOTS, Lot, gauge_days, project_file, small_town, write_gauge, write_rain

from harvest.cli import main
from harvest.fields.barrels import PARCEL_FIELDS
from harvest.result import Result

Spoil = Callable[[Path], object]
FEW = {name: LOTS[name] for name in ("house", "tight", "vacant")}
PLAIN: dict[str, Any] = {"temperature": None}


def harvest(*arguments: str | Path) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of one command; a traceback fails the test."""
    ended = CliRunner().invoke(main, [str(one) for one in arguments])
    assert ended.exception is None or isinstance(ended.exception, SystemExit), ended.exc_info
    return ended.exit_code, ended.stdout, ended.stderr


def digests(folder: Path) -> dict[str, str]:
    """What every file below ``folder`` holds."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def stood(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project file of a small town that was run once and whose last result stands."""
    project = small_town(tmp_path_factory.mktemp("stood"), FEW, **PLAIN)
    code, _, err = harvest("run", project)
    assert code == 0, err
    return project


def gauge(lines: list[str], name: str = "gauge.csv") -> Spoil:
    """Writes ``lines`` as the gauge's file."""
    return lambda folder: (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")


def temperatures(low: float, high: float) -> Spoil:
    rows = "".join(f"{month},{low},{high if month != 7 else low - 1}\n" for month in range(1, 13))
    return lambda folder: (folder / "temperature.csv").write_text("month,tmin_c,tmax_c\n" + rows)


def mixed_orders() -> list[str]:
    days = gauge_days()
    first = lines_of(days[days.index.year == 2010], date="%d/%m/%Y")
    return first + lines_of(days[days.index.year > 2010], date="%m/%d/%Y")[1:]


def two_stations() -> list[str]:
    lines = lines_of(gauge_days())
    return ["station," + lines[0], *(f"{name},{line}" for name in ("East", "West") for line in lines[1:])]


def tariff(*blocks: dict[str, float]) -> dict[str, Any]:
    return {"tariff": {"per": "m3", "blocks": list(blocks)}}


REFUSED: dict[str, tuple[dict[str, Any], Spoil | None, str]] = {
    "gauge of words": (PLAIN, gauge(["date,rain_mm", *(f"{day:%Y-%m-%d},wet" for day in gauge_days().index)]),
                       r"\[gauge\] gauge.csv .*no numbers in its column 'rain_mm'"),
    "mixed date orders": (PLAIN, gauge(mixed_orders()), r"\[gauge\] gauge.csv .*13/01/2010.*01/13/2011"),
    "two stations in one file": (PLAIN, gauge(two_stations()), r"\[gauge\] gauge.csv .*2 stations \(East, West\)"),
    "no rain at all": (PLAIN, gauge(lines_of(gauge_days() * 0)), r"\[gauge\] gauge.csv .*no rain at all in 1,096 days"),
    "half a year": (PLAIN, gauge(lines_of(gauge_days()[:180])), r"\[gauge\] gauge.csv .*no whole year"),
    "no such gauge": (PLAIN | {"gauge": {"file": "missing.csv"}}, None, r"\[gauge\] missing.csv"),
    "no such station": (PLAIN | {"gauge": {"station": "North"}}, gauge(two_stations()), "no station 'North'"),
    "high below low": ({}, temperatures(5, 15), r"\[temperature\] temperature.csv .*a high below the low in July"),
    "negative price": (PLAIN | tariff({"price": -2.0}), None, r"\[tariff\] blocks.0.price = -2.0"),
    "blocks out of order": (PLAIN | tariff({"up_to": 20.0, "price": 2.0}, {"up_to": 9.0, "price": 3.0}, {"price": 4.0}),
                            None, r"\[tariff\] blocks: the blocks end at 20, 9; put them in order"),
    "last block ends": (PLAIN | tariff({"up_to": 20.0, "price": 2.0}), None, r"\[tariff\] blocks: the last block ends"),
    "a barrel all dead": (PLAIN | {"barrel": {"volume_l": 30.0, "dead_l": 31.0}}, None,
                          r"\[barrel\]: dead_l and head_l \(42.4 L\) leave nothing of volume_l \(30 L\)"),
    "negative garden": (PLAIN | {"garden": {"area_m2": -1.0}}, None, r"\[garden\] area_m2 = -1.0"),
    "share above one": (PLAIN | {"downspouts": {"usable_share": 1.5}}, None, r"\[downspouts\] usable_share = 1.5"),
    "unknown planting": (PLAIN | {"garden": {"planting": "lawn"}}, None, r"\[garden\] planting = 'lawn'"),
    "begin above most": (PLAIN | {"barrel": {"begin_with": 5}}, None,
                         r"\[barrel\]: begin_with is more than suggest_most"),
    "misspelt setting": (PLAIN | {"barrel": {"volume_gal": 55.0}}, None, "did you mean volume_l"),
    "no days for losses by event": (PLAIN | {"losses": {"way": "event"}, "gauge": None, "season": None},
                                    lambda folder: write_rain(folder, bands=1), r"\[gauge\].*\[losses\] way"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_can_not_be_used_is_one_message_and_the_last_result_stays(stood: Path, name: str) -> None:
    sections, spoil, message = REFUSED[name]
    folder = stood.parent
    before = digests(folder)
    try:
        project_file(folder, **sections)
        if spoil is not None:
            spoil(folder)
        spoilt = digests(folder)
        code, out, err = harvest("run", stood)
        assert digests(folder) == spoilt
    finally:
        small_town(folder, FEW, **PLAIN)
    assert (code, out) == (2, "")
    assert err.startswith("harvest: ")
    assert err.count("\n") == 1
    assert pd.Series([err]).str.contains(message).all(), err
    assert digests(folder) == before


def ran(project: Path) -> Result:
    """The result of a run that goes through, inputs left as they were."""
    inputs = {name: one for name, one in digests(project.parent).items() if not name.startswith("results")}
    code, out, err = harvest("run", project)
    assert code == 0, err
    assert len(out.splitlines()) == 5
    after = {name: one for name, one in digests(project.parent).items() if not name.startswith("results")}
    assert after == inputs
    return Result.at(project.parent / "results")


def findings(result: Result) -> pd.DataFrame:
    return result.table("findings").set_index("check")


def used(result: Result) -> float:
    return float(result.table("parcels").set_index("parcel_id").loc["house", "yield_l_yr"])


def test_text_in_numbers_is_counted_as_missing(tmp_path: Path, stood: Path) -> None:
    project = small_town(tmp_path, FEW, **PLAIN)
    lines = lines_of(gauge_days())
    lines[40], lines[41] = f"{lines[40].split(',')[0]},gauge broken", f"{lines[41].split(',')[0]},n.a."
    gauge(lines)(tmp_path)
    told = findings(ran(project))
    assert told.loc["text in numbers", ["severity", "count"]].tolist() == ["warning", 2]
    assert "line 41: gauge broken" in told.loc["text in numbers", "first"]
    assert told.loc["days missing", "count"] == 2


def test_time_zone_stamps_change_nothing(tmp_path: Path, stood: Path) -> None:
    project = small_town(tmp_path, FEW, **PLAIN)
    gauge(lines_of(gauge_days(), date="%Y-%m-%dT07:00:00-05:00"))(tmp_path)
    assert used(ran(project)) == used(Result.at(stood.parent / "results"))


def test_one_year_is_enough_to_run_and_told_as_serious(tmp_path: Path) -> None:
    """A leap year: its 29 February is a day like any other."""
    project = small_town(tmp_path, FEW, season=None, **PLAIN)
    days = gauge_days()
    write_gauge(tmp_path, days[days.index.year == 2012])
    result = ran(project)
    told = findings(result)
    assert told.loc["short record", "severity"] == "serious"
    assert result.run["weather"]["years"] == [2012]
    row = result.table("parcels").set_index("parcel_id").loc["house"]
    # one year is its own poor and its own good one, as nearly as a surface gives each
    assert row["yield_poor_year_l_yr"] == pytest.approx(row["yield_l_yr"], abs=0.5)
    assert row["yield_good_year_l_yr"] == pytest.approx(row["yield_l_yr"], abs=0.5)


def test_rain_on_a_leap_day_reaches_a_barrel_in_its_season(tmp_path: Path) -> None:
    """All of February's rain falls on the 29th: in a season that holds it, and only there, it is drawn."""
    habits = {"weeks_share": 1.0, "sessions_a_week": 7}
    sections: dict[str, Any] = {"garden": {"weekly_mm": 25.0}, "habits": habits}
    days = gauge_days() * 0
    days[pd.Timestamp("2012-02-29")] = 30.0
    project = small_town(tmp_path, FEW, season={"first": "02-15", "last": "03-31"}, **sections)
    write_gauge(tmp_path, days)
    # 174.1 L in the third of three years; months without rain at the gauge stay dry
    assert used(ran(project)) == pytest.approx((208.2 - 22.7 - 11.4) / 3, abs=0.5)
    project_file(tmp_path, season={"first": "03-01", "last": "10-31"}, **sections)
    assert used(ran(project)) == 0


def test_inches_said_to_be_millimetres_are_told_with_the_factor(tmp_path: Path) -> None:
    project = small_town(tmp_path, FEW, **PLAIN)
    write_rain(tmp_path)
    inches = gauge_days() * 960 / (gauge_days().sum() / 3) / 25.4
    lines = ["date,rain_mm", *(f"{day:%Y-%m-%d},{depth:.3f}" for day, depth in inches.items())]
    gauge(lines)(tmp_path)
    result = ran(project)
    told = findings(result)
    assert told.loc["gauge unit doubtful", "severity"] == "serious"
    assert "25.4" in told.loc["gauge unit doubtful", "message"]
    assert used(result) > 0


def test_a_price_for_the_wrong_unit_is_told_and_still_run(tmp_path: Path) -> None:
    sections = tariff({"price": 9.0})
    sections["tariff"]["per"] = "gal"
    result = ran(small_town(tmp_path, FEW, **PLAIN, **sections))
    assert findings(result).loc["dear water", "severity"] == "serious"
    assert result.table("parcels")["saving_usd_yr"].sum() > 0


def test_no_garden_anywhere(tmp_path: Path) -> None:
    """Zero is a figure, so nothing is missing: no barrel, no litre used, and a note that says why."""
    result = ran(small_town(tmp_path, FEW, garden={"area_m2": 0.0}, **PLAIN))
    parcels = result.table("parcels")
    assert parcels["suggested_barrels"].tolist() == [0, 0, 0]
    assert parcels["yield_l_yr"].tolist() == [0, 0, 0]
    assert parcels["capturable_l_yr"].sum() > 0
    told = findings(result).loc["no garden"]
    assert (told["severity"], told["count"], told["first"]) == ("note", 2, "house, tight")
    assert "[garden]" in told["remedy"]
    assert result.run["totals"]["yield_l_yr"] == 0


def test_a_roof_of_half_a_square_metre(tmp_path: Path) -> None:
    """Too small for a gutter unless it is marked; marked, a barrel there never fills and what it sheds is all it
    gives. 0.5 m² at two downspouts, the smaller one taken: 0.1875 m²."""
    lots = {"stub": LOTS["stub"], "tap": LOTS["tap"], "house": LOTS["house"], "bare": Lot(30, 40, ())}
    result = ran(small_town(tmp_path, lots, **PLAIN))
    parcels = result.table("parcels").set_index("parcel_id")
    assert parcels.loc["stub", "status"] == "no gutter"
    assert parcels.loc["stub", ["yield_l_yr", "suggested_barrels"]].tolist() == [0, 0]
    tap = parcels.loc["tap"]
    assert tap["served_area_m2"] == pytest.approx(0.25, rel=1e-6)
    assert tap["fill_depth_mm"] == pytest.approx((208.2 - 22.7 - 11.4) / (0.25 * 0.8), rel=1e-6)
    season = tap["season_rain_mm_yr"] * 0.8 * 0.1875
    assert 0 < tap["yield_l_yr"] < season * 1.15
    assert tap["overflow_l_yr"] == pytest.approx(0, abs=1)
    for name in (one.name for one in PARCEL_FIELDS if one.dtype == "float"):
        assert np.isfinite(parcels[name].dropna().to_numpy(dtype=float)).all()


def test_check_reads_the_same_faults(stood: Path) -> None:
    """``harvest check`` stops at the same gauge with the same words, and writes nothing."""
    folder = stood.parent
    before = digests(folder)
    try:
        gauge(two_stations())(folder)
        assert harvest("check", stood) == harvest("run", stood)
    finally:
        small_town(folder, FEW, **PLAIN)
    assert digests(folder) == before
