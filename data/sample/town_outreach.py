"""Invented records of the outreach office: drainage reports and last season's visits, typed by people."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

BARREL_GAL = 55
HOMES = ("single family", "two family", "row house", "townhouse")
KINDS = ("street flooding", "standing water", "blocked drain", "basement water")
NOTES = {
    "not home": ["", "", "", "left leaflet", "dog"],
    "come back": ["evening better", "after the 15th", "ask for the owner", "weekends only"],
    "joined": ["", "wants two", "has old barrel", "garden at back"],
    "installed": ["", "back left downspout", "north side", "diverter fitted"],
    "verified": ["", "in use", "screen clean", "in use, tomatoes"],
    "refused": ["", "", "no garden", "renting"],
    "ineligible": ["no downspout", "gutters drain inside", "no space"],
    "other language": ["Portuguese?", "please send a letter", ""],
}


def drainage_reports(parcels: gpd.GeoDataFrame, water: gpd.GeoDataFrame, seed: int) -> pd.DataFrame:
    """Points (degrees) with date and kind, thicker in low places: near the shore and the pond."""
    rng = np.random.default_rng([seed, 10])
    points = shapely.centroid(parcels.geometry.to_numpy())
    away = shapely.distance(points[:, None], water.geometry.to_numpy()[None, :]).min(axis=1)
    weight = np.exp(-away / 140.0) + 0.03
    count = round(len(parcels) * 0.045)
    chosen = rng.choice(len(points), count, p=weight / weight.sum())
    places = gpd.GeoSeries(points[chosen], crs=parcels.crs).translate(0, 0)
    spread = shapely.get_coordinates(places) + rng.normal(0, 9, (count, 2))
    degrees = gpd.GeoSeries(shapely.points(spread), crs=parcels.crs).to_crs("EPSG:4326")
    days = np.sort(rng.integers(0, 3 * 365, count))
    return pd.DataFrame(
        {
            "longitude": degrees.x.round(6),
            "latitude": degrees.y.round(6),
            "date": (pd.Timestamp("2022-01-01") + pd.to_timedelta(days, unit="D")).strftime("%Y-%m-%d"),
            "kind": rng.choice(KINDS, count, p=[0.36, 0.28, 0.22, 0.14]),
        }
    )


def visits(parcels: gpd.GeoDataFrame, seed: int) -> pd.DataFrame:
    """Last season's visit log: ``date, parcel, outcome, barrels, volume_gal, note``.

    Most rows name a parcel by id; some ids have lost their leading zeros, some rows give the address, and
    part of the dates are written month first.
    """
    rng = np.random.default_rng([seed, 11])
    homes = parcels[
        parcels["land_use"].isin(HOMES) & parcels["address"].notna() & (parcels["built_year"] < 2024)
    ]
    street = homes["address"].str.replace(r"^\d+ ", "", regex=True)
    sizes = street.value_counts().sort_index()
    walked: list[str] = []
    for name in rng.permutation(sizes.index.to_numpy()):
        if sizes[name] >= 8:
            walked.append(name)
        if sizes[walked].sum() >= 0.19 * len(parcels):
            break
    rows: list[tuple[pd.Timestamp, str, str, str, object, object, str]] = []
    start = pd.Timestamp("2025-05-05")
    for turn, name in enumerate(walked):
        day = start + pd.Timedelta(days=int(7 * turn + rng.integers(0, 3)))
        pull = float(rng.beta(3, 7))
        for home in homes[street == name].itertuples():
            for offset, outcome in _story(rng, pull):
                barrels = int(rng.choice([1, 2], p=[0.72, 0.28])) if outcome == "installed" else None
                note = str(rng.choice(NOTES[outcome]))
                volume = None if barrels is None else barrels * BARREL_GAL
                when = day + pd.Timedelta(days=offset)
                rows.append((when, home.parcel_id, home.address, outcome, barrels, volume, note))
    log = pd.DataFrame(rows, columns=["when", "id", "address", "outcome", "barrels", "volume_gal", "note"])
    log = log.sort_values("when", kind="stable").reset_index(drop=True)
    draw = rng.random(len(log))
    parcel = log["id"].where(draw >= 0.06, log["id"].str.lstrip("0"))
    parcel = parcel.where((draw < 0.06) | (draw >= 0.13), log["address"])
    odd = (rng.random(len(log)) < 0.15).tolist()
    date = [
        f"{day.month}/{day.day}/{day.year}" if other else day.strftime("%Y-%m-%d")
        for day, other in zip(log["when"], odd, strict=True)
    ]
    log = log.assign(date=date, parcel=parcel, barrels=log["barrels"].astype("Int64"))
    log["volume_gal"] = log["volume_gal"].astype("Int64")
    log["note"] = log["note"].replace("", None)
    return log[["date", "parcel", "outcome", "barrels", "volume_gal", "note"]]


def _story(rng: np.random.Generator, pull: float) -> list[tuple[int, str]]:
    """What happened at one door: days after the first knock, and the outcome."""
    told: list[tuple[int, str]] = []
    day = 0
    for _ in range(3):
        draw = rng.random()
        if draw < 0.52:
            told.append((day, "not home"))
            if rng.random() < 0.45:
                return told
            day += int(rng.integers(4, 16))
        elif draw < 0.58:
            told.append((day, "come back"))
            day += int(rng.integers(5, 12))
        else:
            break
    else:
        return told
    draw = rng.random()
    if draw > pull:
        told.append((day, str(rng.choice(["refused", "ineligible", "other language"], p=[0.78, 0.14, 0.08]))))
        return told
    told.append((day, "joined"))
    if rng.random() < 0.72:
        day += int(rng.integers(10, 30))
        told.append((day, "installed"))
        if rng.random() < 0.6:
            told.append((day + int(rng.integers(20, 50)), "verified"))
    return told
