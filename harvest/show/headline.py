"""The five lines that a planner wants first."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from harvest.fields.parcels import HOMES
from harvest.result import Result
from harvest.show.figures import shown
from harvest.show.streets import best_streets
from harvest.show.town import made_up_days, suggested_barrels, town_figures
from harvest.show.words.headline import said

BEST = 3


def headline(result: Result) -> list[str]:
    """Roofs, litres, best streets or parcels, findings, and where the map is: five lines from ``result``."""
    run, totals, units = result.run, result.run["totals"], result.run["units"]
    settings = {one["setting"]: one["value"] for one in run["settings"]}
    first, last = settings["season.first"], settings["season.last"]
    area = shown(totals["roof_area_m2"], "m²", units)
    return [
        said(
            "roofs",
            roofs=f"{totals['roofs']:,}",
            parcels=f"{totals['parcels_with_roof']:,}",
            town=run["town"],
            area=area,
        ),
        said(
            "water",
            runoff=shown(totals["runoff_l_yr"], "L/yr", units),
            capturable=shown(totals["capturable_l_yr"], "L/yr", units),
            first=first,
            last=last,
            used=_used(result, units),
        ),
        said("best", best=_best(result, units)),
        said("findings", counts=_counts(result), file=_near(result.folder / "findings.csv")),
        said("map", file=_near(result.folder / "map.html")),
    ]


def doubts(result: Result) -> list[str]:
    """The serious findings and warnings of ``result``, a line each, with what to do."""
    findings = result.table("findings")
    grave = findings[findings["severity"].ne("note")].sort_values("severity", kind="stable")
    return [
        said(
            "doubt_first" if one.first else "doubt",
            severity=one.severity,
            message=one.message,
            remedy=one.remedy,
            first=one.first,
        )
        for one in grave.fillna("").itertuples()
    ]


def _used(result: Result, units: str) -> str:
    """What the suggested barrels would let gardens use in all, with its range."""
    barrels, used = suggested_barrels(result), town_figures(result).get("yield_l_yr")
    if barrels is None or used is None:
        return said("used_unknown")
    many = said("barrel") if barrels == 1 else said("barrels", count=f"{barrels:,}")
    name = "used_made_up" if made_up_days(result.run) else "used"
    return said(name, barrels=many, used=used.text_with_range(units))


def _best(result: Result, units: str) -> str:
    """The streets to knock at first and what the rounds would win, else the homes that lead the list."""
    rounds = result.run.get("rounds")
    if rounds:
        streets, _ = best_streets(result)
        names = list(dict.fromkeys(streets["street"]))[:BEST]
        if names:
            laid = rounds["laid"]
            return said(
                "streets",
                streets=", ".join(names),
                rounds=said("round") if laid == 1 else said("rounds", count=f"{laid:,}"),
                doors=f"{rounds['doors']:,}",
                worth=shown(rounds["worth_l_yr"], "L/yr", units),
            )
    return _best_homes(result, units)


def _best_homes(result: Result, units: str) -> str:
    columns = ["parcel_id", "address", "list", "rank", "capturable_l_yr"]
    parcels = result.table("parcels", columns)
    homes = parcels[parcels["list"].eq(HOMES) & parcels["rank"].le(BEST)].sort_values("rank")
    if homes.empty:
        return said("no_home")
    places = [
        said("parcel", parcel=one.parcel_id) if pd.isna(one.address) else one.address
        for one in homes.itertuples()
    ]
    litres = [shown(float(value), "L/yr", units) for value in homes["capturable_l_yr"]]
    pairs = zip(places, litres, strict=True)
    return said("homes", homes="; ".join(said("home", place=place, water=water) for place, water in pairs))


def _counts(result: Result) -> str:
    severity = result.table("findings", ["severity"])["severity"]
    return ", ".join(f"{int((severity == name).sum())} {name}" for name in ("serious", "warning", "note"))


def _near(path: Path) -> Path:
    """``path`` as seen from here, where it lies below."""
    here = Path.cwd()
    return path.relative_to(here) if path.is_relative_to(here) else path
