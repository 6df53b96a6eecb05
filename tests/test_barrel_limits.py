"""How far the barrel model carries on real daily records: the daily step, made-up days, losses, money.

Places and ways to water are those of :mod:`real_places`. Figures are printed and kept with each test (``pytest -s``
shows them).
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from layers_made import HOME, write_grid, written
from real_places import (
    FOUR,
    NAMES,
    ONE,
    WAYS,
    Keep,
    balance_of,
    balanced,
    days_of,
    normals,
    place,
    stepped,
    tell,
    weather_of,
)

from harvest.clock import Clock
from harvest.deliver import Barrels, delivered
from harvest.estimate import Estimate, estimate
from harvest.litres import Litres
from harvest.plan.money import claimed_saving
from harvest.project import Settings, read_project
from harvest.project.money import Block, Tariff
from harvest.ranges import month_shares, with_ranges
from harvest.run import read_inputs
from harvest.units import L_PER_GALLON
from harvest.water.surface import delivery

GAL = L_PER_GALLON


# the daily step


STEP_YEARS = 8
MOST_MORE = {
    "as people do": {1: (0.02, 0.04), 4: (0.012, 0.012)},
    "for its full need": {1: (0.02, 0.04), 4: (0.012, 0.012)},
    "an inch a week": {1: (0.04, 0.06), 4: (0.012, 0.012)},
    "an inch, every day": {1: (0.16, 0.30), 4: (0.03, 0.05)},
}
"""How much more than the daily step may come with 1 and 4 barrels: in ten-minute steps, and before spillage."""


@pytest.mark.parametrize("way", list(WAYS))
@pytest.mark.parametrize("name", NAMES)
def test_how_rough_the_daily_step_is(name: str, way: str, record_property: Keep) -> None:
    """A daily step is rough for small tanks and high demand (Campisano and Modica 2014, Procedia Eng. 70:218-227), so
    how rough is measured: the last 8 years of each record in steps of ten minutes, each day's rain as one block at
    4 mm/h that begins at a random time of the day, the draw at 7 in the morning or at 7 in the evening.

    With one step a day the plain loop gives the program's own balance. In ten-minute steps the yield lies between
    yield after and yield before spillage. A garden with a soil account is not watered on a day of rain, so the step
    hardly matters: 0 to 1.6 % more for one barrel, 0 to 0.8 % for four, whichever of the two ways people draw (before
    spillage: up to 2.9 and 0.8 %). Where a plain inch a week is drawn whatever the weather, one barrel gives 0.8 to 3 %
    more than the daily step says, four up to 0.8 % (before spillage: 4 and 0.8 %); drawn every day, rain or not, 9 to
    13 % and 1 to 2.3 % (before spillage: 19 to 25 and 2 to 4 %). The daily step is the cautious end.
    """
    found = weather_of(name, way, years=STEP_YEARS)
    yas, ybs = balance_of(found), balance_of(found, "ybs")
    for case, count in ((ONE, 1), (FOUR, 4)):
        daily = stepped(found, case, 1, 0)
        assert daily.yield_l.sum() == pytest.approx(yas.yield_l[case], rel=1e-9)
        assert daily.overflow_l.sum() == pytest.approx(yas.overflow_l[case], rel=1e-9)
        assert daily.held_l[-1] == pytest.approx(yas.end_l[case], abs=1e-6)
        fine = [stepped(found, case, 144, hour * 6).yield_l.sum() for hour in (7, 19)]
        more = [one / yas.yield_l[case] - 1 for one in (*fine, ybs.yield_l[case])]
        tell(
            record_property,
            name,
            way,
            barrels=count,
            at_7_pct=100 * more[0],
            at_19_pct=100 * more[1],
            ybs_pct=100 * more[2],
        )
        assert min(more) >= -1e-9 and max(more[:2]) <= more[2] + 1e-9
        most, most_ybs = MOST_MORE[way][count]
        assert max(more[:2]) < most and more[2] < most_ybs
        if way == "an inch, every day" and case == ONE:
            assert min(more[:2]) > 0.07 and more[2] > 0.15


# made-up days


@pytest.mark.parametrize("way", ["as people do", "for its full need"])
def test_how_far_made_up_days_can_be_trusted(way: str, record_property: Keep) -> None:
    """Three times 20 years made up from a record's own monthly normals, beside the record itself.

    What one barrel gives as people draw is off by -4 to +2 % (champion), 3 to 9 (cordoba), 5 to 12 (tunis), 12 to 16
    (brussels, whose drizzle on 200 days a year made-up days do not have), 12 to 19 (seattle), 23 to 34 (hyderabad,
    whose monsoon comes in heavier and fewer days). Watered for its full need: -10 to +18 %, hyderabad 20 to 32. So a
    figure from made-up days is good to about a fifth, more likely too high than too low, and to a third in a monsoon.
    """
    off: dict[str, float] = {}
    for name in NAMES:
        _, _, real = balanced(name, way)
        ratios = []
        for seed in (1, 2, 3):
            made = balance_of(weather_of(name, way, made_up=True, generated_rain={"seed": seed}))
            year = delivery(made, 20)
            np.testing.assert_allclose(year.inflow_l_yr, real.inflow_l_yr, rtol=0.05)
            ratios.append((year.yield_l_yr / real.yield_l_yr, year.demand_l_yr[ONE] / real.demand_l_yr[ONE]))
        of_yield = np.array([one for one, _ in ratios]) - 1
        off[name] = of_yield[:, ONE].mean()
        tell(
            record_property,
            name,
            way,
            one_low_pct=100 * of_yield[:, ONE].min(),
            one_high_pct=100 * of_yield[:, ONE].max(),
            four_mean_pct=100 * of_yield[:, FOUR].mean(),
            asks_mean_pct=100 * float(np.mean([asks for _, asks in ratios]) - 1),
        )
        assert of_yield[:, ONE].min() > -0.16
        assert of_yield[:, ONE].max() < (0.45 if name == "hyderabad" else 0.26)
    assert np.mean(list(off.values())) > 0 and max(off, key=lambda name: off[name]) == "hyderabad"


# losses


@pytest.mark.parametrize("name", NAMES)
def test_losses_are_counted_once(name: str, record_property: Keep) -> None:
    """The event way's effective coefficient lies below its event coefficient of 0.88, since wetting comes off too, and
    near the ratio's 0.80 (0.70 to 0.88: the ranges of enHealth 2010, App. B and TRCA/STEP LID wiki, widened). The
    year's litres are the days' litres, and the settings of the way not chosen change nothing."""
    months = normals(place(name).rain)[None, :]
    years = len(place(name).rain.years)
    found = weather_of(name, "as people do", losses={"way": "event"}, season={})
    plain = 0.88 * np.maximum(place(name).rain.rain_mm - 0.5, 0.0)
    litres = Litres.of(months, found.settings, found)
    year = float(litres.year_left_mm[0] * litres.year_coefficient[0])
    tell(record_property, name, effective_coefficient=litres.year_coefficient[0])
    assert 0.70 < litres.year_coefficient[0] < 0.88
    assert abs(litres.year_coefficient[0] - 0.80) < 0.06
    np.testing.assert_allclose(days_of(found).depth_mm[0], plain, rtol=1e-9, atol=1e-12)
    assert year * years == pytest.approx(plain.sum(), rel=1e-9)
    for way, other in (
        ("event", {"coefficient": 0.5, "wetting_mm_yr": 24.0}),
        (
            "annual ratio",
            {"event_coefficient": 0.5, "wetting_mm": 2.0, "first_flush_mm": 2.0, "filter_share": 0.9},
        ),
    ):
        alone, beside = (
            weather_of(name, "as people do", losses={"way": way, **changed}, season={})
            for changed in ({}, other)
        )
        np.testing.assert_array_equal(days_of(alone).depth_mm, days_of(beside).depth_mm)
        told_alone, told_beside = (Litres.of(months, one.settings, one) for one in (alone, beside))
        for part in ("year_left_mm", "season_left_mm", "year_coefficient", "season_coefficient"):
            np.testing.assert_array_equal(getattr(told_alone, part), getattr(told_beside, part))
        assert told_alone.storm_left_mm == told_beside.storm_left_mm


# money


TARIFFS = {
    "thesvwc": Tariff(per="CCF", fixed_usd=20.36, blocks=[Block(price=1.02)]),
    "oakley": Tariff(
        per="1000 gal",
        fixed_usd=27.0,
        included=5.0,
        blocks=[Block(up_to=15.0, price=2.0), Block(price=1.10)],
        use_l_month=16_000 * GAL,
    ),
    "westfield": Tariff(per="1000 gal", fixed_usd=20.50, billing_months=3, blocks=[Block(price=2.95)]),
}
"""thesvwc.com 2014; City of Oakley, discoveroakley.com/171/Sewer; westfielddevelopment.com FAQ 126."""
USD_PER_GAL = {"thesvwc": 1.02 / 748.052, "oakley": 1.10 / 1000, "westfield": 2.95 / 1000}
"""What the first gallons saved come out of: Oakley's household is in the upper, cheaper block."""


@pytest.fixture(scope="module")
def row_of_homes(tmp_path_factory: pytest.TempPathFactory) -> tuple[Estimate, Barrels, Settings]:
    """Ten houses of 111 m² on lots of 600 m² under champion's rain (and so a grid of its months), through the program.

    They stand in Massachusetts by their coordinates, 2 degrees north of the record.
    """
    folder = tmp_path_factory.mktemp("homes")
    here = place("champion")
    x = HOME[0] + 20 * np.arange(10)
    for name, boxes in (
        ("roofs.gpkg", shapely.box(x + 4, HOME[1] + 10, x + 14, HOME[1] + 21.1)),
        ("lots.gpkg", shapely.box(x, HOME[1], x + 20, HOME[1] + 30)),
    ):
        ids = {"id": [f"{name[0]}{number}" for number in range(10)]}
        written(gpd.GeoDataFrame(ids, geometry=boxes, crs=26986), folder, name)
    grid = np.broadcast_to(normals(here.rain)[:, None, None], (12, 40, 40)).astype("float64")
    write_grid(folder / "rain.tif", grid, west=-71.0, north=43.0)
    days = pd.Series(here.rain.rain_mm, index=here.rain.dates.astype(str), name="rain_mm")
    days.to_csv(folder / "days.csv", index_label="date")
    warm = pd.DataFrame(
        {"month": range(1, 13), "tmin_c": here.temperature.tmin_c, "tmax_c": here.temperature.tmax_c}
    )
    warm.to_csv(folder / "warm.csv", index=False)
    project = folder / "homes.toml"
    project.write_text(
        """
        town = { name = "A row of homes" }
        footprints = { file = "roofs.gpkg", id = "id" }
        parcels = { file = "lots.gpkg", id = "id" }
        rainfall = { file = "rain.tif" }
        gauge = { file = "days.csv" }
        temperature = { file = "warm.csv" }
        season = { first = "05-05", last = "09-29" }
        """,
        encoding="utf-8",
    )
    opened = read_project(project)
    inputs = read_inputs(opened, Clock())
    found, barrels = delivered(estimate(inputs, opened.settings, Clock()), inputs, opened.settings, Clock())
    assert barrels is not None
    return found, barrels, opened.settings


@pytest.mark.parametrize("tariff", list(TARIFFS))
def test_at_published_prices_a_barrel_does_not_pay_back(
    tariff: str, row_of_homes: tuple[Estimate, Barrels, Settings], record_property: Keep
) -> None:
    """At three published tariffs a 110 USD barrel saves 0.18 to 0.48 USD a year, so it would take 230 to 610 years to
    pay back. A published remark has cost recovery "typically within 3-6 years" (WSU FS280E, quoting Logan 2014): at
    these prices that can't be."""
    found, barrels, settings = row_of_homes
    priced = settings.model_copy(update={"tariff": TARIFFS[tariff]})
    ranged, _ = with_ranges(found, barrels, priced, Clock())
    homes = ranged.parcels
    assert len(homes) == 10
    used = homes["yield_l_yr"].to_numpy(dtype=float)
    np.testing.assert_allclose(
        homes["saving_usd_yr"].to_numpy(dtype=float), used * 0.6 / GAL * USD_PER_GAL[tariff], rtol=1e-4
    )
    tell(
        record_property,
        tariff,
        used_l_yr=used.mean(),
        saving_usd_yr=homes["saving_usd_yr"].mean(),
        high_usd_yr=homes["saving_high_usd_yr"].mean(),
        chance=homes["payback_chance"].max(),
    )
    assert (homes["payback_chance"] == 0).all()
    assert set(homes["payback"]) == {"It does not pay back in money."}
    assert (homes["net_cost_usd"] / homes["saving_usd_yr"] > 200).all()


def test_a_hundred_dollars_a_summer_is_beyond_any_such_roof(
    row_of_homes: tuple[Estimate, Barrels, Settings], record_property: Keep
) -> None:
    """Common practice, no published source: a barrel saves 100 USD a summer; to be checked, never repeated.

    A household that takes 20,000 L of tap water a month can't save that much by any amount of rain: all its summer's
    water costs 22 USD (thesvwc.com) or 47 USD (Westfield). One that takes ten times as much would need 1,229 to 2,660
    refills of a barrel in the summer, and a roof of 1,500 to 3,250 m².
    """
    found, barrels, settings = row_of_homes
    shares = month_shares(barrels, settings)
    summer = np.where(np.isin(np.arange(12), (5, 6, 7)), shares, 0.0)
    roof = found.parcels["catchment_area_m2"].iloc[0]
    sheds = float(barrels.weather.normals_mm[5:8].sum() * settings.losses.coefficient)

    def claim(tariff: Tariff) -> Any:
        return claimed_saving(
            100.0,
            tariff,
            summer / summer.sum(),
            settings.costs.replaces_tap,
            usable_l=barrels.usable_l,
            capturable_l_yr=roof * sheds,
            yields_l_yr=list(barrels.yields_l_yr[0] * summer.sum()),
        )

    for name, gallons in (("thesvwc", 100 / 1.02 * 748.052), ("westfield", 100 / 2.95 * 1000)):
        usual = claim(TARIFFS[name])
        assert usual.litres_yr == np.inf and usual.refills_yr == np.inf and not usual.roof_could
        assert usual.most_usd_yr == pytest.approx(60_000 / GAL / gallons * 100)
        thirsty = claim(TARIFFS[name].model_copy(update={"use_l_month": 200_000.0}))
        tell(
            record_property,
            name,
            most_usd=usual.most_usd_yr,
            litres=thirsty.litres_yr,
            refills=thirsty.refills_yr,
            roof_m2=thirsty.litres_yr / sheds,
        )
        assert thirsty.litres_yr == pytest.approx(gallons * GAL / 0.6, rel=1e-4)
        assert thirsty.refills_yr == pytest.approx(thirsty.litres_yr / 174.1, rel=1e-4)
        assert not thirsty.roof_could and thirsty.barrels_needed is None
        assert thirsty.litres_yr / sheds > 10 * roof
