"""The log of visits: what people do to a spreadsheet, and that every row is a visit or set aside with its reason."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from pydantic import ValidationError
from visits_made import HEAD, TODAY, by_check, read_log

from harvest.errors import InputError
from harvest.fields.outreach import OUTCOMES
from harvest.project.outputs import Limits
from harvest.project.outreach import Visits, folded
from harvest.read.visits import WORDS, read_visits

SAMPLE = Path(__file__).parents[1] / "data" / "sample"


def reasons(log) -> dict[int, str]:
    return dict(zip(log.unmatched["line"], log.unmatched["reason"], strict=True))


def test_the_sample_is_read_whole() -> None:
    """data/sample/README.md: one date in seven is month/day/year; no row is lost."""
    log = read_visits(Visits(file="visits_2025.csv"), SAMPLE, Limits(), TODAY)
    text = (SAMPLE / "visits_2025.csv").read_text(encoding="utf-8").splitlines()
    assert log.account.rows_in == log.account.rows_out == len(log.rows) == len(text) - 1
    assert log.unmatched.empty and not log.findings
    slashed = [line for line in text if "/" in line.split(",")[0]]
    assert 0.1 < len(slashed) / len(text) < 0.2
    first = log.rows.set_index("line").loc[text.index(slashed[0]) + 1]
    assert first["day"] == pd.Timestamp("2025-05-06")
    gallons = sum(float(line.split(",")[4]) for line in text[1:] if line.split(",")[4])
    assert log.rows["volume_l"].sum() == pytest.approx(gallons * 3.785411784)
    assert "note" not in log.rows.columns


def test_dates_in_many_ways_in_one_column(tmp_path: Path) -> None:
    ways = [
        "2025-05-16", "2025/5/16", "20250516", "5/16/2025", "05/16/25", "16 May 2025", "16-May-25", "May 16, 2025",
        "Fri 16 May 2025", "16th of May 2025", "2025-05-16 18:30", "5/16/2025 6:30 pm", "2025-05-16T18:30:00",
        "5-16-2025",
    ]  # fmt: skip
    log = read_log(tmp_path, [f'"{way}",A{number},not home,,,' for number, way in enumerate(ways)])
    assert len(log.rows) == len(ways) and log.unmatched.empty
    assert set(log.rows["day"]) == {pd.Timestamp("2025-05-16")}


def test_day_and_month_are_told_apart_or_asked_for(tmp_path: Path) -> None:
    open_, month, day = "5/6/2025,A,not home,,,", "5/16/2025,B,not home,,,", "16/5/2025,C,not home,,,"
    assert read_log(tmp_path, [open_, month]).rows["day"].tolist() == [
        pd.Timestamp("2025-05-06"),
        pd.Timestamp("2025-05-16"),
    ]
    assert read_log(tmp_path, [open_, day]).rows["day"].iloc[0] == pd.Timestamp("2025-06-05")
    with pytest.raises(
        InputError, match=r"line 2 is day 5 of month 6.*no other date.*date_order in \[visits\]"
    ):
        read_log(tmp_path, [open_])
    with pytest.raises(InputError, match=r"the log writes both 16/5/2025 and 5/16/2025"):
        read_log(tmp_path, [open_, month, day])
    both = read_log(tmp_path, [open_, month, day], date_order="day first")
    assert both.rows["day"].tolist() == [pd.Timestamp("2025-06-05"), *[pd.Timestamp("2025-05-16")] * 2]
    other = read_log(tmp_path, [open_, month, day], date_order="month first")
    assert other.rows["day"].tolist() == [pd.Timestamp("2025-05-06"), *[pd.Timestamp("2025-05-16")] * 2]
    assert read_log(tmp_path, ["6/6/2025,A,not home,,,"]).rows["day"].iloc[0] == pd.Timestamp("2025-06-06")


def test_dates_that_cannot_be_are_set_aside(tmp_path: Path) -> None:
    log = read_log(
        tmp_path,
        [
            "2025-05-06,A,joined,,,",
            "2025-12-02,B,joined,,,tomorrow",
            "2025-05-04,C,joined,,,",
            "2025-02-30,D,joined,,,",
            "45783,E,joined,,,",
            "May,F,joined,,,",
            ",G,joined,,,",
            "2025-05-05,H,joined,,,",
            "2025-12-01,I,joined,,,",
        ],
        programme_start="2025-05-05",
    )
    assert log.rows["parcel"].tolist() == ["A", "H", "I"]
    told = reasons(log)
    assert told[3] == "the date lies after 2025-12-01, the day of the log"
    assert told[4] == "the date lies before 2025-05-05, when the programme began"
    assert "no calendar has this day" in told[5] and "day number" in told[6]
    assert "can't be read" in told[7] and told[8] == "no date"
    assert log.unmatched["note"].tolist()[0] == "tomorrow" and log.unmatched["day"].tolist()[3] == "45783"
    assert sum(log.account.dropped.values()) == 6 == len(log.unmatched)
    assert read_log(tmp_path, ["2025-05-04,A,joined,,,"], as_of="2025-05-04").rows["parcel"].tolist() == ["A"]
    with pytest.raises(
        InputError, match="holds no visit that can be used; line 2: the date lies after 2025-05-03"
    ):
        read_log(tmp_path, ["2025-05-04,A,joined,,,"], as_of="2025-05-03")


def test_outcomes_in_other_words_and_unknown_ones(tmp_path: Path) -> None:
    said = [
        "Not Home",
        "NOT-HOME",
        "nobody home",
        "call back",
        "signed up",
        "Declined.",
        "refussed",
        "no",
        "",
        "maybe",
    ]
    log = read_log(tmp_path, [f"2025-05-06,A{number},{word},,," for number, word in enumerate(said)])
    assert log.rows["outcome"].tolist() == ["not home"] * 3 + ["come back", "joined", "refused"]
    told = reasons(log)
    assert told[8] == "the outcome is unknown; did you mean 'refused'?"
    assert told[10] == "no outcome" and "there are not home, come back" in told[11]
    assert "unknown" in told[9], "a bare no may stand for no answer, so it is not taken for a refusal"
    more = read_log(tmp_path, ["2025-05-06,A,no,,,"], words={"refused": ["No"]})
    assert more.rows["outcome"].tolist() == ["refused"]


def test_every_word_has_one_meaning() -> None:
    every = [folded(word) for outcome in OUTCOMES for word in (outcome, *WORDS[outcome])]
    assert len(every) == len(set(every)) and set(WORDS) == set(OUTCOMES)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"words": {"absent": ["x"]}}, "'absent' is no outcome; there are not home"),
        ({"words": {"refused": ["Away!"], "not home": ["away"]}}, "'away' stands for two outcomes"),
        ({"programme_start": "May 2025"}, "'May 2025' is not a day such as"),
        ({"programme_start": "2025-05-05", "as_of": "2025-05-04"}, "as_of lies before programme_start"),
    ],
)
def test_wrong_settings(settings: dict, message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        Visits(file="log.csv", **settings)


def test_a_day_may_stand_without_quotes() -> None:
    assert Visits(file="log.csv", programme_start=TODAY).programme_start == "2025-12-01"


def test_titles_blank_lines_totals_and_pasted_headers(tmp_path: Path) -> None:
    text = [
        "Visit log 2025,,,,,",
        "",
        HEAD,
        "2025-05-06,A,joined,,,",
        ",,,,,",
        HEAD,
        "2025-05-07,B,refused,,,",
        "Total,,2,,,",
    ]
    (tmp_path / "log.csv").write_text("\ufeff" + "\r\n".join(text), encoding="utf-8")
    log = read_visits(Visits(file="log.csv"), tmp_path, Limits(), TODAY)
    assert log.rows["line"].tolist() == [4, 7]
    assert reasons(log) == {
        6: "names of columns again",
        8: "no visit: neither a date nor an outcome that can be read",
    }
    assert log.account.rows_in == 4
    assert {one.severity for one in log.findings} == {"note"}


def test_notes_with_commas_line_breaks_and_odd_letters(tmp_path: Path) -> None:
    lines = [
        "2025-05-06,A,dunno,,,dog, brown, barks",
        '2025-05-06,B,joined,1,55,"two\nlines, and ""quotes"""',
        "2025-05-06,C,refused",
    ]
    log = read_log(tmp_path, lines)
    assert log.unmatched["note"].tolist() == ["dog, brown, barks"]
    assert log.rows["line"].tolist() == [3, 5]
    (tmp_path / "log.csv").write_bytes((HEAD + "\n2025-05-06,3 Caf\xe9 Lane,joined,,,\n").encode("cp1252"))
    assert read_visits(Visits(file="log.csv"), tmp_path, Limits(), TODAY).rows["address"].tolist() == [
        "3 Café Lane"
    ]


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    log = read_log(
        tmp_path,
        ["06.05.2025;A;installed;1;208,2;", "16.05.2025;B;joined;;;"],
        "date;parcel;outcome;barrels;volume_l;note",
    )
    assert log.rows["volume_l"].iloc[0] == pytest.approx(208.2)
    assert log.rows["day"].iloc[0] == pd.Timestamp("2025-05-06")


@pytest.mark.parametrize(
    ("head", "line", "address"),
    [
        ("date,parcel,outcome", "2025-05-06,12 Oak Street,joined", "12 Oak Street"),
        ("date,parcel,outcome", "2025-05-06,0012,joined", ""),
        ("date,parcel,address,outcome", "2025-05-06,0012,12 Oak Street,joined", "12 Oak Street"),
        ("date,house no,street,unit,outcome", "2025-05-06,12,Oak Street,B,joined", "12 Oak Street B"),
        ("Date of visit,Street Address,Result", "2025-05-06,12 Oak Street,joined", "12 Oak Street"),
    ],
)
def test_places_in_one_column_or_three(tmp_path: Path, head: str, line: str, address: str) -> None:
    assert read_log(tmp_path, [line], head).rows["address"].tolist() == [address]


def test_columns_by_name_of_the_project_file(tmp_path: Path) -> None:
    line, head = "2025-05-06,12,Oak Street,ja,3", "wann,nr,wo,was,x"
    log = read_log(
        tmp_path, [line], head, date="wann", address=["nr", "wo"], outcome="was", words={"joined": ["ja"]}
    )
    assert log.rows["address"].tolist() == ["12 Oak Street"]
    assert by_check(log.findings)["columns not read"].first == ("x",)
    with pytest.raises(
        InputError, match=r"no column 'wannn' \(date in the project file\); did you mean 'wann'"
    ):
        read_log(tmp_path, [line], head, date="wannn", address="wo", outcome="was")


def test_barrels_and_volumes_that_cannot_be(tmp_path: Path) -> None:
    log = read_log(
        tmp_path,
        [
            "2025-05-06,A,installed,two,110,", "2025-05-06,B,installed,55,1,", "2025-05-06,C,installed,1.5,x,",
            "2025-05-06,D,installed,,,", "2025-05-06,E,joined,1,,", "2025-05-06,F,installed,2,110,",
            "2025-05-06,G,installed,-1,-55,",
        ],
    )  # fmt: skip
    assert len(log.rows) == 7 and log.unmatched.empty
    assert log.rows["barrels"].isna().tolist() == [True, True, True, True, False, False, True]
    assert log.rows["volume_l"].iloc[5] == pytest.approx(110 * 3.785411784)
    found = by_check(log.findings)
    assert found["barrels unfit"].first == ("line 2: two", "line 3: 55", "line 4: 1.5", "line 8: -1")
    assert found["installed without a number"].count == 1 and found["volume unfit"].first == (
        "line 4: x",
        "line 8: -55",
    )
    assert found["barrels without an installation"].severity == "note"


def test_a_volume_says_its_unit(tmp_path: Path) -> None:
    head, line = "date,parcel,outcome,barrels,volume,note", "2025-05-06,A,installed,1,55,"
    with pytest.raises(
        InputError, match=r"does not say the unit of its column 'volume'; set volume_unit in \[visits\]"
    ):
        read_log(tmp_path, [line], head)
    assert read_log(tmp_path, [line], head, volume_unit="L").rows["volume_l"].tolist() == [55.0]
    for name, factor in (
        ("gallons", 3.785411784),
        ("litres", 1.0),
        ("Volume (L)", 1.0),
        ("vol gal", 3.785411784),
    ):
        named = read_log(tmp_path, [line], head.replace("volume", name), volume_unit=None)
        assert named.rows["volume_l"].iloc[0] == pytest.approx(55 * factor), name


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("date,parcel,outcome\n", "no rows; give a table that has some"),
        ("a,b,c\n1,2,3\n", "has no column that is called date; there are a, b, c"),
        ("date,outcome\n2025-05-06,joined\n", "has no column that is called parcel or address"),
        (
            "date,parcel,outcome,result\n2025-05-06,A,joined,\n",
            "several columns that may be outcome: outcome, result",
        ),
        ("date,parcel,outcome\nyesterday,A,joined\n", r"has no dates in its column of dates \(yesterday\)"),
        ("date,parcel,outcome,x,x\n2025-05-06,A,joined,,\n", "two columns called 'x'"),
    ],
)
def test_files_that_are_no_log(tmp_path: Path, text: str, message: str) -> None:
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_visits(Visits(file="log.csv"), tmp_path, Limits(), TODAY)


def test_a_workbook_or_no_file(tmp_path: Path) -> None:
    (tmp_path / "log.xlsx").write_bytes(b"PK\x03\x04")
    with pytest.raises(InputError, match=r"name must end in one of \.csv"):
        read_visits(Visits(file="log.xlsx"), tmp_path, Limits(), TODAY)
    with pytest.raises(InputError, match="no such file"):
        read_visits(Visits(file="log.csv"), tmp_path, Limits(), TODAY)
