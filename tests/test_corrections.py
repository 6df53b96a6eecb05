"""Corrections from the street: read, followed to the parcels of today, applied; what can't be applied is kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from visits_made import TODAY

from harvest.errors import InputError
from harvest.fields.outreach import CORRECTIONS
from harvest.plan.corrections import check_corrections, effects, successors
from harvest.plan.visit_match import matched
from harvest.project.outputs import Limits
from harvest.project.outreach import Corrections, NoContact, folded
from harvest.read.corrections import WORDS, OfficeList, read_corrections, read_parcel_list

HEAD = "parcel,what,value,date,who"
IDS = pd.Series(["a1", "a2", "a3", "a4"], index=[5, 6, 7, 8], dtype="str")


def read(folder: Path, lines: list[str], head: str = HEAD, **settings: Any) -> OfficeList:
    (folder / "corrections.csv").write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return read_corrections(Corrections(file="corrections.csv", **settings), folder, Limits(), TODAY)


def applied(found: OfficeList) -> pd.DataFrame:
    """The effects of corrections that name their parcels by id."""
    return effects(found.rows.assign(parcel_id=found.rows["parcel"]), IDS)


def test_every_correction_and_its_effect(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        [
            "a1,No gutters,,2025-05-06,K", "a1,dog,brown,5/20/2025,K", "a2,buried downspout,,,", "a2,wrong roof,,,",
            "a3,vacant,,,", "a3,note,ring twice,,", "a4,area,1200 ft2,2025-05-06,", "a4,area,110 m²,2025-05-07,",
        ],
    )  # fmt: skip
    assert len(found.rows) == 8 and found.unmatched.empty
    effect = applied(found)
    assert effect.index.tolist() == IDS.index.tolist()
    assert effect["no_gutters"].tolist() == [True, False, False, False]
    assert effect["no_downspouts"].tolist() == [False, True, False, False]
    assert effect["door_caution"].fillna("").tolist() == ["Dog", "", "", ""]
    assert effect["corrected"].fillna("").tolist() == [
        "no gutters, dog",
        "buried downspout, wrong roof",
        "vacant",
        "area",
    ]
    assert effect["correction_reason"].notna().tolist() == [False, True, True, False]
    assert effect["correction_reason"].iloc[1].startswith("The mapped roof is not this home's")
    assert effect["area_m2"].tolist()[3] == 110.0 and effect["area_m2"].isna().sum() == 3
    assert not any("ring" in str(value) or "brown" in str(value) for value in effect.to_numpy().ravel())


def test_areas_need_a_unit(tmp_path: Path) -> None:
    values = ["1,200 sq ft", "110.5 m2", "1200", "big", "0 m2", "1200 acres"]
    found = read(tmp_path, [f'a1,area,"{value}",,' for value in values])
    assert found.rows["area_m2"].tolist() == pytest.approx([1200 * 0.3048**2, 110.5])
    assert found.unmatched["reason"].str.contains("number with its unit").tolist() == [
        True,
        True,
        False,
        True,
    ]
    assert found.unmatched["reason"].iloc[2] == "no roof has this area"


def test_later_dates_win_and_undated_ones_do_not(tmp_path: Path) -> None:
    found = read(tmp_path, ["a1,area,100 m2,2025-05-07,", "a1,area,90 m2,2025-05-06,", "a1,area,80 m2,,"])
    assert applied(found)["area_m2"].iloc[0] == 100.0


def test_lines_that_say_nothing_usable_are_kept(tmp_path: Path) -> None:
    lines = [
        "a1,no guters,,,",
        "a1,,,,",
        "a1,painted,,,",
        ",dog,,,",
        "a1,dog,,2031-01-01,",
        "a1,split into,a2,,",
        "a1,merged into,a2;a3,,",
    ]
    found = read(tmp_path, lines)
    assert found.rows.empty and len(found.unmatched) == found.account.rows_in == 7
    assert found.unmatched["reason"].tolist() == [
        "the correction is unknown; did you mean 'no gutters'?",
        "nothing is corrected",
        f"the correction is unknown; there are {', '.join(CORRECTIONS)}",
        "no parcel and no address",
        "the date lies after 2025-12-01",
        "a split names two parcels or more, as value",
        "a merger names one parcel, as value",
    ]
    assert found.unmatched["what"].tolist()[0] == "no guters"
    assert sum(one.count for one in found.findings if one.check == "row set aside") == 7


def test_every_word_has_one_meaning() -> None:
    every = [folded(word) for what in CORRECTIONS for word in (what, *WORDS[what])]
    assert len(every) == len(set(every)) and set(WORDS) == set(CORRECTIONS)


def test_no_table_of_corrections(tmp_path: Path) -> None:
    with pytest.raises(
        InputError, match=r"\[corrections\] corrections.csv has no column that is called what"
    ):
        read(tmp_path, ["a1,x"], "parcel,oops")


def test_parcels_that_were_split_or_merged(tmp_path: Path) -> None:
    lines = [
        "old1,merged into,a1,,", "old2,split into,a2 and a3,,", "old3,merged into,old4,,", "old4,split into,a3;a4,,",
        "a1,split into,a1a;a1b,,", "old5,merged into,nowhere,,", "old6,merged into,old7,,", "old7,merged into,old6,,",
        "old8,merged into,a1,,", "old8,merged into,a2,,", "a2,dog,,,",
    ]  # fmt: skip
    found = read(tmp_path, lines)
    became, rest, account = successors(found.rows, IDS)
    assert became == {
        "old1": ("a1",), "old2": ("a2", "a3"), "old3": ("a3", "a4"), "old4": ("a3", "a4"), "old8": ("a2",),
    }  # fmt: skip
    reason = dict(zip(rest["line"], rest["reason"], strict=True))
    assert "still in the parcel layer" in reason[6] and reason[7] == "the parcel layer has no parcel nowhere"
    assert reason[8] == reason[9] == "the corrections go round in a circle"
    assert reason[10] == "a later line says what became of the parcel"
    assert account.rows_in == 10 and account.rows_out == 5 and sum(account.dropped.values()) == 5
    told = check_corrections(rest)
    assert sum(one.count for one in told) == 5 and all("kept" in one.remedy for one in told)


def test_a_correction_follows_a_merger_but_not_a_split(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        [
            "old1,merged into,a1,,",
            "old2,split into,a2;a3,,",
            "old1,no gutters,,,",
            "old2,dog,,,",
            "gone,dog,,,",
        ],
    )
    became, _, _ = successors(found.rows, IDS)
    rows = found.rows[~found.rows["what"].isin(["split into", "merged into"])]
    parcels = pd.DataFrame({"parcel_id": IDS, "address": ""})
    nothing = pd.Series("", index=rows.index, dtype="str"), pd.Series("", index=IDS.index, dtype="str")
    match = matched(rows, parcels, *nothing, successors=became)
    effect = effects(rows.join(match), IDS)
    assert (
        effect["no_gutters"].tolist() == [True, False, False, False] and effect["door_caution"].isna().all()
    )
    left = match[match["parcel_id"].isna()]
    assert left["reason"].tolist() == [
        "the parcel was split; say which part is meant",
        "no parcel has this id",
    ]
    assert left["candidates"].iloc[0] == "a2; a3"


def test_a_list_of_parcels_or_addresses(tmp_path: Path) -> None:
    (tmp_path / "no.csv").write_text(
        "Please do not visit\n\nparcel,remark\n0012,by telephone\n3 Elm Lane,\n,who?\n", encoding="utf-8"
    )
    found = read_parcel_list("no_contact", NoContact(file="no.csv"), tmp_path, Limits())
    assert found.rows["parcel"].tolist() == ["0012", "3 Elm Lane"] and found.rows["address"].tolist() == [
        "",
        "3 Elm Lane",
    ]
    assert found.unmatched["line"].tolist() == [6] and "telephone" not in found.rows.to_string()
    (tmp_path / "no.csv").write_text("0012\n0013\n", encoding="utf-8")
    with pytest.raises(
        InputError,
        match=r"\[no_contact\] no.csv has no column that is called parcel or address; there are 0012",
    ):
        read_parcel_list("no_contact", NoContact(file="no.csv"), tmp_path, Limits())
