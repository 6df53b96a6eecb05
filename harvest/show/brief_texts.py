"""What the brief says beside its tables, worked out from the result: every text ready to set."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from harvest.result import Result
from harvest.show.card_texts import CardTexts, one_line
from harvest.show.figures import read_unit, rounded, shown, shown_range
from harvest.show.town import SAVING, TownFigure, made_up_days, suggested_barrels, town_figures
from harvest.show.words.brief import CAUTIONS, MEANS, said
from harvest.show.words.cards import day_told

DIGITS = 2
LEVELS = ("runoff_l_yr", "capturable_l_yr", "yield_l_yr")
LONGEST_INPUT = 60
MOST_CHECKS = 8
WHOLE_YEAR = ("01-01", "12-31")
TINY_SHARE = 0.001

SETTINGS = (
    *("season.first", "season.last", "losses.way", "losses.coefficient", "losses.event_coefficient"),
    *("losses.wetting_mm", "footprints.gutter_least_m2", "barrel.volume_l", "storm.intensity_mm_h"),
    *("habits.sessions_a_week", "habits.weeks_share", "habits.most_l", "doubt.draws", "costs.replaces_tap"),
)
"""The settings that a brief tells."""


@dataclass(frozen=True)
class Level:
    """One level of the town's water. ``note`` is the line of the method behind it, ``share`` the bar [1 is all]."""

    label: str
    means: str
    figure: str
    unit: str
    range: str
    hangs_on: str
    share: float
    note: int


class BriefTexts:
    """Turns one result into the sentences of its brief."""

    def __init__(self, result: Result) -> None:
        self.result, self.run = result, result.run
        self.settings: dict[str, Any] = {one["setting"]: one["value"] for one in self.run["settings"]}
        self.units: str = self.run["units"]
        self.figures = town_figures(result)
        self.door = CardTexts(self.run, self.settings)

    def levels(self) -> list[Level]:
        """Sheds, capturable, used: each with its range, and what that hangs on."""
        return [
            self._level(name, means, note)
            for note, (name, means) in enumerate(
                zip(LEVELS, (said("level_runoff_is"), self._season(), self._used()), strict=True), 1
            )
        ]

    def _level(self, name: str, means: str, note: int) -> Level:
        one, whole = self.figures.get(name), self.figures["runoff_l_yr"].value
        label = said(f"level_{name.split('_')[0]}")
        if one is None or one.value is None:
            return Level(label, means, said("missing"), "", "", "", 0.0, note)
        unit, _ = read_unit(self.units, one.unit)
        share = min(1.0, one.value / whole) if whole else 0.0
        hangs_on = said("hangs_on", input=one_line(one.hangs_on, LONGEST_INPUT)) if one.hangs_on else ""
        figure = self.of(one).removesuffix(unit).rstrip()
        return Level(label, means, figure, unit, self.range_of(one), hangs_on, round(share, 4), note)

    def of(self, one: TownFigure) -> str:
        """A figure of the town to two digits."""
        return shown(one.value, one.unit, self.units, DIGITS)

    def range_of(self, one: TownFigure) -> str:
        if one.low is None or one.high is None:
            return said("range_none")
        return shown_range(one.low, one.high, one.unit, self.units, DIGITS)

    def share(self) -> str | None:
        """Used as a share of all that the roofs shed, as text; None where nothing is known to be used."""
        used, sheds = self.figures.get("yield_l_yr"), self.figures["runoff_l_yr"]
        if used is None or not used.value or not sheds.value:
            return None
        part = used.value / sheds.value
        return None if part < TINY_SHARE else f"{rounded(100 * part, DIGITS)}%"

    def share_lines(self) -> list[str]:
        """The sentence on that share, and what else must be said of what is used."""
        used = self.figures.get("yield_l_yr")
        lines = []
        if used is not None and used.value:
            share = self.share()
            lines.append(said("share", share=share) if share else said("share_tiny"))
            lines.append(said("share_is"))
        if made_up_days(self.run):
            lines.append(said("made_up_days"))
        return lines

    def facts(self) -> list[tuple[str, int]]:
        """Roofs and savings, each with the line of the method behind it."""
        totals = self.run["totals"]
        area = self.figures.get("catchment_area_m2")
        facts = []
        if area is not None:
            name = "fact_roofs_one" if totals["roofs"] == 1 else "fact_roofs"
            facts.append((said(name, count=f"{totals['roofs']:,}", area=self.of(area)), 1))
        saving = self.figures.get(SAVING)
        if saving is not None and saving.value is not None:
            known = saving.low is not None and saving.high is not None
            name = "fact_saving_range" if known else "fact_saving"
            money = shown(saving.value, "USD", self.units)
            ends = shown_range(saving.low, saving.high, "USD", self.units)
            facts.append((said(name, saving=money, range=ends), 3))
        return facts

    def _used(self) -> str:
        barrels = suggested_barrels(self.result)
        if not barrels:
            return said("level_yield_none")
        many = said("barrel_one") if barrels == 1 else said("barrel_many", count=f"{barrels:,}")
        return said("level_yield_is", barrels=many)

    def _days(self) -> dict[str, str] | None:
        """First and last day of the season, as text; None for a whole year."""
        ends = self.settings["season.first"], self.settings["season.last"]
        if ends == WHOLE_YEAR:
            return None
        return dict(zip(("first", "last"), (day_told(one, self.units) for one in ends), strict=True))

    def _season(self) -> str:
        days = self._days()
        return said("level_capturable_is", **days) if days else said("level_capturable_year")

    def means(self) -> list[str]:
        return [said(name) for name in MEANS]

    def means_not(self) -> list[str]:
        share = self.share()
        return [
            said("not_use"),
            self._flood(),
            said("not_rank"),
            said("not_share", share=share) if share else said("not_share_unknown"),
            said("not_promise"),
        ]

    def _flood(self) -> str:
        minutes = self.result.table("parcels", ["fill_min"])["fill_min"].median()
        if pd.isna(minutes):
            return said("not_flood_short")
        count = max(round(float(minutes)), 1)
        return said(
            "not_flood",
            volume=self.door.volume(),
            minutes=said("minute")
            if count == 1
            else said("minutes", count=rounded(count, DIGITS).removesuffix(".0")),
            intensity=self.door.exactly(self.settings["storm.intensity_mm_h"], "mm/h"),
        )

    def method(self, measure: str) -> list[str]:
        """How figures were worked out, a line each; footnotes point to these by number."""
        share = _percent(self.settings["costs.replaces_tap"])
        return [
            self._method_sheds(),
            self._method_capturable(),
            self._method_used(share),
            said("method_ranges", draws=f"{self.settings['doubt.draws']:,}"),
            said(f"method_streets_{measure}", share=share),
        ]

    def _method_sheds(self) -> str:
        if self.settings["losses.way"] == "annual ratio":
            return said("method_sheds", coefficient=f"{self.settings['losses.coefficient']:.2f}")
        return said(
            "method_sheds_event",
            coefficient=f"{self.run['totals']['effective_coefficient']:.2f}",
            wetting=self.door.exactly(self.settings["losses.wetting_mm"], "mm"),
            event=f"{self.settings['losses.event_coefficient']:.2f}",
        )

    def _method_capturable(self) -> str:
        least = self.door.figure(self.settings["footprints.gutter_least_m2"], "m²")
        days = self._days()
        name = "method_capturable" if days else "method_capturable_year"
        return said(name, least=least, **(days or {}))

    def _method_used(self, share: str) -> str:
        times = self.settings["habits.sessions_a_week"]
        tariff = "tariff.blocks" in self.settings
        return said(
            "method_used",
            volume=self.door.volume(),
            days=self._rain_days(),
            times={1: said("once"), 2: said("twice")}.get(times, said("times", count=f"{times:g}")),
            weeks=_percent(self.settings["habits.weeks_share"]),
            most=self.door.figure(self.settings["habits.most_l"], "L"),
            money=said("method_money", share=share) if tariff else said("method_no_money"),
        )

    def _rain_days(self) -> str:
        if made_up_days(self.run):
            return said("days_made_up")
        years = (self.run.get("weather") or {}).get("years")
        return said("days_gauge", first=min(years), last=max(years)) if years else said("days_gauge_plain")

    def findings(self) -> list[str]:
        """How many findings there are to look into, and what they are about; never whom they are about."""
        frame = self.result.table("findings", ["check", "severity", "count"])
        serious, warnings = (int(frame["severity"].eq(name).sum()) for name in ("serious", "warning"))
        if not serious + warnings:
            return [said("findings_none")]
        many = said("warning_one") if warnings == 1 else said("warning_many", count=f"{warnings:,}")
        return [said("findings_count", serious=f"{serious:,}", warnings=many), *self._named(frame)]

    def _named(self, frame: pd.DataFrame) -> Iterator[str]:
        for severity in ("serious", "warning"):
            rows = frame[frame["severity"].eq(severity)]
            sums = rows.groupby("check", sort=True)["count"].sum().sort_values(ascending=False, kind="stable")
            told = [said("finding", check=name, count=f"{int(count):,}") for name, count in sums.items()]
            if len(told) > MOST_CHECKS:
                told = [*told[:MOST_CHECKS], said("more", count=len(told) - MOST_CHECKS)]
            if told:
                yield said("findings_named", severity=said(f"severity_{severity}"), checks=", ".join(told))

    def cautions(self) -> list[str]:
        return [said(name, volume=self.door.volume(), weight=self.door.weight()) for name in CAUTIONS]


def _percent(share: float) -> str:
    return f"{rounded(100 * share, DIGITS).removesuffix('.0')}%"
