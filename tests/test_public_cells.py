"""Cells of the public edition: made as said, and nobody can be read back out of them.

At least K homes and no one above a share of a sum ("threshold" and "dominance"), and hiding more so that nothing
follows by subtraction ("complementary suppression"), are the rules of statistical offices, from memory; the figures 10
and 40 % are common practice, no published source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal
from public_audit import MEASURES, bounds, faults, members
from public_towns import PLANE, TOWN_CRS, PublicTown, random_town, stretches, town_of
from pyproj import CRS

from harvest.fields import PARCELS, PUBLIC, SIDES
from harvest.fields.parcels import HOMES, LARGE_ROOFS
from harvest.plan.public_cells import PublicCells, public_cells, town_grid
from harvest.project.public import Public
from harvest.units import L_PER_GALLON

HOME = 50_000.0


def cells_of(town: PublicTown, plane: CRS = PLANE, units: str = "metric", **settings: object) -> PublicCells:
    chosen = Public.model_validate(settings)
    return public_cells(town.parcels, town.sides if chosen.by == "streets" else None, plane, chosen, units)


def one_street(*counts: tuple[int, int], **more: list[float]) -> PublicTown:
    """A street with so many homes north and south on each of its stretches."""
    sides = stretches(len(counts) + 1, 1)
    homes_on = {
        f"E0-{at}-{hand}": [HOME + number for number in range(many)]
        for at, both in enumerate(counts)
        for hand, many in zip("LR", both, strict=True)
        if many
    }
    return town_of(sides, homes_on, **more)


def told(found: PublicCells) -> list[tuple[str, str, int]]:
    return [(one.stretch, one.side, one.home_count) for one in found.cells.itertuples()]


# As said


def test_a_side_with_enough_homes_stands_for_itself() -> None:
    assert told(cells_of(one_street((10, 15)))) == [
        ("Col 0 to Col 1", "north", 10),
        ("Col 0 to Col 1", "south", 15),
    ]


def test_a_side_with_too_few_is_joined_to_the_other_side() -> None:
    assert told(cells_of(one_street((9, 11)))) == [("Col 0 to Col 1", "both sides", 20)]


def test_a_stretch_with_too_few_is_joined_to_the_next_of_its_street() -> None:
    """Of two neighbours to the one with fewer homes: the middle stretch has 4, its neighbours 20 and 30."""
    found = told(cells_of(one_street((10, 10), (2, 2), (15, 15))))
    assert found == [
        ("Col 0 to Col 1; Col 1 to Col 2", "both sides", 25),
        ("Col 2 to Col 3", "north", 15),
        ("Col 2 to Col 3", "south", 15),
    ]


def test_a_stretch_is_never_joined_to_another_street() -> None:
    sides = stretches(2, 2)
    town = town_of(sides, {"E0-0-L": [HOME] * 3, "N0-0-L": [HOME] * 30})
    assert told(cells_of(town)) == []
    alone = town_of(sides, {"E0-0-L": [HOME] * 10, "N0-0-L": [HOME] * 30})
    assert list(cells_of(alone).cells["street"]) == ["Col 0 Street", "Row 0 Street"]


def test_streets_without_a_name_are_not_one_street() -> None:
    town = one_street((10, 10), (2, 2))
    nameless = PublicTown(
        town.parcels, town.sides.assign(street=pd.Series(None, index=town.sides.index, dtype="str"))
    )
    assert told(cells_of(nameless)) == [("Col 0 to Col 1", "south", 10)]  # the other protects the four


def test_stretches_without_homes_are_no_bridge_and_in_no_cell() -> None:
    found = cells_of(one_street((10, 10), (0, 0), (10, 10)))
    assert [one[0] for one in told(found)] == ["Col 0 to Col 1"] * 2 + ["Col 2 to Col 3"] * 2
    assert found.record["hidden_cells"] == 0


def test_one_home_above_its_share_joins_the_sum_to_its_neighbour() -> None:
    """A school taken for a home: 12 homes of 50 and one of 500 have 1,100, of which it has 45 %; with 3 more, 40 %."""
    school = [HOME] * 12 + [10 * HOME]
    sides = stretches(3, 1)
    alone = town_of(sides, {"E0-0-L": school})
    assert told(cells_of(alone)) == []
    near = town_of(sides, {"E0-0-L": school, "E0-1-L": [HOME] * 3})
    assert told(cells_of(near)) == [("Col 0 to Col 1; Col 1 to Col 2", "both sides", 15)]
    blocks = cells_of(alone, by="blocks")
    assert len(blocks.cells) == 0
    assert blocks.record["totals"] is None


def test_a_large_roof_on_the_other_list_is_in_no_sum() -> None:
    town = one_street((10, 10))
    with_school = town.parcels.copy()
    with_school.loc[0, ["list", "capturable_l_yr"]] = [LARGE_ROOFS, 40 * HOME]
    found = cells_of(PublicTown(with_school, town.sides))
    assert told(found) == [("Col 0 to Col 1", "both sides", 20)]  # of 19
    assert found.cells["capturable_l_yr"].iloc[0] == pytest.approx(19 * HOME, abs=5_000)


def test_hidden_homes_are_protected_by_hiding_the_smallest_sum_too() -> None:
    """Three homes on no street, and sides of 12, 20 and 30: the three and the twelve are told of together only."""
    found = cells_of(one_street((12, 20), (30, 0), astray=[HOME] * 3))
    assert [one[2] for one in told(found)] == [20, 30]
    assert (found.record["hidden_cells"], found.record["homes_left_out"]) == (1, 15)
    many = cells_of(one_street((12, 20), (30, 0), astray=[HOME] * 10))
    assert [one[2] for one in told(many)] == [10, 20, 30]


def test_volumes_and_numbers_are_rounded() -> None:
    town = one_street((12, 13))
    for units, step in (("metric", 10_000.0), ("us", 1_000 * L_PER_GALLON)):
        cells = cells_of(town, units=units).cells
        assert cells["home_count"].tolist() == [10, 15]
        for name in MEASURES:
            exact = town.parcels.groupby("side_id")[name].sum().to_numpy()
            assert np.abs(cells[name] - exact).max() <= step / 2 + 1
            times = cells[name] / step
            assert np.abs(times - times.round()).max() < 1e-3
    assert cells_of(one_street((3, 3)), least_homes=3, step_homes=20).cells["home_count"].tolist() == [20, 20]


def test_totals_have_two_digits_and_are_those_of_all_homes() -> None:
    town = one_street((12, 20), (30, 0), astray=[HOME] * 3)
    totals = cells_of(town).record["totals"]
    assert totals["home_count"] == 65
    assert totals["capturable_l_yr"] == 3.3e6  # 65 homes of 50,000 L and a little
    gallons = cells_of(town, units="us").record["totals"]["capturable_l_yr"] / L_PER_GALLON
    assert gallons == pytest.approx(860_000)


@pytest.mark.parametrize("by", ["streets", "blocks"])
def test_towns_of_nobody_of_few_and_of_fewer_than_asked(by: str) -> None:
    nobody = one_street((3, 3))
    for parcels in (
        nobody.parcels.iloc[:0],
        nobody.parcels.assign(list=pd.Series(None, index=range(6), dtype="str")),
    ):
        found = cells_of(PublicTown(parcels, nobody.sides), by=by)
        assert len(found.cells) == 0
        assert found.record["totals"] is None
        assert list(found.cells.columns) == list(PUBLIC.names)
    for town, least in ((one_street((3, 3)), 10), (one_street((30, 30)), 1000)):
        found = cells_of(town, by=by, least_homes=least)
        assert len(found.cells) == 0
        assert found.record["totals"] is None
        assert [one.check for one in found.findings] == ["nothing to publish"]


def test_without_any_days_of_rain_two_measures_are_told() -> None:
    town = one_street((10, 10))
    dry = town.parcels.assign(yield_l_yr=np.nan)
    found = cells_of(PublicTown(dry, town.sides))
    assert len(found.cells) == 2
    assert found.cells["yield_l_yr"].isna().all()
    assert found.cells["runoff_l_yr"].notna().all()


def test_streets_and_blocks_are_never_both_told() -> None:
    town = random_town(3)
    streets, blocks = cells_of(town).cells, cells_of(town, by="blocks").cells
    assert streets["square"].isna().all() and streets["street"].notna().all()
    assert blocks["square"].notna().all() and blocks[["street", "stretch", "side"]].isna().all(axis=None)
    assert set(streets.geometry.geom_type) <= {"LineString", "MultiLineString"}
    assert set(blocks.geometry.geom_type) <= {"Polygon", "MultiPolygon"}
    without = public_cells(town.parcels, None, PLANE, Public(), "us")
    assert without.record["by"] == "blocks"
    assert "public edition by block" in [one.check for one in without.findings]


# Blocks


def test_blocks_are_squares_of_the_zone_counted_from_its_origin() -> None:
    homes = town_of(stretches(2, 1), {"E0-0-L": [HOME] * 10, "E0-0-R": [HOME] * 10})
    found = cells_of(homes, by="blocks", cell_m=1000)
    assert CRS(found.record["grid"]) == CRS.from_epsg(32621)
    assert found.cells["square"].tolist() == ["415 E, 4538 N", "415 E, 4537 N"]
    squares = found.cells.to_crs(TOWN_CRS).geometry
    assert squares.area.tolist() == pytest.approx([1e6, 1e6])
    assert squares.iloc[0].bounds == pytest.approx((415_000, 4_538_000, 416_000, 4_539_000), abs=1e-3)


def test_data_cannot_move_the_squares() -> None:
    """Homes far away move the middle of the data, so the plane; squares must stay, or editions could be subtracted."""
    town = random_town(13)
    before = cells_of(town, by="blocks", least_homes=3).cells
    far = town_of(stretches(2, 1), {}, [HOME] * 12).parcels.assign(parcel_id=[f"Z{n}" for n in range(12)])
    far = far.set_geometry(far.geometry.translate(3_000, 9_000))
    other_plane = CRS.from_proj4("+proj=laea +lat_0=41.05 +lon_0=-57.98 +datum=WGS84 +units=m +no_defs")
    grown = PublicTown(pd.concat([town.parcels, far]), town.sides)
    after = cells_of(grown, plane=other_plane, by="blocks", least_homes=3).cells
    assert len(before) > 3
    assert set(before["square"]) <= set(after["square"])
    assert town_grid(other_plane) == town_grid(PLANE)


@pytest.mark.parametrize(
    ("latitude", "longitude", "code"),
    [(41, -58, 32621), (-33.9, 151.2, 32756), (51.5, -0.1, 32630), (-17, 179.9, 32760), (0, -180, 32601)],
)
def test_the_zone_is_that_of_the_middle_of_the_town(latitude: float, longitude: float, code: int) -> None:
    """Zone numbers from memory: Sydney lies in 56 south, London in 30 north, Fiji in 60 and 1 south."""
    plane = CRS.from_proj4(f"+proj=laea +lat_0={latitude} +lon_0={longitude} +datum=WGS84")
    assert town_grid(plane) == CRS.from_epsg(code)


# Nobody can be read back


@pytest.mark.parametrize("by", ["streets", "blocks"])
@pytest.mark.parametrize("seed", range(24))
def test_no_sum_or_difference_tells_of_few_homes(seed: int, by: str) -> None:
    town = random_town(seed)
    draw = np.random.default_rng(seed)
    least, share = int(draw.choice([3, 5, 10, 25])), float(draw.choice([0.25, 0.4]))
    side_m = float(draw.choice([50, 150, 400]))
    found = cells_of(town, by=by, least_homes=least, most_share=share, cell_m=side_m)
    homes = town.homes
    sets = members(found.cells, homes, town.sides)
    assert faults(sets, homes, least, share, total_known=len(sets) > 0) == []


def test_random_towns_put_the_rules_to_work() -> None:
    """The towns of the test above have cells shown and hidden, joined and alone, so that it can fail."""
    seen: set[str] = set()
    for seed in range(10):
        for by in ("streets", "blocks"):
            found = cells_of(random_town(seed), by=by)
            seen |= {"shown"} if found.record["cells"] else {"none"}
            seen |= {"hidden"} if found.record["hidden_cells"] and found.record["cells"] else set()
            column = "stretch" if by == "streets" else "square"
            joined = found.cells[column].str.contains(";").fillna(False)
            seen |= ({f"{by} joined"} if joined.any() else set()) | (
                {f"{by} alone"} if (~joined).any() else set()
            )
            seen |= set(found.cells["side"].dropna())
    assert seen >= {
        "shown",
        "none",
        "hidden",
        "streets joined",
        "streets alone",
        "blocks joined",
        "blocks alone",
    }
    assert seen >= {"both sides", "north", "south", "east", "west"}


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 7, 13])
def test_linear_programming_pins_no_home_and_no_small_side(seed: int) -> None:
    """The sharpest attack: all rounded sums and the exact total as bounds on every home's litres, solved for each home
    and each side with too few. None of them may be known to lie above nothing, nor below 2.5 times what it is."""
    town = random_town(seed)
    found, homes = cells_of(town), town.homes.reset_index(drop=True)
    sets = members(found.cells, homes, town.sides)
    litres = homes["capturable_l_yr"].to_numpy()
    published = found.cells["capturable_l_yr"].to_numpy()
    small = [
        side.to_numpy()
        for side in (homes["side_id"].eq(one) for one in homes["side_id"].unique())
        if 0 < side.sum() < 10
    ]
    singles = [np.arange(len(homes)) == one for one in np.argsort(-litres)[:12]]
    assert small and len(sets)
    for target in [*small, *singles]:
        low, high = bounds(target, sets, published, 10_000.0, litres.sum())
        assert low <= 1
        assert high + 5_001 >= litres[target].max() * 2.5


def test_an_edition_of_both_streets_and_blocks_would_be_read_back() -> None:
    """The auditor can find something: what streets and blocks together would tell."""
    town = random_town(5)
    homes = town.homes
    streets, blocks = cells_of(town), cells_of(town, by="blocks")
    both = np.vstack([members(streets.cells, homes, town.sides), members(blocks.cells, homes, town.sides)])
    assert faults(both, homes, 10, 0.4)
    other_grid = cells_of(town, by="blocks", cell_m=160)
    moved = np.vstack([members(blocks.cells, homes, None), members(other_grid.cells, homes, None)])
    assert faults(moved, homes, 10, 0.4)


# The same however it is asked


@pytest.mark.parametrize("by", ["streets", "blocks"])
def test_order_and_private_columns_change_nothing(by: str) -> None:
    """Only the list, the side and published figures are looked at: all else may be anything, or not there."""
    town = random_town(8)
    found = cells_of(town, by=by).cells
    needed = ["parcel_id", "list", "side_id", *MEASURES, "geometry"]
    draw = np.random.default_rng(0)
    mixed = PublicTown(
        town.parcels[needed].sample(frac=1, random_state=2),
        town.sides[["side_id", "street", "stretch", "side", "geometry"]].sample(frac=1, random_state=3),
    )
    pd.testing.assert_frame_equal(pd.DataFrame(found), pd.DataFrame(cells_of(mixed, by=by).cells))
    private = [one.name for one in PARCELS.fields if not one.published and one.name not in needed]
    noisy = town.parcels.assign(**{name: draw.random(len(town.parcels)) for name in private})
    pd.testing.assert_frame_equal(
        pd.DataFrame(found), pd.DataFrame(cells_of(PublicTown(noisy, town.sides), by=by).cells)
    )
    assert {name for name in MEASURES if not PARCELS.field(name).published} == set()
    assert all(SIDES.field(name).published for name in ("street", "stretch", "side"))


def test_nothing_given_is_changed() -> None:
    town = random_town(2)
    parcels, sides = town.parcels.copy(), town.sides.copy()
    cells_of(town)
    cells_of(town, by="blocks")
    assert_geodataframe_equal(parcels, town.parcels)
    assert_geodataframe_equal(sides, town.sides)


def test_homes_are_those_on_the_list_of_homes() -> None:
    town = random_town(6)
    assert set(town.parcels["list"].dropna()) == {HOMES, LARGE_ROOFS}
    assert cells_of(town).record["homes_left_out"] <= len(town.homes)
