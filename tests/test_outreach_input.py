"""Bad input in the office's files, the whole way from the command: one message or rows set aside, and nothing lost."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from small_town import LOTS, project_file, small_town
from test_barrel_input import digests, harvest

from harvest.result import Result

FEW = {name: LOTS[name] for name in ("house", "tight", "vacant", "tap")}
IDS = {"house": "0010001", "tight": "0010002", "vacant": "1234567890123", "tap": "1234567890456"}
STREETS = {
    "house": "12 Oak Street",
    "tight": "12 Oak Road",
    "vacant": "3 Bay Lane",
    "tap": "3 Bay Lane Unit B",
}
LOG = {"file": "log.csv", "programme_start": "2025-05-05", "as_of": "2025-10-31"}
HEAD = "date,parcel,address,outcome,barrels,note"
GOOD = "2025-05-13,0010001,,joined,,"


def log_town(folder: Path, lines: list[str], head: str = HEAD, **sections: Any) -> Path:
    """A few lots with ids that a spreadsheet spoils, and a log of ``lines``."""
    project = small_town(folder, FEW, temperature=None, **({"visits": LOG} | sections))
    parcels = gpd.read_parquet(folder / "parcels.parquet")
    parcels["street"] = parcels["lot"].map(STREETS)
    parcels["lot"] = parcels["lot"].map(IDS)
    parcels.to_parquet(folder / "parcels.parquet")
    (folder / "log.csv").write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return project


@pytest.fixture(scope="module")
def stood(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project file of such a town, run once."""
    project = log_town(tmp_path_factory.mktemp("stood"), [GOOD])
    code, _, err = harvest("run", project)
    assert code == 0, err
    return project


REFUSED: dict[str, tuple[list[str], str, dict[str, Any], str]] = {
    "no such log": ([GOOD], HEAD, {"visits": LOG | {"file": "lost.csv"}}, r"\[visits\] lost.csv"),
    "no outcomes": ([GOOD], HEAD.replace("outcome", "mood"), {}, r"\[visits\] log.csv has no column .*outcome"),
    "day or month": (["5/6/2025,0010001,,joined,,"], HEAD, {}, r"5/6/2025 in line 2 .*set date_order in \[visits\]"),
    "no visit of use": (["2025-05-13,0010001,,danced,,"], HEAD, {}, r"holds no visit that can be used; line 2"),
    "closed before it began": ([GOOD], HEAD, {"visits": LOG | {"as_of": "2025-01-01"}}, "as_of lies before"),
    "a word for no outcome": ([GOOD], HEAD, {"visits": LOG | {"words": {"maybe": ["perhaps"]}}},
                              "'maybe' is no outcome"),
    "no such owner column": ([GOOD], HEAD, {"eligibility": {"owner": "lives", "owner_values": ["owner"]}},
                             r"\[parcels\] parcels.parquet has no column 'lives' \(\[eligibility\] owner in the"),
    "no such service area": ([GOOD], HEAD, {"eligibility": {"service_area": "area.gpkg"}},
                             r"\[eligibility service_area\] area.gpkg"),
    "eligibility without parcels": ([GOOD], HEAD, {"parcels": None, "eligibility": {"earlier_rebate": "had"}},
                                    r"\[eligibility\] earlier_rebate needs \[parcels\]"),
    "no such corrections": ([GOOD], HEAD, {"corrections": {"file": "lost.csv"}}, r"\[corrections\] lost.csv"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_can_not_be_used_is_one_message_and_the_last_result_stays(stood: Path, name: str) -> None:
    lines, head, sections, message = REFUSED[name]
    folder = stood.parent
    before = digests(folder / "results")
    project_file(folder, **({"temperature": None, "visits": LOG} | sections))
    (folder / "log.csv").write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    code, out, err = harvest("run", stood)
    assert (code, out) == (2, "")
    assert err.startswith("harvest: ") and err.count("\n") == 1
    assert re.search(message, err), err
    assert digests(folder / "results") == before


MESSY = [
    "2025-05-13,0010001,,joined,,",  # 2: three ways to write a date in one column
    "5/14/2025,0010002,,not home,,",
    "15 May 2025,0010002,,refused,,no time",
    "2026-05-13,0010001,,installed,1,",  # 5: after the log was closed
    "2025-04-30,0010001,,joined,,",  # 6: before the programme
    "2025-05-16,0010001,,danced,,",  # 7: no outcome
    "2025-05-16,0010001,,instaled,1,",  # 8: nearly one
    "2025-05-17,1234567890456,,come back,,",  # 9 and 10: twice in a day
    "2025-05-17,1234567890456,,joined,,",
    "2025-05-17,1234567890456,,joined,,again",  # 11: the same once more
    "2025-05-18,1.23457E+12,,joined,,",  # 12: rounded by a spreadsheet, two parcels begin so
    "2025-05-18,1.23457E+12,3 bay ln,not home,,",  # 13: rounded, but its address is one parcel's
    "2025-05-18,10001,,joined,,",  # 14: zeros lost
    "2025-05-19,,12 Oak,joined,,",  # 15: an address of two streets
    "2025-05-19,,,joined,,somewhere on the hill",  # 16: no place
    "yesterday,0010001,,joined,,",  # 17: no date
    "2025-05-20,0010001,12 Oak Road,joined,,",  # 18: id and address are two parcels
    ",,,,,total 17",  # 19: no visit
    "2025-05-20,1E+99999,,joined,,",  # 20: a number that is no id of anything
]


def test_a_messy_log_is_used_as_far_as_it_goes_and_the_rest_set_aside(tmp_path: Path) -> None:
    project = log_town(tmp_path, MESSY)
    inputs = {name: one for name, one in digests(tmp_path).items() if not name.startswith("results")}
    code, _, err = harvest("run", project)
    assert code == 0, err
    after = digests(tmp_path)
    assert {name: after[name] for name in inputs} == inputs
    result = Result.at(tmp_path / "results")
    visits = result.table("visits").set_index("line")
    assert visits["day"].loc[[2, 3, 4]].tolist() == ["2025-05-13", "2025-05-14", "2025-05-15"]
    assert visits["parcel_id"].to_dict() == {
        2: "0010001", 3: "0010002", 4: "0010002", 9: "1234567890456", 10: "1234567890456", 13: "1234567890123",
    }  # fmt: skip
    aside = result.table("unmatched").set_index("line")
    reasons = {
        5: "the date lies after 2025-10-31",
        6: "the date lies before 2025-05-05",
        7: "the outcome is unknown; there are",
        8: "the outcome is unknown; did you mean 'installed'?",
        11: "the same visit as in line 10",
        12: "a spreadsheet has rounded the parcel's id",
        14: "the parcel's id has lost its leading zeros",
        15: "no parcel has this address",
        16: "no parcel and no address",
        17: "the date can't be read",
        18: "the id and the address are two parcels",
        19: "no visit: neither a date nor an outcome",
        20: "a spreadsheet has rounded the parcel's id",
    }
    assert sorted(aside.index) == sorted(reasons)
    for line, reason in reasons.items():
        assert aside.loc[line, "reason"].startswith(reason), (line, aside.loc[line, "reason"])
    for line, near in {
        12: {IDS["vacant"], IDS["tap"]},
        14: {IDS["house"]},
        15: {IDS["house"], IDS["tight"]},
    }.items():
        assert all(one in aside.loc[line, "candidates"] for one in near), (
            line,
            aside.loc[line, "candidates"],
        )
    account = result.run["ledger"]["visits"]
    assert account["rows_in"] == len(MESSY) == account["rows_out"] + sum(account["dropped"].values())
    assert account["rows_out"] == len(visits)
    told = result.table("findings").set_index("check")
    assert told.loc["visited twice in a day", "severity"] == "note"
    parcels = result.table("parcels").set_index("parcel_id")
    assert parcels["visit_status"].to_dict() == {
        "0010001": "joined", "0010002": "refused", "1234567890123": "try again at another hour",
        "1234567890456": "joined",
    }  # fmt: skip


def test_zeros_come_back_only_where_the_project_file_says_so(tmp_path: Path) -> None:
    project = log_town(tmp_path, ["2025-05-18,10001,,joined,,"], visits=LOG | {"restore_zeros": True})
    code, _, err = harvest("run", project)
    assert code == 0, err
    visits = Result.at(tmp_path / "results").table("visits")
    assert visits[["parcel_id", "matched_by"]].iloc[0].tolist() == ["0010001", "number without its zeros"]


def test_check_reads_the_office_too(stood: Path) -> None:
    """``harvest check`` counts the rows of the log, and stops where a run would."""
    project_file(stood.parent, temperature=None, visits=LOG)
    (stood.parent / "log.csv").write_text(f"{HEAD}\n{GOOD}\n", encoding="utf-8")
    code, out, _ = harvest("check", stood)
    assert code == 0 and "visits: 1 rows." in out
    assert pd.Series(out.splitlines()).str.startswith("Findings").any()
