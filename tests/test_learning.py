"""Chances learned from the log: shrinkage held against SciPy, seasons with known truth, and the back-test."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pydantic import ValidationError
from scipy.integrate import quad
from scipy.stats import beta, betabinom
from visits_made import TODAY, season, visits_of

from harvest.plan.back_test import back_test, log_score
from harvest.plan.learning import answers, fitted_strength, joins, learned, shrunk
from harvest.plan.visit_match import matched
from harvest.project.outputs import Limits
from harvest.project.outreach import Learning, Visits
from harvest.read.visits import read_visits

SAMPLE = Path(__file__).parents[1] / "data" / "sample"
STREETS = (np.array([2.0, 9.0, 4.0, 0.0, 12.0, 7.0]), np.array([20.0, 20.0, 9.0, 6.0, 25.0, 31.0]))
"""Answers and doors of six streets, made up for the worked example."""

FREE = Learning(least_doors=1.0, most_doors=1e6, usual_doors=40.0, most_pull=5.0)


def test_the_shrinkage_by_scipys_beta_binomial() -> None:
    """A worked example: the mean of the street's chance, given its answers, by integrating the beta-binomial.

    The chance that one more door answers is P(k + 1 of n + 1 and k of n) / P(k of n): the ratio of two of SciPy's
    beta-binomial probabilities, and the mean of SciPy's beta distribution after the answers.
    """
    hits, doors = STREETS
    mean, strength = 0.33, 12.0
    a, b = mean * strength, (1 - mean) * strength
    found = shrunk(hits, doors, mean, strength)
    assert found == pytest.approx(beta.mean(a + hits, b + doors - hits))
    after = betabinom.pmf(hits + 1, doors + 1, a, b) * (hits + 1) / (doors + 1)
    assert found == pytest.approx(after / betabinom.pmf(hits, doors, a, b))
    assert found[0] == pytest.approx((12 * 0.33 + 2) / (12 + 20))
    upper = quad(lambda p: p * beta.pdf(p, a, b) * p**2 * (1 - p) ** 18, 0, 1)[0]
    assert found[0] == pytest.approx(
        upper / quad(lambda p: beta.pdf(p, a, b) * p**2 * (1 - p) ** 18, 0, 1)[0]
    )


def test_the_strength_is_the_likeliest_by_scipys_beta_binomial() -> None:
    """The same likelihood on a fine grid, from SciPy's ``betabinom.logpmf``, and the bell around the usual strength."""
    hits, doors = STREETS
    grid = np.exp(np.linspace(np.log(1), np.log(2000), 40_001))
    likely = (
        sum(betabinom.logpmf(k, n, 0.33 * grid, 0.67 * grid) for k, n in zip(hits, doors, strict=True))
        - np.log(grid / FREE.usual_doors) ** 2 / 2
    )
    assert fitted_strength(hits, doors, 0.33, FREE) == pytest.approx(grid[likely.argmax()], rel=1e-3)


def test_strength_stays_within_its_bounds() -> None:
    alike, unlike = np.full(50, 10.0), np.array([0.0, 30.0] * 25)
    doors = np.full(50, 30.0)
    assert fitted_strength(alike, doors, 1 / 3, Learning()) > 200
    assert fitted_strength(unlike, doors, 0.5, Learning()) == pytest.approx(8.0, rel=1e-3)
    only = Learning(least_doors=50.0, usual_doors=50.0, most_doors=50.0)
    assert fitted_strength(unlike, doors, 0.5, only) == 50.0


def test_nothing_learned_is_what_the_project_file_says() -> None:
    places = pd.DataFrame({"neighbourhood": ["a", "a", "b"], "street": ["x", "y", pd.NA]}, dtype="str")
    none = places.head(0).assign(hit=pd.Series([], dtype=bool))
    found = learned(none, places, 0.33, Learning())
    assert found.of(places).tolist() == pytest.approx([0.33] * 3) and found.town == pytest.approx(0.33)
    assert (found.streets["low"] < 0.33).all() and (found.streets["high"] > 0.33).all()
    own = beta.ppf([0.1, 0.9], 0.33 * 40, 0.67 * 40)
    assert (found.streets["low"] < own[0] - 0.02).all() and (found.streets["high"] > own[1] + 0.02).all(), (
        "the town's own chance is not known either"
    )
    with pytest.raises(ValueError, match="lies between 0 and 1"):
        learned(none, places, 1.0, Learning())
    with pytest.raises(ValueError, match="1 places were not given"):
        found.of(pd.DataFrame({"neighbourhood": ["c"], "street": ["x"]}, dtype="str"))


def test_more_doors_say_more_and_the_pull_is_capped() -> None:
    def street(name: str, hits: int, doors: int) -> pd.DataFrame:
        hit = np.arange(doors) < hits
        return pd.DataFrame({"neighbourhood": "a", "street": name, "hit": hit})

    trials = pd.concat(
        [street("few", 2, 2), street("many", 60, 60), street("other", 20, 80)], ignore_index=True
    )
    places = pd.DataFrame({"neighbourhood": ["a", "b"], "street": ["new", "far"]})
    free = learned(trials, places, 0.33, Learning(most_pull=5.0)).streets.set_index("street")
    assert free["chance"]["other"] < free["chance"]["new"] < free["chance"]["few"] < free["chance"]["many"]
    assert free["high"]["many"] - free["low"]["many"] < free["high"]["new"] - free["low"]["new"]
    assert not free["capped"].any() and free["chance"]["far"] != free["chance"]["new"]
    held = learned(trials, places, 0.33, Learning(most_pull=1.2))
    streets = held.streets.set_index("street")
    assert streets["chance"].max() == pytest.approx(held.town * 1.2) and streets["capped"]["many"]
    assert streets["chance"].min() == pytest.approx(held.town / 1.2)
    assert (streets["low"] <= streets["chance"]).all() and (streets["chance"] <= streets["high"]).all()
    still = learned(trials, places, 0.33, Learning(most_pull=1.0))
    assert np.ptp(still.streets["chance"]) == 0


def test_one_long_street_does_not_speak_for_the_town() -> None:
    """A thousand doors of one street, 90 % of them answered, beside ten streets of 30 doors with 30 %."""

    def street(name: str, hits: int, doors: int) -> pd.DataFrame:
        return pd.DataFrame({"neighbourhood": "a", "street": name, "hit": np.arange(doors) < hits})

    trials = pd.concat(
        [street("long", 900, 1000), *(street(f"s{n}", 9, 30) for n in range(10))], ignore_index=True
    )
    found = learned(trials, trials, 0.33, Learning(most_pull=5.0))
    assert trials["hit"].mean() > 0.75 and found.town < 0.45
    assert found.streets.set_index("street")["chance"]["long"] == pytest.approx(0.9, abs=0.03)


def test_order_of_rows_changes_nothing() -> None:
    trials = season(5, neighbourhoods=4, streets=6)
    places = trials[["neighbourhood", "street"]]
    mixed = trials.sample(frac=1, random_state=1)
    pd.testing.assert_frame_equal(
        learned(trials, places, 0.33, Learning()).streets, learned(mixed, mixed, 0.33, Learning()).streets
    )


def test_a_known_truth_is_recovered() -> None:
    """Ten made seasons, streets with a strength of 15 doors, neighbourhoods 30, the town 0.33."""
    found = [(trials := season(seed), learned(trials, trials, 0.33, FREE)) for seed in range(10)]
    assert np.median([one.street_strength for _, one in found]) == pytest.approx(15, rel=0.2)
    assert np.median([one.neighbourhood_strength for _, one in found]) == pytest.approx(30, rel=0.5)
    assert np.mean([one.town for _, one in found]) == pytest.approx(0.33, abs=0.02)
    inside, closer = [], []
    for trials, one in found:
        truth = trials.drop_duplicates("street").set_index("street")["truth"]
        shares = trials.groupby("street")["hit"].mean()
        streets = one.streets.set_index("street").join(truth)
        inside.append(streets["truth"].between(streets["low"], streets["high"]).mean())
        error = ((streets["chance"] - streets["truth"]) ** 2).mean()
        closer.append(error / ((shares - truth) ** 2).mean())
    assert np.mean(inside) == pytest.approx(0.8, abs=0.03), (
        "10th to 90th percentile hold the truth four times in five"
    )
    assert np.mean(closer) < 0.6, "nearer to the truth than the streets' own shares"


@pytest.mark.parametrize("town", [0.33, 0.08])
def test_the_second_half_is_foretold_better_where_streets_differ(town: float) -> None:
    tests = [back_test(season(seed, town=town), town, Learning()) for seed in range(10)]
    gains = [one.gain for one in tests if one is not None]
    assert len(gains) == 10 and min(gains) > 0
    assert np.mean(gains) > 0.01


@pytest.mark.parametrize("size", [(12, 20), (2, 3)])
def test_the_second_half_is_never_foretold_much_worse(size: tuple[int, int]) -> None:
    """No street differs from any other: nothing can be won, and little may be lost."""
    for seed in range(20):
        trials = season(
            seed, neighbourhood_doors=np.inf, street_doors=np.inf, neighbourhoods=size[0], streets=size[1]
        )
        test = back_test(trials, 0.33, Learning())
        assert test is not None and test.gain > (-0.005 if size == (12, 20) else -0.02)


def test_a_foretold_half_is_calibrated() -> None:
    """Two hundred streets, no cap: what is foretold happens, within the chance of so many doors."""
    away = []
    for seed in range(10):
        test = back_test(season(seed), 0.33, FREE)
        assert test is not None and len(test.bins) == 5 and test.bins["doors"].sum() == test.foretold
        assert test.bins["foretold"].is_monotonic_increasing
        away.append(
            ((test.bins["happened"] - test.bins["foretold"]).abs() * test.bins["doors"]).sum() / test.foretold
        )
    assert np.mean(away) < 0.025


def test_the_back_test_never_looks_ahead() -> None:
    trials = season(1, neighbourhoods=3, streets=4)
    test = back_test(trials, 0.33, Learning())
    assert test is not None
    after = trials["day"] > pd.Timestamp(test.last_day)
    assert test.learned_from == int((~after).sum()) and test.foretold == int(after.sum())
    turned = back_test(trials.assign(hit=trials["hit"] ^ after), 0.33, Learning())
    assert turned is not None
    assert turned.bins["foretold"].tolist() == pytest.approx(test.bins["foretold"].tolist())
    assert turned.town_score != test.town_score
    assert back_test(trials.head(0), 0.33, Learning()) is None
    assert back_test(trials.assign(day=trials["day"].min()), 0.33, Learning()) is None


def test_the_log_score_by_hand() -> None:
    assert log_score(np.array([0.5, 0.25]), np.array([True, False])) == pytest.approx(
        (np.log(0.5) + np.log(0.75)) / 2
    )


def test_what_counts_as_an_answer_and_as_joining() -> None:
    visits = visits_of(
        ("a", "2025-05-06", "not home"), ("a", "2025-05-09", "joined"),
        ("b", "2025-05-06", "come back"),
        ("c", "2025-05-06", "refused"), ("c", "2025-06-06", "joined"),
        ("d", "2025-05-06", "ineligible"),
        ("e", "2025-05-06", "installed"), ("e", "2025-06-06", "not home"),
        ("f", "2025-05-06", "other language"),
        ("g", "2025-05-06", "verified"),
    )  # fmt: skip
    first = answers(visits).set_index("parcel_id")["hit"].to_dict()
    assert first == {"a": False, "b": True, "c": True, "d": True, "e": False, "f": True}
    decided = joins(visits).set_index("parcel_id")["hit"].to_dict()
    assert decided == {"a": True, "c": False, "d": False, "e": True, "f": False, "g": True}


def test_the_sample_log(parcels: gpd.GeoDataFrame) -> None:
    """Its second half is on streets that the first half does not have, so there is little to be learned by street;
    the test says so rather than that learning wins.
    """
    log = read_visits(Visits(file="visits_2025.csv"), SAMPLE, Limits(), TODAY).rows
    keys = [addresses.fillna("").str.casefold() for addresses in (log["address"], parcels["address"])]
    visits = log.join(matched(log, parcels, *keys, restore_zeros=True))
    where = pd.DataFrame(
        {
            "parcel_id": parcels["parcel_id"],
            "neighbourhood": parcels["parcel_id"].str[:3],
            "street": parcels["address"].str.replace(r"^\d+ ", "", regex=True),
        }
    )
    for made, start, most in ((answers, 0.33, 0.01), (joins, 0.08, 0.06)):
        test = back_test(made(visits).merge(where, on="parcel_id"), start, Learning())
        assert test is not None and test.learned_from + test.foretold == len(made(visits))
        assert abs(test.gain) < most


@pytest.mark.parametrize("change", [{"least_doors": 50.0}, {"most_doors": 20.0}])
def test_bounds_in_order(change: dict) -> None:
    with pytest.raises(ValidationError, match="usual_doors lies between"):
        Learning(**change)
