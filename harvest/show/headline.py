"""The five lines that a planner wants first."""

from __future__ import annotations

from pathlib import Path

from harvest.fields.parcels import HOMES
from harvest.result import Result
from harvest.show.figures import shown
from harvest.show.streets import best_streets
from harvest.show.town import made_up_days, suggested_barrels, town_figures

BEST = 3


def headline(result: Result) -> list[str]:
    """Roofs, litres, best streets or parcels, findings, and where the map is: five lines from ``result``."""
    run, totals, units = result.run, result.run["totals"], result.run["units"]
    settings = {one["setting"]: one["value"] for one in run["settings"]}
    first, last = settings["season.first"], settings["season.last"]
    area = shown(totals["roof_area_m2"], "m²", units)
    return [
        f"Roofs:    {totals['roofs']:,} on {totals['parcels_with_roof']:,} parcels of {run['town']}, "
        f"{area} seen from above.",
        f"Water:    they shed {shown(totals['runoff_l_yr'], 'L/yr', units)}; "
        f"{shown(totals['capturable_l_yr'], 'L/yr', units)} is capturable from {first} to {last}; "
        f"{_used(result, units)}",
        f"Best:     {_best(result, units)}",
        f"Findings: {_findings(result)}",
        f"Map:      {_near(result.folder / 'map.html')}",
    ]


def doubts(result: Result) -> list[str]:
    """The serious findings and warnings of ``result``, a line each, with what to do."""
    findings = result.table("findings")
    grave = findings[findings["severity"].ne("note")].sort_values("severity", kind="stable")
    return [
        f"{one.severity}: {one.message} {one.remedy}" + (f" First: {one.first}." if one.first else "")
        for one in grave.fillna("").itertuples()
    ]


def _used(result: Result, units: str) -> str:
    """What the suggested barrels would let gardens use in all, with its range."""
    barrels, used = suggested_barrels(result), town_figures(result).get("yield_l_yr")
    if barrels is None or used is None:
        return "barrels deliver a small part of that."
    many = "the 1 suggested barrel" if barrels == 1 else f"the {barrels:,} suggested barrels"
    days = ", by made-up days of rain" if made_up_days(result.run) else ""
    return f"with {many} gardens would use {used.text_with_range(units)}{days}."


def _best(result: Result, units: str) -> str:
    """The streets to knock at first and what the rounds would win, else the homes that lead the list."""
    rounds = result.run.get("rounds")
    if rounds:
        streets, _ = best_streets(result)
        names = list(dict.fromkeys(streets["street"]))[:BEST]
        if names:
            worth = shown(rounds["worth_l_yr"], "L/yr", units)
            many = "1 round" if rounds["laid"] == 1 else f"{rounds['laid']:,} rounds"
            return (
                f"{', '.join(names)} are the streets to knock at first; {many} of {rounds['doors']:,} doors can be "
                f"expected to win {worth} that gardens use."
            )
    return _best_homes(result, units)


def _best_homes(result: Result, units: str) -> str:
    columns = ["parcel_id", "address", "list", "rank", "capturable_l_yr"]
    parcels = result.table("parcels", columns)
    homes = parcels[parcels["list"].eq(HOMES) & parcels["rank"].le(BEST)].sort_values("rank")
    if homes.empty:
        return "no home stands on the list; see the status column of the parcels table."
    places = homes["address"].fillna("parcel " + homes["parcel_id"])
    litres = [shown(float(value), "L/yr", units) for value in homes["capturable_l_yr"]]
    return (
        "; ".join(f"{place} ({water})" for place, water in zip(places, litres, strict=True))
        + " lead the homes."
    )


def _findings(result: Result) -> str:
    severity = result.table("findings", ["severity"])["severity"]
    counts = [f"{int((severity == name).sum())} {name}" for name in ("serious", "warning", "note")]
    return f"{', '.join(counts)}; read {_near(result.folder / 'findings.csv')} before you publish."


def _near(path: Path) -> Path:
    """``path`` as seen from here, where it lies below."""
    here = Path.cwd()
    return path.relative_to(here) if path.is_relative_to(here) else path
