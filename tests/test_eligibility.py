"""Who may be offered barrels: every rule, the order of reasons, the limits, and that nobody drops out silently."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from pydantic import ValidationError
from visits_made import by_check

from harvest.plan.eligibility import allowed_barrels, eligibility
from harvest.project.outreach import Eligibility, NoContact

BARREL_L = 208.2


def town(**columns: list) -> pd.DataFrame:
    """Four parcels to which no rule applies, but for ``columns``."""
    plain = {
        "parcel_id": ["a", "b", "c", "d"],
        "land_use": ["house", "house", "house", "house"],
        "exclusion_reason": [None] * 4,
        "is_site": [False] * 4,
        "correction_reason": [None] * 4,
        "installed_barrels": [0] * 4,
        "installed_l": [0.0] * 4,
        "owner": ["here"] * 4,
        "consent": [None] * 4,
        "earlier_rebate": [False] * 4,
        "in_service_area": [True] * 4,
        "suggested_barrels": [2] * 4,
        **columns,
    }
    texts = dict.fromkeys(("parcel_id", "land_use", "exclusion_reason", "correction_reason", "owner"), "str")
    marks = dict.fromkeys(("consent", "earlier_rebate", "in_service_area"), "boolean")
    return pd.DataFrame(plain, index=[9, 8, 7, 6]).astype(
        {**texts, **marks, "installed_barrels": "Int64", "suggested_barrels": "Int64"}
    )


def decided(parcels: pd.DataFrame, asked: tuple[str, ...] = (), **settings: Any):
    return eligibility(
        parcels, Eligibility(**settings), NoContact(file="x.csv"), pd.Series(asked, dtype="str"), BARREL_L
    )


def test_nothing_said_excludes_nobody() -> None:
    table, account, found = decided(town(land_use=["house", None, "mill", "park"], owner=[None] * 4))
    assert table["eligible"].all() and table["exclusion_reason"].isna().all() and not found
    assert account.rows_in == account.rows_out == 4 and table.index.tolist() == [9, 8, 7, 6]


RULES: list[tuple[str, dict[str, list], dict[str, Any], str]] = [
    ("land_uses", {"land_use": ["mill", "house", "house", "house"]}, {"land_uses": ["house"]}, "Not a kind of"),
    ("service_area", {"in_service_area": [False, True, True, True]}, {"service_area": "area.gpkg"}, "Outside"),
    ("owner", {"owner": ["away", "here", "here", "here"]}, {"owner": "o", "owner_values": ["here"]}, "Let: the owner"),
    ("associations", {"is_site": [True, False, False, False]}, {"associations": "exclude"}, "The association must"),
    (
        "associations",
        {"land_use": ["flats", "house", "house", "house"]},
        {"associations": "exclude", "association_land_uses": ["flats"]},
        "The association must",
    ),
    ("earlier_rebate", {"earlier_rebate": [True, False, None, False]}, {"earlier_rebate": "r"}, "Had a rebate"),
    ("earlier_rebate", {"earlier_rebate": [True, False, None, False]}, {"earlier_rebate_file": "r"}, "Had a rebate"),
    ("limit", {"installed_barrels": [2, 1, 0, None]}, {"most_barrels": 2}, "Already has all"),
    ("limit", {"installed_l": [416.4, 208.2, 0.0, None]}, {"most_volume_l": 416.4}, "Already has all"),
    ("exclude", {"exclusion_reason": ["Town property", None, None, None]}, {}, "Town property"),
    ("corrections", {"correction_reason": ["Nobody lives there.", None, None, None]}, {}, "Nobody lives there."),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "columns", "settings", "reason"), RULES)
def test_each_rule_and_its_printed_reason(
    rule: str, columns: dict[str, list], settings: dict[str, Any], reason: str
) -> None:
    table, account, found = decided(town(**columns), **settings)
    assert table["eligible"].tolist() == [False, True, True, True]
    assert table["exclusion_reason"].iloc[0].startswith(reason) and table["rule"].iloc[0] == rule
    assert dict(account.dropped) == {table["exclusion_reason"].iloc[0]: 1} and account.rows_out == 3
    assert not [one for one in found if "rule meets" in one.check]


def test_the_first_reason_wins_in_the_stated_order() -> None:
    """Every rule applies to the first parcel; taken away one by one, each next reason shows."""
    parcels = town(
        land_use=["mill", "house", "house", "house"],
        in_service_area=[False, True, True, True],
        owner=["away", "here", "here", "here"],
        is_site=[True, False, False, False],
        earlier_rebate=[True, False, False, False],
        installed_barrels=[2, 0, 0, 0],
        exclusion_reason=["Town property", None, None, None],
        correction_reason=["Nobody lives there.", None, None, None],
    )
    settings: dict[str, Any] = {
        "land_uses": ["house"], "service_area": "x", "owner": "o", "owner_values": ["here"], "associations": "exclude",
        "earlier_rebate": "r", "most_barrels": 2,
    }  # fmt: skip
    cleared: dict[str, Any] = {
        "exclude": ("exclusion_reason", None), "corrections": ("correction_reason", None),
        "land_uses": ("land_use", "house"),
        "service_area": ("in_service_area", True), "owner": ("owner", "here"), "associations": ("is_site", False),
        "earlier_rebate": ("earlier_rebate", False), "limit": ("installed_barrels", 0),
    }  # fmt: skip
    seen = [decided(parcels, ("a",), **settings)[0]["rule"].iloc[0]]
    for column, value in cleared.values():
        seen.append(decided(parcels, **settings)[0]["rule"].iloc[0])
        parcels.loc[9, column] = value
    assert seen == ["no contact", *cleared]
    assert decided(parcels, **settings)[0]["eligible"].all()


def test_consent_makes_a_let_home_eligible() -> None:
    parcels = town(owner=["away", "away", "away", None], consent=[True, False, None, None])
    table, _, found = decided(parcels, owner="o", owner_values=["here"], consent="c")
    assert table["eligible"].tolist() == [True, False, False, True]
    unknown = by_check(found)["eligibility unknown"]
    assert unknown.first == ("d",) and "stay on the lists" in unknown.message


def test_a_rule_that_meets_nothing_or_everybody_is_told() -> None:
    _, _, found = decided(town(), land_uses=["cottage"], earlier_rebate="r")
    assert by_check(found)["eligibility rule meets every parcel"].severity == "serious"
    assert "earlier_rebate" in by_check(found)["eligibility rule meets nothing"].message
    _, account, found = decided(town(), most_volume_l=200.0)
    assert account.rows_out == 0 and "eligibility rule meets every parcel" in by_check(found)
    assert not decided(town(), most_barrels=2)[2]


def test_the_limit_cuts_what_is_suggested() -> None:
    parcels = town(
        suggested_barrels=[4, 4, None, 1], installed_barrels=[0, 1, 0, 0], installed_l=[0, 208.2, 0, 0]
    )
    assert allowed_barrels(parcels, Eligibility(), BARREL_L).tolist() == [4, 4, pd.NA, 1]
    assert allowed_barrels(parcels, Eligibility(most_barrels=2), BARREL_L).tolist() == [2, 1, pd.NA, 1]
    assert allowed_barrels(parcels, Eligibility(most_volume_l=416.4), BARREL_L).tolist() == [2, 1, pd.NA, 1]
    both = Eligibility(most_barrels=3, most_volume_l=210.0)
    assert allowed_barrels(parcels, both, BARREL_L).tolist() == [1, 0, pd.NA, 1]
    other = Eligibility(most_barrels=1, most_volume_l=2000.0)
    assert allowed_barrels(parcels, other, BARREL_L).tolist() == [1, 0, pd.NA, 1]
    assert allowed_barrels(parcels, Eligibility(most_barrels=0), BARREL_L).tolist() == [0, 0, pd.NA, 0]


def test_110_gallons_are_two_barrels_of_55() -> None:
    """110 gal and 55 gal in litres, each rounded to a tenth as people write them; the law's figure is Colorado's, from
    memory.
    """
    parcels = town(
        installed_barrels=[1, 2, 0, None], installed_l=[55 * 3.785411784, 110 * 3.785411784, 0, None]
    )
    limit = Eligibility(most_volume_l=416.4)
    assert allowed_barrels(parcels, limit, 208.2).tolist() == [1, 0, 2, pd.NA]
    assert allowed_barrels(parcels, Eligibility(most_volume_l=416.3), 208.2).tolist()[2] == 2
    assert decided(parcels, most_volume_l=416.4)[0]["eligible"].tolist() == [True, False, True, True]


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"owner": "o"}, "needs both owner and owner_values"),
        ({"consent": "c"}, "consent makes no difference"),
        ({"association_land_uses": ["flats"]}, "makes no difference while"),
        ({"most_barrels": -1}, "greater than or equal to 0"),
    ],
)
def test_wrong_settings(settings: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        Eligibility(**settings)
