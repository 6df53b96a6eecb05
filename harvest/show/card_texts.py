"""The texts of one door card, part by part, from one row of the parcels table."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from harvest.fields.barrels import MOST_BARRELS, yield_name
from harvest.fields.parcels import RANKED
from harvest.show.figures import rounded, shown
from harvest.show.limits import NULL_SIGN
from harvest.show.words.cards import CARD_WORDS, day_told, told
from harvest.units import L_PER_GALLON

Row = Mapping[str, Any]
"""One row of the parcels table by column name."""

NO_BREAK = "\u00a0"
DIGITS = 2
"""Significant digits of every figure on a card."""

LB_PER_GALLON = 8.34
"""Weight of a gallon of water [lb]; Lancaster, Rainwater Harvesting for Drylands, appendix 3."""


@dataclass(frozen=True)
class Level:
    """One level of a year's water: its ``label``, what it ``means``, its ``figure``, its ``share`` of the first [1]."""

    label: str
    means: str
    figure: str
    share: float


@dataclass(frozen=True)
class Part:
    """A part of a card: a ``figure`` in large type with what it ``means``, and sentences."""

    heading: str
    figure: str
    means: str
    lines: list[str]


def one_line(text: str, longest: int) -> str:
    """``text`` on one line of at most ``longest`` characters, without marks that no eye can see."""
    kept = "".join(
        NULL_SIGN if one == "\x00" else " " if unicodedata.category(one) in ("Cc", "Zl", "Zp") else one
        for one in text
        if unicodedata.category(one) not in ("Cf", "Cs", "Co", "Cn")
    )
    kept = " ".join(kept.split())
    return kept if len(kept) <= longest else told("cut", text=kept[:longest].rstrip())


class CardTexts:
    """Turns rows into the texts of cards, with the settings and units of one run."""

    def __init__(self, run: dict[str, Any], settings: dict[str, Any]) -> None:
        self.settings = settings
        self.units = run["units"]
        self.made_up = str((run.get("weather") or {}).get("days", "")).startswith("made up")

    def figure(self, value: float, unit: str, digits: int = DIGITS) -> str:
        """``value`` in the run's units as text that does not break between lines."""
        return shown(float(value), unit, self.units, digits).replace(" ", NO_BREAK)

    def volume(self) -> str:
        """The size of one barrel, as text."""
        return self.exactly(self.settings["barrel.volume_l"], "L")

    def weight(self) -> str:
        """What the water of a full barrel weighs, as text; one litre is one kilogram."""
        litres = self.settings["barrel.volume_l"]
        if self.units == "us":
            return f"{rounded(litres / L_PER_GALLON * LB_PER_GALLON, DIGITS)}{NO_BREAK}lb"
        return f"{rounded(litres, DIGITS)}{NO_BREAK}kg"

    def exactly(self, value: float, unit: str) -> str:
        """A figure that somebody set, to three digits and without needless zeros."""
        number, name = self.figure(value, unit, 3).split(NO_BREAK, 1)
        return f"{number.rstrip('0').rstrip('.') if '.' in number else number}{NO_BREAK}{name}"

    def notes(self, row: Row) -> list[str]:
        notes = [told(f"note_{row['status']}")] if f"note_{row['status']}" in CARD_WORDS else []
        if self.made_up and pd.notna(row["yield_l_yr"]):
            notes.append(told("note_days"))
        return notes

    def levels(self, row: Row) -> list[Level]:
        suggested = row["suggested_barrels"]
        used = "level_used_none" if pd.isna(suggested) or suggested == 0 else "level_used_is"
        return [
            self._level("runoff", told("level_runoff_is"), row["runoff_l_yr"], row),
            self._level("capturable", self._season(), row["capturable_l_yr"], row),
            self._level("used", told(used, barrels=_barrels(suggested)), row["yield_l_yr"], row),
        ]

    def _level(self, name: str, means: str, value: float, row: Row) -> Level:
        known = pd.notna(value) and pd.notna(row["runoff_l_yr"]) and row["runoff_l_yr"] > 0
        share = min(1.0, float(value / row["runoff_l_yr"])) if known else 0.0
        text = told("missing") if pd.isna(value) else self.figure(value, "L")
        return Level(told(f"level_{name}"), means, text, round(share, 4))

    def _season(self) -> str:
        first, last = self.settings["season.first"], self.settings["season.last"]
        if (first, last) == ("01-01", "12-31"):
            return told("level_capturable_year")
        days = (day_told(one, self.units) for one in (first, last))
        return told("level_capturable_is", **dict(zip(("first", "last"), days, strict=True)))

    def ranges(self, row: Row) -> list[tuple[str, str]]:
        """The two ranges of what is used, each with its label: what we do not know, and weather."""
        found = []
        for kind, low, high in (("doubt", "low", "high"), ("weather", "poor_year", "good_year")):
            ends = [row[f"yield_{low}_l_yr"], row[f"yield_{high}_l_yr"]]
            if any(pd.isna(end) for end in ends) or not ends[1] > 0:
                continue
            hangs_on = row["yield_hangs_on"] if kind == "doubt" else None
            name = "range_doubt_short" if kind == "doubt" and pd.isna(hangs_on) else f"range_{kind}_is"
            texts = [self.figure(end, "L") for end in ends]
            says = told(name, range=_range(*texts), low=texts[0], high=texts[1], hangs_on=hangs_on)
            found.append((told(f"range_{kind}"), says))
        return found

    def storm(self, row: Row) -> Part:
        heading, depth = told("storm_heading"), self.exactly(self.settings["storm.depth_mm"], "mm")
        whole, at_spout, suggested = row["storm_l"], row["storm_downspout_l"], row["suggested_barrels"]
        if pd.isna(whole) or whole == 0:
            return Part(heading, told("missing"), told("storm_none"), [])
        if pd.isna(at_spout):
            return Part(heading, self.figure(whole, "L"), told("storm_whole_is", depth=depth), [])
        means = told("storm_is", whole=self.figure(whole, "L"), depth=depth)
        lines = []
        if pd.notna(row["fill_min"]):
            minutes = rounded(max(round(float(row["fill_min"])), 1), DIGITS)
            lines.append(
                told(
                    "storm_fill",
                    volume=self.volume(),
                    minutes=told("minute")
                    if minutes == "1.0"
                    else told("minutes", count=minutes.removesuffix(".0")),
                    intensity=self.exactly(self.settings["storm.intensity_mm_h"], "mm"),
                )
            )
        if pd.notna(row["first_inch_share"]) and pd.notna(suggested) and suggested > 0:
            name = "storm_inch" if self.units == "us" else "storm_inch_metric"
            lines.append(told(name, share=_percent(row["first_inch_share"])))
        return Part(heading, self.figure(at_spout, "L"), means, lines)

    def barrels(self, row: Row) -> Part:
        heading, suggested = told("barrels_heading"), row["suggested_barrels"]
        none = told("barrels_none")
        if pd.isna(row["barrel_roof_id"]) and row["status"] == RANKED:
            return Part(heading, none, "", [told("barrels_no_gutter")])
        if pd.isna(suggested):
            return Part(heading, told("missing"), told("barrels_unknown"), [])
        if suggested == 0:
            lines = [told("barrels_no_gutter" if pd.isna(row["barrel_roof_id"]) else "barrels_no_garden")]
            return Part(heading, none, "", lines)
        number = "one" if suggested == 1 else "many"
        if pd.notna(row["fills_yr"]):
            means = told(
                f"barrels_{number}_is",
                volume=self.volume(),
                fills=rounded(row["fills_yr"], 1 + (row["fills_yr"] > 10)),
            )
        else:
            means = told(f"barrels_size_{number}", volume=self.volume())
        lines = [*self._where(row, int(suggested)), *self._one_more(row, int(suggested))]
        return Part(heading, _barrels(suggested), means, lines)

    def _where(self, row: Row, suggested: int) -> list[str]:
        if any(pd.isna(row[name]) for name in ("downspout_count", "barrel_places", "served_area_m2")):
            return []
        count, places = int(row["downspout_count"]), int(row["barrel_places"])
        area = self.figure(row["served_area_m2"], "m²")
        if places == 0:
            return [told("barrels_where_none", count=count)]
        where = told(
            "barrels_where_one" if count == 1 else "barrels_where", count=count, places=places, area=area
        )
        return [where, told("barrels_side")] if suggested > places else [where]

    def _one_more(self, row: Row, suggested: int) -> list[str]:
        if suggested >= MOST_BARRELS:
            return []
        now, then = row[yield_name(suggested)], row[yield_name(suggested + 1)]
        if pd.isna(now) or pd.isna(then):
            return []
        gain = float(then - now)
        if gain < L_PER_GALLON:
            return [told("barrels_more_nothing")]
        return [told("barrels_more", gain=self.figure(gain, "L", 1))]

    def garden(self, row: Row) -> Part:
        heading, area = told("garden_heading"), row["garden_m2"]
        met, asked = row["days_met_yr"], row["demand_days_yr"]
        if pd.notna(area) and area == 0:
            return Part(heading, told("missing"), told("garden_none"), self._money(row))
        if pd.isna(met) or pd.isna(asked) or pd.isna(area):
            return Part(heading, told("missing"), told("barrels_unknown"), self._money(row))
        a_week = int(self.settings["habits.sessions_a_week"])
        figure = told("weeks", met=rounded(met / a_week, DIGITS), asked=rounded(asked / a_week, DIGITS))
        taken = told(
            "garden_taken",
            area=self.figure(area, "m²"),
            times={1: told("once"), 2: told("twice")}.get(a_week, told("times", count=a_week)),
            share=_percent(self.settings["habits.weeks_share"]),
        )
        return Part(heading, figure, told("weeks_is"), [taken, *self._money(row)])

    def _money(self, row: Row) -> list[str]:
        if pd.isna(row["net_cost_usd"]) or pd.isna(row["suggested_barrels"]) or row["suggested_barrels"] == 0:
            return []
        low, high = row["saving_low_usd_yr"], row["saving_high_usd_yr"]
        lines = []
        if pd.isna(low) or pd.isna(high):
            lines.append(told("money_no_price"))
        else:
            ends = {"low": _money(low), "high": _money(high)}
            same = ends["low"] == ends["high"]
            lines.append(told("money_saves_same" if same else "money_saves", **ends))
        cost = float(row["net_cost_usd"])
        lines.append(told("money_costs", cost=_money(cost)) if cost > 0 else told("money_free"))
        if pd.notna(row["payback"]) and pd.notna(low):
            lines.append(str(row["payback"]))
        return [" ".join(lines)]


def _barrels(count: Any) -> str:
    if pd.isna(count):
        return told("barrels_none")
    return told("barrel_one") if count == 1 else told("barrel_many", count=int(count))


def _range(low: str, high: str) -> str:
    """Two figures of one unit, which is said once."""
    if low == high:
        return low
    number, _, unit = low.partition(NO_BREAK)
    return told("range", low=number if high.endswith(NO_BREAK + unit) else low, high=high)


def _percent(share: float) -> str:
    return told("less_than_a_percent") if 0 < share < 0.01 else f"{share:.0%}"


def _money(dollars: float) -> str:
    """Dollars: with cents below ten, else whole."""
    value = float(dollars)
    return f"${value:.2f}" if 0 < value < 10 else f"${value:,.0f}"
