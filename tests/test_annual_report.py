"""The year's table, worked by hand: practices, storage, area served and people contacted, by district and year."""

from __future__ import annotations

import pandas as pd
import pytest
from visits_made import visits_of

from harvest.fields import ANNUAL
from harvest.fields.barrels import yield_name
from harvest.plan.annual_report import annual_report
from harvest.plan.progress import NO_DISTRICT

BARREL_L = 208.0


def parcels() -> pd.DataFrame:
    """Two downspouts at ``a`` with a place each, one at ``b``; ``c`` has no figures and no district."""
    frame = pd.DataFrame(
        {
            "parcel_id": ["a", "b", "c"],
            "district": ["North", "North", None],
            "served_area_m2": [40.0, 60.0, None],
            "barrel_places": pd.array([2, 1, None], dtype="Int64"),
        }
    ).astype({"parcel_id": "str", "district": "str"})
    yields = {yield_name(n): [1000.0 + 100 * n, 2000.0 + 10 * n, None] for n in range(1, 7)}
    return frame.assign(**yields)


VISITS = visits_of(
    ("a", "2024-06-01", "not home"),
    ("a", "2024-06-08", "joined"),
    ("a", "2024-07-01", "installed", 1, None),
    ("a", "2024-08-01", "verified"),
    ("b", "2024-06-01", "not home"),
    ("a", "2025-05-01", "installed", 2, 500.0),
    ("b", "2025-05-02", "come back"),
    ("b", "2025-05-09", "installed", 2, None),
    ("c", "2025-06-01", "installed", 1, None),
)


def table() -> pd.DataFrame:
    return annual_report(VISITS, parcels(), BARREL_L, 0.25).set_index(["district", "year"])


def test_one_home_is_one_contact_a_year() -> None:
    """Nobody home is a visit but no contact; "come back" was somebody."""
    found = table()
    assert found["visit_count"].to_dict() == {
        ("North", "2024"): 5,
        ("North", "2025"): 3,
        (NO_DISTRICT, "2025"): 1,
    }
    assert found["contacted_count"].tolist() == [1, 2, 1]
    assert found["verified_count"].tolist() == [1, 0, 0]


def test_each_home_joins_once_and_counts_once_as_a_home_with_barrels() -> None:
    """A second installation adds barrels, not a home; an installation says that a home joined."""
    found = table()
    assert found["joined_count"].tolist() == [1, 1, 1]
    assert found["installed_count"].tolist() == [1, 1, 1]
    assert found["practice_count"].tolist() == [1, 4, 1]


def test_storage_is_as_logged_else_the_barrel() -> None:
    assert table()["volume_l"].tolist() == [208, 500 + 2 * 208, 208]


def test_area_served_follows_the_downspouts() -> None:
    """The smaller downspout is taken first: 40 × 0.75; then 40 × 1.25, and a third barrel stands at a served one. Both
    of b's stand at its only place: 60 × 0.75. What is not known is counted as missing, not as 0."""
    found = table()
    assert found["served_area_m2"].tolist() == pytest.approx([30, 50 + 45, 0])
    assert found["added_l_yr"].tolist() == pytest.approx([1100, 200 + 2020, 0])
    assert found["unknown_count"].tolist() == [0, 0, 1]


def test_every_column_is_explained_and_the_order_of_rows_does_not_matter() -> None:
    found = annual_report(VISITS, parcels(), BARREL_L, 0.25)
    assert list(found.columns) == list(ANNUAL.names)
    ANNUAL.checked(found)
    assert all(len(one.meaning.split()) >= 3 and one.published for one in ANNUAL.fields)
    pd.testing.assert_frame_equal(annual_report(VISITS[::-1], parcels()[::-1], BARREL_L, 0.25), found)


def test_places_that_no_barrel_can_take_serve_nothing_known() -> None:
    """A log that says installed where the downspouts are said to be buried: the area is unknown, not an error."""
    none = parcels().assign(barrel_places=pd.array([0, 1, None], dtype="Int64"))
    found = annual_report(VISITS, none, BARREL_L, 0.25).set_index(["district", "year"])
    assert found["unknown_count"].tolist() == [1, 1, 1]
