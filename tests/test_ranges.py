"""How sure what barrels deliver and save is: draws keyed by id, nothing falsely certain, and money by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from small_town import LOTS, Lot, parcels_of, project_file, small_town, worked, write_rain

from harvest.fields.barrels import yield_name
from harvest.result import Result

SURE = [1.0, 1.0]
OWN = dict.fromkeys(("block", "footprint", "material", "garden"), SURE)
"""What each roof has of its own is known."""

SHARED = dict.fromkeys(("coefficient", "rain", "imagery"), SURE) | {
    "weeks": [0.5, 0.5],
    "replaces_tap": [0.6, 0.6],
}
"""What all roofs share is known."""

KNOWN_COSTS = {"barrel_range_usd": [110.0, 110.0], "life_range_years": [10.0, 10.0]}
PLAIN: dict[str, Any] = {"temperature": None}
"""A plain weekly draw is quicker to run."""

ENDS = ["capturable_low_l_yr", "capturable_high_l_yr"]
USED_ENDS = ["yield_low_l_yr", "yield_high_l_yr"]
FEW = {name: LOTS[name] for name in ("house", "large", "tight")}
FOUR = FEW | {"long": LOTS["long"]}
DOZEN = {f"lot {number}": LOTS["house"] for number in range(12)}


def widths(low: Any, high: Any, middle: Any) -> Any:
    """Ranges beside their middle."""
    return (high - low) / middle


# keyed by id


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, pd.DataFrame]:
    """The small town's project and its parcels."""
    project = small_town(tmp_path_factory.mktemp("whole"), FOUR)
    return project, parcels_of(worked(project)[0])


def test_shuffled_and_reprojected_towns_have_the_same_ranges(
    whole: tuple[Path, pd.DataFrame], tmp_path: Path
) -> None:
    _, parcels = whole
    project = small_town(tmp_path, FOUR)
    for name, crs in (("parcels", 26986), ("footprints", 4326)):
        layer = gpd.read_parquet(tmp_path / f"{name}.parquet")
        layer.sample(frac=1, random_state=3).to_crs(crs).to_parquet(tmp_path / f"{name}.parquet")
    other = parcels_of(worked(project)[0])
    assert other.index.equals(parcels.index)
    for name in (*ENDS, *USED_ENDS, "yield_l_yr"):
        assert other[name].to_numpy(float) == pytest.approx(
            parcels[name].to_numpy(float), rel=1e-5, nan_ok=True
        )
    assert other["yield_hangs_on"].equals(parcels["yield_hangs_on"])


def test_a_part_of_the_town_has_the_ranges_it_has_in_the_whole(
    whole: tuple[Path, pd.DataFrame], tmp_path: Path
) -> None:
    """The plane is centred anew on what is left, and the surface covers fewer roofs; draws go by id all the same."""
    _, parcels = whole
    far = {f"far {number}": Lot(30, 40, ()) for number in range(60)}
    found, _ = worked(small_town(tmp_path, FEW | far))
    assert found.plane.srs != worked(whole[0])[0].plane.srs
    other = parcels_of(found).loc[[*FEW]]
    for name in ENDS:
        assert other[name].to_numpy() == pytest.approx(parcels.loc[[*FEW], name].to_numpy(), rel=1e-4)
    for name in USED_ENDS:
        assert other[name].to_numpy() == pytest.approx(parcels.loc[[*FEW], name].to_numpy(), rel=0.01)


def test_another_seed_moves_the_ranges_a_little_and_the_figures_not_at_all(tmp_path: Path) -> None:
    project = small_town(tmp_path, FEW, doubt={"draws": 500}, **PLAIN)
    one = parcels_of(worked(project)[0])
    assert parcels_of(worked(project)[0])[[*ENDS, *USED_ENDS]].equals(one[[*ENDS, *USED_ENDS]])
    other = parcels_of(worked(project_file(tmp_path, doubt={"draws": 500, "seed": 2}, **PLAIN))[0])
    assert other["yield_l_yr"].equals(one["yield_l_yr"])
    for name in (*ENDS, *USED_ENDS):
        assert (other[name] != one[name]).all()
        assert other[name].to_numpy() == pytest.approx(one[name].to_numpy(), rel=0.1)


def test_houses_alike_have_ranges_of_their_own(tmp_path: Path) -> None:
    """What is drawn for one roof is not drawn for the next, though both are built alike."""
    parcels = parcels_of(worked(small_town(tmp_path, DOZEN, **PLAIN))[0])
    assert np.ptp(parcels["yield_l_yr"]) < 0.001
    assert parcels["yield_low_l_yr"].nunique() == 12


# how wide


def test_where_nothing_is_in_doubt_the_ends_are_the_figure_itself(tmp_path: Path) -> None:
    """Threefold rain over the town, and yields still start from each parcel's own figure."""
    tariff = {"per": "m3", "blocks": [{"price": 2.0}]}
    between = {f"vacant {number}": LOTS["vacant"] for number in range(6)}
    lots = {"house": LOTS["house"]} | between | {"tight": LOTS["tight"], "large": LOTS["large"]}
    project = small_town(tmp_path, lots, doubt=OWN | SHARED, costs=KNOWN_COSTS, tariff=tariff)
    write_rain(tmp_path, east_factor=3)
    found, told = worked(project)
    parcels = parcels_of(found)
    some = parcels[parcels["suggested_barrels"].gt(0)]
    assert some["rain_mm_yr"].max() > 1.5 * some["rain_mm_yr"].min()
    for end in (*USED_ENDS, *ENDS, "saving_low_usd_yr", "saving_high_usd_yr"):
        figure = end.replace("_low", "").replace("_high", "")
        assert some[end].to_numpy() == pytest.approx(some[figure].to_numpy(), rel=1e-5)
    assert some["yield_hangs_on"].isna().all()
    assert told["ranges"]["yield_l_yr"]["hangs_on"] is None
    assert told["ranges"]["yield_l_yr"]["low"] == pytest.approx(parcels["yield_l_yr"].sum(), rel=1e-5)


def test_adding_up_makes_surer_of_what_is_each_roofs_own_and_of_nothing_else(tmp_path: Path) -> None:
    """A dozen houses: the town's range is narrower than a house's, and no narrower than what all share leaves it."""
    draws = {"draws": 500, "block_m": 20.0}
    found, told = worked(small_town(tmp_path, DOZEN, doubt=draws, **PLAIN))
    parcels = parcels_of(found)
    _, shared_alone = worked(project_file(tmp_path, doubt=draws | OWN, **PLAIN))
    for name, low, high in (("capturable_l_yr", *ENDS), ("yield_l_yr", *USED_ENDS)):
        house = widths(parcels[low], parcels[high], parcels[name]).mean()
        ends, alone = told["ranges"][name], shared_alone["ranges"][name]
        town = widths(ends["low"], ends["high"], parcels[name].sum())
        shared = widths(alone["low"], alone["high"], parcels[name].sum())
        assert 0.95 * shared <= town < house
        assert town <= 1.1 * np.hypot(shared, house / np.sqrt(12))


def test_without_shared_errors_a_town_is_as_sure_as_averages_make_it(tmp_path: Path) -> None:
    """A dozen houses, each with errors of its own alone: the sum's spread shrinks by about the root of twelve."""
    draws = {"draws": 500, "block_m": 20.0}
    found, told = worked(small_town(tmp_path, DOZEN, doubt=draws | SHARED, **PLAIN))
    parcels = parcels_of(found)
    ends = told["ranges"]["capturable_l_yr"]
    town = widths(ends["low"], ends["high"], parcels["capturable_l_yr"].sum())
    house = widths(parcels[ENDS[0]], parcels[ENDS[1]], parcels["capturable_l_yr"]).mean()
    assert town == pytest.approx(house / np.sqrt(12), rel=0.15)


def test_houses_of_one_block_share_its_error(tmp_path: Path) -> None:
    """Blocks that hold the whole row, and nothing else in doubt: adding up averages nothing out."""
    doubt = OWN | SHARED | {"block": [0.7, 1.3], "block_m": 5000.0}
    found, told = worked(small_town(tmp_path, DOZEN, doubt=doubt, **PLAIN))
    parcels = parcels_of(found)
    assert parcels[ENDS].round(6).drop_duplicates().shape == (1, 2)
    ends = told["ranges"]["capturable_l_yr"]
    assert ends["low"] == pytest.approx(parcels[ENDS[0]].sum(), rel=1e-6)
    assert ends["high"] == pytest.approx(parcels[ENDS[1]].sum(), rel=1e-6)


def test_no_draw_lets_a_roof_shed_more_than_falls_on_it(tmp_path: Path) -> None:
    """With a coefficient of 1 there is only less: the upper end is the figure, for litres and for barrels."""
    doubt = OWN | SHARED | {"coefficient": [0.3, 1.9]}
    lots = {"house": LOTS["house"], "tap": LOTS["tap"]}
    project = small_town(tmp_path, lots, losses={"coefficient": 1.0}, doubt=doubt, **PLAIN)
    parcels = parcels_of(worked(project)[0])
    for low, high, figure in ((*ENDS, "capturable_l_yr"), (*USED_ENDS, "yield_l_yr")):
        assert parcels[high].to_numpy() == pytest.approx(parcels[figure].to_numpy(), rel=1e-4)
        assert parcels.loc["tap", low] < 0.9 * parcels.loc["tap", figure]


@pytest.mark.parametrize(
    ("doubt", "words"),
    [
        ({"weeks": [0.25, 0.85]}, "how often people draw from their barrels"),
        ({"garden": [0.36, 2.86]}, "the size of the garden"),
        ({"rain": [0.5, 1.5]}, "the rainfall grid"),
        ({"coefficient": [0.5, 1.2]}, "the runoff coefficient"),
        ({"footprint": [0.5, 1.5]}, "the outline of the roof"),
    ],
)
def test_what_a_figure_hangs_on_is_the_one_input_in_doubt(
    tmp_path: Path, doubt: dict[str, Any], words: str
) -> None:
    project = small_town(tmp_path, {"tight": LOTS["tight"]}, doubt=OWN | SHARED | doubt)
    found, told = worked(project)
    row = parcels_of(found).loc["tight"]
    assert row["yield_hangs_on"] == words
    assert told["ranges"]["yield_l_yr"]["hangs_on"] == words
    assert told["ranges"]["yield_l_yr"]["share_of_doubt"] > 0.3
    assert row["yield_low_l_yr"] < row["yield_l_yr"] < row["yield_high_l_yr"]


# money


def money(folder: Path, price: float, **more: dict[str, Any]) -> pd.Series:
    """The row of a house alone, at a flat price in USD a cubic metre."""
    sections: dict[str, Any] = {"tariff": {"per": "m3", "blocks": [{"price": price}], "fixed_usd": 30.0}}
    for name, values in more.items():
        sections[name] = sections.get(name, {}) | values
    return parcels_of(worked(project_file(folder, **PLAIN, **sections))[0]).loc["house"]


def test_savings_and_payback_by_hand(tmp_path: Path) -> None:
    """Nothing in doubt: litres × 0.6 × price; one barrel of 110 USD pays back in 10 years or it does not."""
    small_town(tmp_path, {"house": LOTS["house"]})
    sure = {"doubt": OWN | SHARED, "costs": KNOWN_COSTS}
    row = money(tmp_path, 2.0, **sure)
    assert row["suggested_barrels"] == 1
    assert row["saving_usd_yr"] == pytest.approx(row["yield_l_yr"] * 0.6 / 1000 * 2.0, rel=1e-9)
    assert (row["net_cost_usd"], row["payback_chance"]) == (110, 0)
    assert row["payback"] == "It does not pay back in money."
    even = 110 / (row["yield_l_yr"] * 0.6 / 1000 * 10)
    assert money(tmp_path, even * 0.99, **sure)["payback_chance"] == 0
    above = money(tmp_path, even * 1.01, **sure)
    assert above["payback_chance"] == 1
    assert above["payback"].startswith("It pays back in money within its life, almost surely")
    rebate = {"rebate_usd": 70.0, "rebate_most_usd": 60.0}
    helped = money(tmp_path, even * 0.51, doubt=OWN | SHARED, costs=KNOWN_COSTS | rebate)
    assert (helped["net_cost_usd"], helped["payback_chance"]) == (50, 1)


def test_dearer_water_saves_in_proportion_and_pays_back_no_less_often(tmp_path: Path) -> None:
    small_town(tmp_path, {"house": LOTS["house"]})
    doubt = {"doubt": {"draws": 500}}
    cheap, dear = (money(tmp_path, price, **doubt) for price in (4.0, 8.0))
    for name in ("saving_usd_yr", "saving_low_usd_yr", "saving_high_usd_yr"):
        assert dear[name] == pytest.approx(2 * cheap[name], rel=1e-9)
    assert cheap["saving_low_usd_yr"] < cheap["saving_usd_yr"] < cheap["saving_high_usd_yr"]
    assert 0 <= cheap["payback_chance"] < dear["payback_chance"] < 1
    assert dear["yield_low_l_yr"] == cheap["yield_low_l_yr"]
    # the doubt about what replaces tap water comes on top of that about litres
    assert widths(*cheap[["saving_low_usd_yr", "saving_high_usd_yr", "saving_usd_yr"]]) > widths(
        *cheap[[*USED_ENDS, "yield_l_yr"]]
    )


def test_nothing_is_saved_inside_what_the_fixed_charge_includes(tmp_path: Path) -> None:
    small_town(tmp_path, {"house": LOTS["house"]})
    row = money(tmp_path, 5.0, tariff={"included": 25.0})
    assert (row["saving_usd_yr"], row["saving_high_usd_yr"], row["payback_chance"]) == (0, 0, 0)
    assert row["payback"] == "It does not pay back in money."


def test_without_a_tariff_nothing_is_said_of_money_but_the_cost(tmp_path: Path) -> None:
    found, told = worked(small_town(tmp_path, FEW, **PLAIN))
    parcels = parcels_of(found)
    assert parcels[["saving_usd_yr", "saving_low_usd_yr", "payback_chance", "payback"]].isna().all().all()
    assert (parcels["net_cost_usd"] == 110 * parcels["suggested_barrels"]).all()
    assert {one.check: one.severity for one in found.findings}["no tariff"] == "note"
    assert "saving_usd_yr" not in told["ranges"]


def test_months_of_the_yield_are_those_in_season(tmp_path: Path) -> None:
    """Savings are told month by month; nothing is used before mid-April or after October."""
    tariff = {"tariff": {"per": "m3", "blocks": [{"price": 2.0}]}}
    _, told = worked(small_town(tmp_path, FEW, **PLAIN, **tariff))
    shares = np.array(told["barrels"]["month_shares"])
    assert shares.sum() == pytest.approx(1, rel=1e-12)
    assert (shares[[0, 1, 2, 10, 11]] == 0).all()
    assert (shares[4:10] > 0).all()
    southern = {"first": "10-01", "last": "03-31"}
    _, told = worked(project_file(tmp_path, season=southern, **PLAIN, **tariff))
    shares = np.array(told["barrels"]["month_shares"])
    assert (shares[3:9] == 0).all()
    assert shares.sum() == pytest.approx(1, rel=1e-12)


# the sample


def test_the_towns_figures_are_surer_than_a_parcels_and_not_too_sure(sample_result: Result) -> None:
    parcels = sample_result.table("parcels")
    some = parcels[parcels["yield_l_yr"].gt(0)]
    ends, totals = sample_result.run["ranges"], sample_result.run["totals"]
    for name, low, high in (("capturable_l_yr", *ENDS), ("yield_l_yr", *USED_ENDS)):
        mean = widths(some[low], some[high], some[name]).mean()
        town = widths(ends[name]["low"], ends[name]["high"], totals[name])
        assert 0.1 < town < mean
    assert ends["capturable_l_yr"]["hangs_on"] == "the runoff coefficient"
    assert ends["yield_l_yr"]["hangs_on"] == "how often people draw from their barrels"


def test_money_of_the_sample_follows_from_its_litres(sample_result: Result) -> None:
    """The same litres save the same, more never save less, and each range holds its figure."""
    parcels = sample_result.table("parcels")
    some = parcels[parcels["saving_usd_yr"].notna()].sort_values("yield_l_yr")
    assert len(some) > 1200
    assert (some["saving_usd_yr"].diff().dropna() >= 0).all()
    assert (some["saving_low_usd_yr"] <= some["saving_usd_yr"]).all()
    assert (some["saving_usd_yr"] <= some["saving_high_usd_yr"]).all()
    rebate = np.minimum(40 * some["suggested_barrels"], 80)
    assert (some["net_cost_usd"] == 110 * some["suggested_barrels"] - rebate).all()
    assert some["payback_chance"].between(0, 1).all()
    assert some["yield_l_yr"].to_numpy() == pytest.approx(
        [row[yield_name(int(row["suggested_barrels"]))] for row in some.to_dict("records")]
    )
