"""Ranges of not knowing and of weather: what is shared does not average out, and order never matters."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import harvest.plan.draws as draws_module
from harvest.errors import ProjectError
from harvest.plan.doubt import Ranges, ranges, total_ranges, volume
from harvest.plan.draws import Draws, Factors, Input, inputs
from harvest.project import read_project
from harvest.project.doubt import Doubt
from harvest.project.money import Costs

SURE = {
    name: [1.0, 1.0]
    for name in ("coefficient", "rain", "imagery", "block", "footprint", "material", "garden")
}
"""Every factor known exactly; tests open one at a time."""

FROZEN = [1.0385697872918258, 0.899472177634614, 1.033429749885262]


def known(**open_ranges: list[float]):
    return inputs(Doubt(**{**SURE, **open_ranges}), Costs(), 0.5)


def texts(values: list[str | None]) -> pd.Series:
    return pd.Series(values, dtype="str")


def made(count: int, draws: int = 500, seed: int = 1, blocks: int = 1, **open_ranges: list[float]) -> Draws:
    ids = texts([f"p{i}" for i in range(count)])
    return Draws(
        ids, texts([f"b{i % blocks}" for i in range(count)]), known(**open_ranges), count=draws, seed=seed
    )


def width(found: Ranges) -> float:
    return float(found.high[0] - found.low[0])


def total_width(count: int, **settings) -> float:
    """Width of the range of a total of ``count`` equal roofs, as a share of it."""
    draws = made(count, **settings)
    return width(total_ranges(draws, volume(np.ones(count), 0.5), np.zeros(count, dtype=int), 1)) / count


def test_quantiles_are_those_of_the_triangular_distribution() -> None:
    """scipy.stats.triang as reference; by hand, the 10th percentile of 0.8 to 1.2 is 0.8 + 0.2 √0.2 = 0.8894."""
    one = Input("x", "all roofs", "x", 0.8, 1.0, 1.2)
    shares = np.linspace(0.001, 0.999, 999)
    np.testing.assert_allclose(one.at(shares), stats.triang(0.5, loc=0.8, scale=0.4).ppf(shares), rtol=1e-12)
    assert one.at(np.array([0.1]))[0] == pytest.approx(0.88944, abs=1e-5)


def test_half_the_draws_lie_on_either_side_of_the_figure_in_use() -> None:
    """By hand: below, 0.25 + 0.25 √0.2; above, 0.9 - 0.4 √0.2, each side like half a triangle of its own."""
    one = Input("x", "all roofs", "x", 0.25, 0.5, 0.9)
    np.testing.assert_allclose(
        one.at(np.array([0.0, 0.1, 0.5, 0.9, 1.0])),
        [0.25, 0.25 + 0.25 * 0.2**0.5, 0.5, 0.9 - 0.4 * 0.2**0.5, 0.9],
    )
    with pytest.raises(ValueError, match="does not lie between"):
        Input("x", "all roofs", "x", 0.3, 0.2, 0.9)


@pytest.mark.parametrize("level", ["coefficient", "rain", "imagery", "block", "footprint", "material"])
def test_range_of_one_roof_with_one_doubt(level: str) -> None:
    """One factor from 0.8 to 1.2 on 1,000 L: 889.4 to 1,110.6 L by hand, 10,000 draws hit it within 0.6 %."""
    draws = made(1, draws=10_000, **{level: [0.8, 1.2]})
    found = ranges(draws, volume(np.array([1_000.0]), 0.5))
    np.testing.assert_allclose([found.low[0], found.high[0]], [889.44, 1110.56], rtol=0.006)
    assert list(found.matters) == [level]
    assert found.share[0] == pytest.approx(1.0)


def test_random_numbers_are_even_and_hang_together_neither_over_ids_nor_over_draws() -> None:
    """Kolmogorov-Smirnov against the uniform distribution, and correlations, for ids that are almost alike."""
    draws = made(400, draws=500, footprint=[0.5, 2.0], material=[0.5, 2.0])
    rows = slice(0, 400)
    area, material = draws.values("footprint", rows), draws.values("material", rows)
    below = draws.inputs["footprint"]
    share = np.where(area < 1, 0.5 * ((area - below.low) / 0.5) ** 2, 1 - 0.5 * (2.0 - area) ** 2)
    assert stats.kstest(share.ravel(), "uniform").pvalue > 0.01
    for table in (share, share.T):
        off_diagonal = np.corrcoef(table.T)[np.triu_indices(table.shape[1], 1)]
        assert abs(off_diagonal.mean()) < 0.001
        assert off_diagonal.std() == pytest.approx(table.shape[0] ** -0.5, rel=0.02)
    assert abs(np.corrcoef(area.ravel(), material.ravel())[0, 1]) < 0.01


def test_own_errors_average_out_and_shared_ones_do_not() -> None:
    """A hundred times as many roofs: a tenth of the range where errors are their own (1/√n), all of it where shared."""
    few, many = (total_width(count, draws=2_000, footprint=[0.8, 1.2]) for count in (100, 10_000))
    assert few / many == pytest.approx(10.0, rel=0.1)
    few, many = (total_width(count, coefficient=[0.8, 1.2]) for count in (100, 10_000))
    assert few == pytest.approx(many, rel=1e-9)


def test_a_blocks_error_averages_out_over_blocks_and_not_inside_one() -> None:
    inside = total_width(1_000, blocks=1, block=[0.8, 1.2])
    assert inside == pytest.approx(total_width(1, block=[0.8, 1.2]), rel=1e-9)
    over_four, over_400 = (total_width(4_000, draws=2_000, blocks=n, block=[0.8, 1.2]) for n in (4, 400))
    assert over_four / over_400 == pytest.approx(10.0, rel=0.1)


def test_a_total_is_less_sure_than_its_roofs_summed_as_if_independent() -> None:
    count = 3_000
    draws = Draws(
        texts([f"p{i}" for i in range(count)]),
        texts([f"b{i // 20}" for i in range(count)]),
        inputs(Doubt(), Costs(), 0.5),
        count=500,
        seed=1,
    )
    measure = volume(np.full(count, 100.0), 0.8)
    one = ranges(draws, measure)
    total = total_ranges(draws, measure, np.zeros(count, dtype=int), 1)
    roofs = (one.high - one.low).mean() / 100
    town = width(total) / (100 * count)
    assert roofs / np.sqrt(count) * 10 < town < roofs
    assert list(total.matters) == ["coefficient"]
    assert total.low[0] < 100 * count < total.high[0]


def shuffled_table() -> tuple[pd.DataFrame, np.ndarray]:
    count = 700
    numbers = np.random.default_rng(3)
    frame = pd.DataFrame(
        {
            "id": texts([f"lot {i}" for i in range(count)]),
            "block": texts([f"b{i // 9}" if i % 11 else None for i in range(count)]),
            "litres": numbers.uniform(100, 9_000, count),
        }
    )
    return frame, numbers.permutation(count)


def of_frame(frame: pd.DataFrame, seed: int = 1) -> Ranges:
    draws = Draws(frame["id"], frame["block"], inputs(Doubt(), Costs(), 0.5), count=200, seed=seed)
    return ranges(draws, volume(frame["litres"].to_numpy(), 0.8))


def test_neither_order_nor_tiling_changes_a_roofs_range(monkeypatch: pytest.MonkeyPatch) -> None:
    frame, order = shuffled_table()
    whole = of_frame(frame)
    mixed = of_frame(frame.iloc[order])
    tile = of_frame(frame.iloc[250:300])
    monkeypatch.setattr(draws_module, "CHUNK_VALUES", 200 * 7)
    small_parts = of_frame(frame)
    for found, rows in ((mixed, order), (tile, np.arange(250, 300)), (small_parts, np.arange(len(frame)))):
        np.testing.assert_array_equal(found.low, whole.low[rows])
        np.testing.assert_array_equal(found.high, whole.high[rows])
        assert list(found.matters) == list(whole.matters.iloc[rows])
        np.testing.assert_allclose(found.share, whole.share[rows], rtol=1e-9)


def test_the_parts_do_not_change_a_total(monkeypatch: pytest.MonkeyPatch) -> None:
    frame, order = shuffled_table()

    def district_totals(table: pd.DataFrame) -> Ranges:
        draws = Draws(table["id"], table["block"], inputs(Doubt(), Costs(), 0.5), count=200, seed=1)
        group = table["id"].str.removeprefix("lot ").astype(int).to_numpy() % 5 - 1
        return total_ranges(draws, volume(table["litres"].to_numpy(), 0.8), group, 4)

    whole = district_totals(frame)
    monkeypatch.setattr(draws_module, "CHUNK_VALUES", 200 * 7)
    for found in (district_totals(frame), district_totals(frame.iloc[order])):
        np.testing.assert_allclose(found.share, whole.share, rtol=1e-9)
        np.testing.assert_allclose(found.low, whole.low, rtol=1e-12)
        np.testing.assert_allclose(found.high, whole.high, rtol=1e-12)
        assert list(found.matters) == list(whole.matters)


def test_group_totals_are_sums_inside_each_draw() -> None:
    """Against plain loops over draws and groups; a row in no group and one without a figure add nothing."""
    draws = made(6, draws=60, blocks=2, coefficient=[0.8, 1.2], footprint=[0.5, 1.5], block=[0.9, 1.1])
    litres = np.array([1.0, 20.0, 300.0, np.nan, 5.0, 6.0])
    group = np.array([0, 1, 0, 1, -1, 1])
    measure = volume(litres, 0.5)
    found = total_ranges(draws, measure, group, 3)
    ((rows, factors),) = draws.parts()
    values = measure(rows, factors)
    for number in (0, 1):
        sums = [sum(v for v, g in zip(row, group, strict=True) if g == number and v == v) for row in values]
        assert found.low[number] == pytest.approx(np.percentile(sums, 10), rel=1e-12)
        assert found.high[number] == pytest.approx(np.percentile(sums, 90), rel=1e-12)
    assert (found.low[2], found.high[2]) == (0, 0)
    assert found.matters.isna().tolist() == [False, False, True]


def test_same_seed_same_bytes_another_seed_others() -> None:
    frame, _ = shuffled_table()
    first, again, other = of_frame(frame), of_frame(frame), of_frame(frame, seed=2)
    assert first.low.tobytes() == again.low.tobytes() and first.share.tobytes() == again.share.tobytes()
    assert (first.low != other.low).all()
    np.testing.assert_allclose(first.low, other.low, rtol=0.1)


def test_the_random_numbers_stay_what_they_are() -> None:
    """Figures that this version gave once; a change means that published ranges would change with it."""
    draws = made(2, draws=50, coefficient=[0.8, 1.2], footprint=[0.8, 1.2], block=[0.8, 1.2])
    found = [draws.values(name, slice(0, 2))[0, 0] for name in ("coefficient", "block", "footprint")]
    np.testing.assert_allclose(found, FROZEN, rtol=1e-12)


def test_what_matters_most_follows_the_wider_range() -> None:
    draws = made(50, rain=[0.7, 1.3], footprint=[0.9, 1.1])
    found = ranges(draws, volume(np.ones(50), 0.5))
    assert set(found.matters) == {"rain"}
    # Variances of the two triangular factors are 0.3²/6 and 0.1²/6: rain has nine tenths of the whole.
    assert found.share.mean() == pytest.approx(0.9, abs=0.03)
    draws = made(50, rain=[0.9, 1.1], footprint=[0.7, 1.3])
    assert set(ranges(draws, volume(np.ones(50), 0.5)).matters) == {"footprint"}
    # In the sum of 50 roofs their outlines have 9/50 of the weight of the rain: the rain takes over.
    total = total_ranges(draws, volume(np.ones(50), 0.5), np.zeros(50, dtype=int), 1)
    assert list(total.matters) == ["rain"]


def test_the_single_roof_that_makes_a_total_matters_as_it_does_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(draws_module, "CHUNK_VALUES", 500 * 5)
    draws = made(20, rain=[0.9, 1.1], footprint=[0.7, 1.3])
    litres = np.where(np.arange(20) == 7, 1e6, 1.0)
    total = total_ranges(draws, volume(litres, 0.5), np.zeros(20, dtype=int), 1)
    assert list(total.matters) == ["footprint"]
    assert total.share[0] == pytest.approx(0.9, abs=0.05)


def test_a_measure_of_ones_own() -> None:
    """Habits and share that replaces tap water come as themselves, not as factors."""
    draws = made(3, draws=4_000)

    def used(rows: slice, factors: Factors) -> np.ndarray:
        return np.repeat(factors.weeks * factors.replaces_tap * 1_000.0, rows.stop - rows.start, axis=1)

    found = ranges(draws, used)
    assert 0.25 * 0.3 * 1_000 < found.low[0] < 300 < found.high[0] < 0.85 * 0.9 * 1_000
    assert set(found.matters) == {"weeks"}
    with pytest.raises(ValueError, match=r"\[draws, rows\]"):
        ranges(draws, lambda rows, factors: factors.weeks)


def test_no_roof_sheds_more_than_falls_on_it() -> None:
    draws = made(1, draws=2_000, coefficient=[0.5, 1.5])
    found = ranges(draws, volume(np.array([900.0]), 0.9))
    assert found.high[0] == pytest.approx(1_000.0, rel=1e-12)
    two = made(2, draws=2_000, coefficient=[0.5, 1.5])
    found = ranges(two, volume(np.array([900.0, 400.0]), np.array([0.9, 0.4])))
    assert found.high[0] == pytest.approx(1_000.0)
    assert found.high[1] > 500.0


def test_rows_without_a_figure_and_without_doubt() -> None:
    draws = made(3, coefficient=[0.8, 1.2])
    found = ranges(draws, volume(np.array([np.nan, 0.0, 0.1]), 0.5))
    np.testing.assert_array_equal(np.isnan(found.low), [True, False, False])
    assert (found.low[1], found.high[1]) == (0, 0)
    assert found.matters.isna().tolist() == [True, True, False]
    sure = ranges(made(1), volume(np.array([0.1]), 0.5))
    assert sure.low[0] == sure.high[0] == 0.1
    assert sure.matters.isna().all()


def test_no_rows_at_all() -> None:
    draws = made(0)
    assert len(ranges(draws, volume(np.empty(0), 0.5)).low) == 0
    assert total_ranges(draws, volume(np.empty(0), 0.5), np.empty(0, dtype=int), 1).high[0] == 0


def test_roofs_without_a_block_are_blocks_of_their_own() -> None:
    ids = texts(["a", "b", "c", "d"])
    draws = Draws(ids, texts([None, None, "one", "one"]), known(block=[0.8, 1.2]), count=50, seed=1)
    values = draws.values("block", slice(0, 4))
    assert (values[:, 0] != values[:, 1]).all()
    np.testing.assert_array_equal(values[:, 2], values[:, 3])
    # A block that bears the name of a roof is still another one.
    named = Draws(ids, texts([None, "a", "a", None]), known(block=[0.8, 1.2]), count=50, seed=1)
    values = named.values("block", slice(0, 4))
    assert (values[:, 0] != values[:, 1]).all()


def test_ids_that_are_missing_or_too_few() -> None:
    with pytest.raises(ValueError, match="one is missing"):
        Draws(texts(["a", None]), texts(["x", "x"]), known(), count=50, seed=1)
    with pytest.raises(ValueError, match="2 ids but 1 blocks"):
        Draws(texts(["a", "b"]), texts(["x"]), known(), count=50, seed=1)
    with pytest.raises(ValueError, match="rows are grouped"):
        total_ranges(made(2), volume(np.ones(2), 0.5), np.zeros(3, dtype=int), 1)


def test_a_range_reaches_to_the_setting_itself() -> None:
    found = inputs(Doubt(), Costs(replaces_tap=0.95), 0.1)
    assert (found["replaces_tap"].low, found["replaces_tap"].high) == (0.3, 0.95)
    assert (found["weeks"].low, found["weeks"].middle, found["weeks"].high) == (0.1, 0.1, 0.85)


def test_many_roofs_at_once() -> None:
    """Ten thousand roofs through all inputs; nothing but sense is asked here, time is a matter of the benchmark."""
    count = 10_000
    ids = texts([f"p{i}" for i in range(count)])
    draws = Draws(ids, ids.str[:3], inputs(Doubt(), Costs(), 0.5), count=500, seed=1)
    litres = np.linspace(1.0, 1e6, count)
    found = ranges(draws, volume(litres, 0.8))
    assert (found.low < litres).all() and (litres < found.high).all()
    assert ((found.high - found.low) / litres < 0.5).all()


HEAD = """
[town]
name = "Pellwick"
[footprints]
file = "footprints.gpkg"
[rainfall]
file = "rain.tif"
[doubt]
"""


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("rain = [1.1, 0.9]", r"\[doubt\] rain: a factor's range is least, then most, with 1 between"),
        ("garden = [1.2, 2.0]", r"\[doubt\] garden: a factor's range"),
        ("weeks = [0.8, 0.2]", r"\[doubt\] weeks: a range is least, then most"),
        ("weeks = [0.2, 1.2]", r"\[doubt\] weeks.1 = 1.2: must be at most 1"),
        ("rain = [0.9]", r"\[doubt\] rain = \[0.9\]: must hold at least 2"),
        ("draws = 10", r"\[doubt\] draws = 10: must be at least 50"),
        ("seed = -1", r"\[doubt\] seed = -1"),
    ],
)
def test_a_wrong_range_is_told_in_one_sentence(tmp_path: Path, line: str, message: str) -> None:
    path = tmp_path / "town.toml"
    path.write_text(HEAD + line, encoding="utf-8")
    with pytest.raises(ProjectError, match=message) as caught:
        read_project(path)
    assert "\n" not in str(caught.value)
