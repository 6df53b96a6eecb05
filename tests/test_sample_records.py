"""The invented town's rain, records, project file and README fit one another."""

from __future__ import annotations

import re

import geopandas as gpd
import pandas as pd
import pytest
import rasterio
from conftest import SAMPLE
from make_town import Town

from harvest.project import read_project


def test_rain_grid() -> None:
    with rasterio.open(SAMPLE / "rain_monthly.tif") as grid:
        assert grid.count == 12 and set(grid.units) == {"mm"} and set(grid.scales) == {0.1}
        assert grid.descriptions[0] == "January mean rain" and grid.res == pytest.approx((0.008, 0.008))
        year = grid.read(masked=True).sum(axis=0) * 0.1
        assert year.mask.any() and 1050 < year.min() < year.max() < 1200
        assert float(year.max() - year.min()) > 15
        spot = year[grid.index(-58.0, 40.99)]
    gauge = pd.read_csv(SAMPLE / "gauge_daily.csv", parse_dates=["date"])
    months = gauge.groupby(gauge["date"].dt.month)["rain_mm"].sum() / 20
    assert months.sum() / float(spot) == pytest.approx(1.0, abs=0.05)


def test_gauge() -> None:
    gauge = pd.read_csv(SAMPLE / "gauge_daily.csv", parse_dates=["date"]).set_index("date")["rain_mm"]
    every = pd.date_range("2004-01-01", "2023-12-31")
    assert every.difference(gauge.index).tolist() == pd.date_range("2017-06-21", "2017-06-23").tolist()
    assert gauge.isna().sum() == 12 + 2
    assert gauge["2015-10-03":"2015-10-04"].isna().all() and gauge["2015-10-05"] >= 18
    assert gauge.min() == 0 and gauge.max() < 150
    wet = gauge.dropna() > 0
    assert 120 < wet.groupby(wet.index.year).sum().mean() < 165
    assert wet[wet.shift(fill_value=False)].mean() > wet[~wet.shift(fill_value=False)].mean() + 0.1


def test_temperature_and_drainage_reports() -> None:
    heat = pd.read_csv(SAMPLE / "temperature_monthly.csv")
    assert heat["month"].tolist() == list(range(1, 13)) and (heat["tmax_c"] > heat["tmin_c"]).all()
    reports = pd.read_csv(SAMPLE / "drainage_reports.csv", parse_dates=["date"])
    assert 40 <= len(reports) <= 90 and reports["kind"].nunique() == 4
    assert (
        reports["longitude"].between(-58.03, -57.98).all() and reports["latitude"].between(40.98, 41.01).all()
    )


def test_visits(parcels: gpd.GeoDataFrame) -> None:
    log = pd.read_csv(SAMPLE / "visits_2025.csv", dtype={"parcel": "str"})
    assert set(log["outcome"]) == {
        "not home", "come back", "joined", "installed", "verified", "refused", "ineligible", "other language",
    }  # fmt: skip
    by_id = log["parcel"].isin(parcels["parcel_id"])
    lost_zeros = log["parcel"].str.zfill(7).isin(parcels["parcel_id"]) & ~by_id
    by_address = log["parcel"].isin(parcels["address"])
    assert (by_id | lost_zeros | by_address).all()
    assert by_id.mean() > 0.8 and lost_zeros.sum() > 5 and by_address.sum() > 5
    odd = log["date"].str.fullmatch(r"\d{1,2}/\d{1,2}/2025")
    assert 0.05 < odd.mean() < 0.3 and log["date"][~odd].str.fullmatch(r"2025-\d\d-\d\d").all()
    placed = log["barrels"].notna()
    assert (log["outcome"][placed] == "installed").all() and placed.sum() == (
        log["outcome"] == "installed"
    ).sum()
    assert (log["volume_gal"][placed] == 55 * log["barrels"][placed]).all()


def test_project_file_loads_and_fits_the_layers(
    town: Town, footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame
) -> None:
    settings = read_project(SAMPLE / "pellwick.toml").settings
    assert settings.parcels is not None
    for section in (settings.footprints, settings.parcels):
        assert (SAMPLE / section.file).is_file()
    assert {settings.footprints.id, settings.footprints.kind} <= set(footprints.columns)
    own = settings.parcels
    assert {own.id, own.address, own.land_use, own.doors, own.built_year} <= set(parcels.columns)
    uses = set(settings.ranking.home_land_uses) | set(settings.ranking.large_land_uses)
    assert uses <= set(parcels["land_use"])
    listed = [parcel for rule in settings.exclude for parcel in rule.parcels]
    homes = parcels[parcels["land_use"].isin(settings.ranking.home_land_uses)]
    assert set(listed) <= set(homes["parcel_id"]) & set(town.truth["parcel_id"])
    for rule in settings.exclude:
        assert rule.column is None or parcels[rule.column].isin(rule.values).any()


def test_readme_counts(footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> None:
    text = (SAMPLE / "README.md").read_text(encoding="utf-8")
    for layer, word in ((footprints, "building outlines"), (parcels, "parcels:")):
        said = re.search(rf"([\d,]+) {word}", text)
        assert said and int(said[1].replace(",", "")) == pytest.approx(len(layer), rel=0.01)
    assert {path.name for path in SAMPLE.iterdir() if path.suffix not in (".py", ".md", "")} <= set(
        re.findall(r"`([\w.]+)`", text)
    )
