"""What knocking is worth at a parcel and along a side, on figures that can be redone on paper."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from harvest.fields.barrels import MOST_BARRELS, yield_name
from harvest.fields.canvass import DONE, NO_DOORS, NOTHING_TO_WIN, TO_CANVASS
from harvest.fields.outreach import COME_BACK, INSTALLED, JOINED, REFUSED, TO_VISIT, TRY_AGAIN, VISIT_STATUSES
from harvest.fields.parcels import HOMES, LARGE_ROOFS
from harvest.plan.side_sums import side_sums, street_sums, with_worth
from harvest.project.rounds import Rounds

ROUNDS = Rounds(answer=0.25, join=0.1, answered_min=5, not_home_min=1, path_m=33, walking_m_s=1.1)
"""A door takes 0.25 × 5 + 0.75 × 1 + 2 × 33 / 66 = 3 min; one that is knocked at joins with chance 0.025."""


def town(**columns: object) -> pd.DataFrame:
    """Three homes on one side of a street, 1,000 L each from one barrel and 100 L more from each further one."""
    frame = pd.DataFrame(
        {
            "parcel_id": ["a", "b", "c"],
            "side_id": ["1 L", "1 L", "1 L"],
            "district": ["East", "West", "West"],
            "list": [HOMES] * 3,
            "door_count": pd.array([1, 1, 1], dtype="Int64"),
            "suggested_barrels": pd.array([1, 1, 1], dtype="Int64"),
            "allowed_barrels": pd.array([None] * 3, dtype="Int64"),
            "visit_status": pd.array([None] * 3, dtype="str"),
            "visit_count": pd.array([None] * 3, dtype="Int64"),
            "corrected": pd.array([None] * 3, dtype="str"),
            "answer_chance": np.nan,
            "join_chance": np.nan,
            "capturable_l_yr": [50_000.0, 60_000.0, 70_000.0],
            "yield_l_yr": 1000.0,
            **{yield_name(n): 900.0 + 100 * n for n in range(1, MOST_BARRELS + 1)},
        }
    )
    return frame.assign(**columns)


def sums(parcels: pd.DataFrame, length_m: float = 66.0) -> pd.Series:
    side = pd.Series({"1 L": length_m}, name="length_m").rename_axis("side_id")
    return side_sums(with_worth(parcels, ROUNDS, 0.8), side, ROUNDS).iloc[0]


def test_one_door_is_worth_its_litres_times_the_chances() -> None:
    """1,000 L × 0.8 replacing tap water × 0.25 answering × 0.1 joining = 20 L a year."""
    assert with_worth(town(), ROUNDS, 0.8)["worth_l_yr"].tolist() == pytest.approx([20.0] * 3)


def test_several_doors_win_the_garden_once() -> None:
    """Two doors: 1 − 0.975² = 0.049375 of 800 L is 39.5 L, below twice 20 L."""
    two = with_worth(town(door_count=pd.array([2, 1, 400], dtype="Int64")), ROUNDS, 0.8)["worth_l_yr"]
    assert two[0] == pytest.approx(39.5)
    assert two[2] == pytest.approx(800 * (1 - 0.975**400)) and two[2] < 800


def test_learned_chances_come_before_those_of_the_project() -> None:
    learned = town(answer_chance=[0.5, np.nan, np.nan], join_chance=[np.nan, 0.3, np.nan])
    found = with_worth(learned, ROUNDS, 0.8)
    assert found["worth_l_yr"].tolist() == pytest.approx([800 * 0.5 * 0.1, 800 * 0.25 * 0.3, 20.0])
    assert found["minutes"].tolist() == pytest.approx([0.5 * 5 + 0.5 * 1 + 1, 3.0, 3.0])


def test_a_limit_on_barrels_cuts_what_is_offered() -> None:
    """Three suggested bring 1,200 L; where law leaves one, its 1,000 L count; where it leaves none, nothing."""
    three = pd.array([3, 3, 3], dtype="Int64")
    found = with_worth(
        town(suggested_barrels=three, allowed_barrels=pd.array([None, 1, 0], dtype="Int64")), ROUNDS, 1.0
    )
    assert found["offer_barrels"].tolist() == [3, 1, 0]
    assert found["offer_l_yr"].tolist() == [1200.0, 1000.0, 0.0]


@pytest.mark.parametrize("status", VISIT_STATUSES)
def test_who_decided_is_not_visited_again(status: str) -> None:
    """Nobody home is not a no; who joined waits for an installer."""
    found = with_worth(town(visit_status=pd.array([status] * 3, dtype="str")), ROUNDS, 0.8)
    waits = status in (TO_VISIT, TRY_AGAIN, COME_BACK, "other language")
    assert found["to_visit"].tolist() == [waits] * 3
    assert found["worth_l_yr"].notna().tolist() == [waits] * 3
    assert {JOINED, INSTALLED, REFUSED} & set(VISIT_STATUSES)


def test_large_roofs_and_those_on_no_list_are_not_knocked_at() -> None:
    lists = pd.array([HOMES, LARGE_ROOFS, None], dtype="str")
    assert with_worth(town(list=lists), ROUNDS, 0.8)["to_visit"].tolist() == [True, False, False]


def test_a_side_adds_up() -> None:
    """Three doors of 3 min and 66 m at 66 m a minute: 10 min for 60 L a year, 6 L a minute."""
    side = sums(town())
    assert (side["door_count"], side["to_visit_count"], side["parcel_count"]) == (3, 3, 3)
    assert side["canvass_min"] == pytest.approx(10.0)
    assert side["worth_l_yr"] == pytest.approx(60.0)
    assert side["worth_l_min"] == pytest.approx(6.0)
    assert side["worth_door_l_yr"] == pytest.approx(20.0)
    assert side["capturable_l_yr"] == pytest.approx(180_000)
    assert side["chance"] == pytest.approx(0.025)
    assert (side["district"], side["status"], side["rank"]) == ("West", TO_CANVASS, 1)


def test_visited_doors_leave_the_worth_and_stay_in_the_count() -> None:
    seen = pd.array([REFUSED, TRY_AGAIN, None], dtype="str")
    side = sums(town(visit_status=seen, visit_count=pd.array([1, 2, 0], dtype="Int64")))
    assert (side["door_count"], side["to_visit_count"], side["visited_count"]) == (3, 2, 2)
    assert side["worth_l_yr"] == pytest.approx(40.0) and side["canvass_min"] == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("columns", "status"),
    [
        ({"list": pd.array([None] * 3, dtype="str")}, NO_DOORS),
        ({"visit_status": pd.array([REFUSED] * 3, dtype="str")}, DONE),
        ({"suggested_barrels": pd.array([0, 0, 0], dtype="Int64")}, NOTHING_TO_WIN),
    ],
)
def test_a_side_without_anything_to_win_says_why_and_has_no_rank(
    columns: dict[str, object], status: str
) -> None:
    side = sums(town(**columns))
    assert side["status"] == status and pd.isna(side["rank"])


def test_equal_sides_are_ranked_by_id_whatever_their_order() -> None:
    """Worths that differ in the seventh digit are equal."""
    parcels = with_worth(town(side_id=["b L", "a L", "c L"]), ROUNDS, 0.8)
    parcels["worth_l_yr"] = [20.0, 20.000001, 30.0]
    lengths = pd.Series({"b L": 66.0, "c L": 66.0, "a L": 66.0}).rename_axis("side_id")
    found = side_sums(parcels, lengths, ROUNDS).set_index("side_id")["rank"]
    assert found.to_dict() == {"c L": 1, "a L": 2, "b L": 3}


def test_a_street_is_the_sum_of_its_sides() -> None:
    """Two sides of one street: 30 and 20 L a year in 8 and 7 min are 50 L in 15 min, 10/3 L a minute."""
    parcels = with_worth(town(side_id=["1 L", "1 R", "2 L"]), ROUNDS, 0.8).assign(
        worth_l_yr=[30.0, 20.0, 90.0]
    )
    lengths = pd.Series({"1 L": 330.0, "1 R": 264.0, "2 L": 66.0}).rename_axis("side_id")
    sides = side_sums(parcels, lengths, ROUNDS).assign(
        street=pd.array(["Oak Road", "Oak Road", None], dtype="str"), district="West"
    )
    oak, nameless = street_sums(sides).itertuples()
    assert (oak.street, oak.side_count, oak.door_count, oak.to_visit_count) == ("Oak Road", 2, 2, 2)
    assert oak.canvass_min == pytest.approx(15.0) and oak.worth_l_min == pytest.approx(50 / 15)
    assert oak.worth_door_l_yr == pytest.approx(25.0)
    assert pd.isna(nameless.street) and (nameless.rank, oak.rank) == (1, 2)
    assert oak.capturable_l_yr + nameless.capturable_l_yr == pytest.approx(sides["capturable_l_yr"].sum())
