"""Keeping score: by district and month, and what moved since the run before; fields and sections are declared fully."""

from __future__ import annotations

import pandas as pd
import pytest
from pydantic import BaseModel
from visits_made import visits_of

from harvest.fields.achieved import CHANGES, MOVES, PROGRESS
from harvest.fields.achieved import TABLES as ACHIEVED
from harvest.fields.outreach import PARCEL_FIELDS, TABLES, UNMATCHED, VISITS
from harvest.fields.register import unit_of_name
from harvest.plan.progress import changes, progress
from harvest.project.outreach import Corrections, Eligibility, Learning, NoContact, Visits
from harvest.project.setting import declared_unit

YIELDS = {f"yield_{n}_barrels_l_yr": [1000.0 * n**0.5, 500.0 * n, None] for n in range(1, 7)}
PARCELS = pd.DataFrame({"parcel_id": ["a", "b", "c"], "district": ["north", None, "north"], **YIELDS}).astype(
    {"district": "str"}
)


def test_the_score_by_district_and_month() -> None:
    visits = visits_of(
        ("a", "2025-05-06", "not home"),
        ("a", "2025-05-20", "joined"),
        ("a", "2025-06-02", "installed", 1, 210.0),
        ("a", "2025-06-20", "installed", 2, None),
        ("b", "2025-05-07", "joined"),
        ("b", "2025-06-03", "installed", 2, None),
        ("b", "2025-07-03", "verified"),
        ("c", "2025-06-05", "installed", 1, None),
        ("c", "2025-06-06", "installed", None, None),
        ("z", "2025-06-06", "refused"),
    )
    table = PROGRESS.checked(progress(visits, PARCELS, 200.0)).set_index(["district", "month"])
    north = table.loc[("north", "2025-06")]
    assert table.index.tolist() == [
        ("no district", "2025-05"), ("no district", "2025-06"), ("no district", "2025-07"), ("north", "2025-05"),
        ("north", "2025-06"),
    ]  # fmt: skip
    assert table["visit_count"].tolist() == [1, 2, 1, 2, 4] and table["visit_count"].sum() == len(visits)
    assert table["visited_count"].tolist() == [1, 1, 0, 1, 1]
    assert table["joined_count"].tolist() == [1, 0, 0, 1, 1], "c was installed without a line that it joined"
    assert table["installed_count"].tolist() == [0, 1, 0, 0, 2]
    assert north["barrels"] == 1 + 2 + 1 and north["volume_l"] == 210 + 2 * 200 + 200
    assert north["added_l_yr"] == pytest.approx(1000 * 3**0.5), (
        "three barrels, not one and two each by itself"
    )
    assert north["unknown_count"] == 2
    assert table.loc[("no district", "2025-06")]["added_l_yr"] == 1000.0


def test_an_empty_log_has_no_progress() -> None:
    assert progress(visits_of(("a", "2025-05-06", "joined")).head(0), PARCELS, 200.0).empty


def side(
    name: str, rank: int | None, doors: int, each: float, chance: float, visited: int = 0, corrected: int = 0
) -> dict:
    litres = doors * each
    return {
        "side_id": name, "rank": rank, "worth_l_yr": litres * chance * 0.6, "door_count": doors, "yield_l_yr": litres,
        "chance": chance, "visited_count": visited, "corrected_count": corrected,
    }  # fmt: skip


def moved(before: list[dict], after: list[dict]) -> pd.DataFrame:
    table = CHANGES.checked(changes(pd.DataFrame(before), pd.DataFrame(after)))
    return table.set_index("side_id")


def test_what_rose_and_fell_and_why() -> None:
    before = [
        side("1", 1, 30, 900, 0.03), side("2", 2, 25, 900, 0.03), side("3", 3, 20, 900, 0.03),
        side("4", 4, 15, 900, 0.03),
        side("5", 5, 10, 900, 0.03), side("6", 6, 8, 900, 0.03), side("7", 7, 7, 900, 0.03), side("9", 8, 5, 900, 0.03),
    ]  # fmt: skip
    after = [
        side("4", 1, 15, 900, 0.08), side("2", 2, 25, 900, 0.03), side("3", 3, 20, 880, 0.03),
        side("5", 4, 10, 900, 0.03),
        side("1", 5, 4, 950, 0.031, visited=26), side("8", 6, 3, 900, 0.03), side("6", 7, 3, 700, 0.03, corrected=5),
        side("7", None, 0, 0, 0.03, visited=7),
    ]  # fmt: skip
    table = moved(before, after)
    assert table["why"].to_dict() == {
        "4": "learned chance", "2": "unchanged", "3": "data changed", "5": "others moved", "1": "visited", "8": "new",
        "6": "corrected", "7": "visited", "9": "gone",
    }  # fmt: skip
    assert table["rose"].to_dict()["4"] == 3 and table["rose"].to_dict()["1"] == -4
    assert table.index.tolist()[:7] == ["4", "2", "3", "5", "1", "8", "6"]
    assert "30 homes to visit before, 4 now" in table["told"]["1"]
    assert "the chance that a door joins from 0.030 to 0.031" in table["told"]["1"]
    assert table["told"]["4"] == "The log moved the chance that a door joins from 0.030 to 0.080."
    assert table["told"]["9"] == "Not in this run." and table["told"]["5"] == "Its own figures are as before."
    assert set(table["why"]) == set(MOVES)


def test_of_two_causes_the_greater_in_the_direction_of_the_change_is_named() -> None:
    table = moved([side("1", 1, 30, 900, 0.03)], [side("1", 1, 20, 900, 0.06, visited=10)])
    assert table["why"].tolist() == ["learned chance"] and "; visited since" in table["told"].iloc[0]
    table = moved([side("1", 1, 30, 900, 0.03)], [side("1", 1, 10, 900, 0.06, visited=20)])
    assert table["why"].tolist() == ["visited"]
    dearer = side("1", 1, 55, 900, 0.0448, visited=45)
    table = moved([side("1", 1, 100, 900, 0.03)], [dearer | {"worth_l_yr": dearer["worth_l_yr"] * 1.52}])
    assert table["why"].tolist() == ["data changed"], "more was lost to visits, but the worth rose"


def test_nothing_changed_and_order_does_not_matter() -> None:
    sides = [side(str(n), n, 30 - n, 900, 0.03) for n in range(1, 6)]
    table = moved(sides, sides[::-1])
    assert set(table["why"]) == {"unchanged"} and (table["rose"] == 0).all()
    assert moved(sides, sides).equals(table)


@pytest.mark.parametrize("table", (*TABLES, *ACHIEVED), ids=lambda table: table.name)
def test_every_field_is_declared_fully(table) -> None:
    for field in table.fields:
        assert field.label and field.meaning.endswith("."), field.name
        if field.dtype in ("float", "integer"):
            assert field.unit == (unit_of_name(field.name) or "1") and field.minimum is not None


def test_notes_stand_in_one_table_and_are_never_published() -> None:
    assert not any(field.published for table in (VISITS, UNMATCHED, CHANGES) for field in table.fields)
    assert not any(field.published for field in PARCEL_FIELDS)
    names = {table.name: table.names for table in (*TABLES, *ACHIEVED)}
    assert [name for name, fields in names.items() if "note" in fields] == ["unmatched"]


@pytest.mark.parametrize("section", [Visits, Corrections, NoContact, Eligibility, Learning])
def test_every_setting_has_a_meaning_a_source_and_a_unit(section: type[BaseModel]) -> None:
    for name, field in section.model_fields.items():
        extra = field.json_schema_extra
        assert field.description and isinstance(extra, dict) and extra["source"], name
        kinds = {field.annotation, *getattr(field.annotation, "__args__", ())}
        if kinds & {float, int}:
            assert declared_unit(name, extra) and field.metadata, name
