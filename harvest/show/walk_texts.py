"""The texts of a walk list, from rows of rounds and stops: what is said at a door, times, lengths, likely answers."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

import pandas as pd

from harvest.fields.outreach import TO_VISIT
from harvest.show.card_texts import DIGITS, NO_BREAK, CardTexts, one_line
from harvest.show.figures import rounded
from harvest.show.words.walk import told
from harvest.units import M_PER_FOOT

LONGEST_WORD = 24
ZERO_WIDTH_SPACE = "\u200b"

Row = Mapping[str, Any]

M_PER_MILE = 5280 * M_PER_FOOT
STEP_MIN = 5
"""Times are told to this many minutes."""

LIKELY = (0.1, 0.9)
LONGEST_ADDRESS, LONGEST_CAUTION, LONGEST_STREETS = 48, 150, 150
NOON, HALF_DAY = 12, 12


class WalkTexts(CardTexts):
    """Turns rows of a round into texts, with the settings and units of one run."""

    def says(self, stop: Row) -> str:
        """What to say at a door, in one line."""
        storm, barrels, used = stop["storm_l"], stop["suggested_barrels"], stop["yield_l_yr"]
        if pd.isna(storm) or storm == 0:
            return told("says_unknown")
        if pd.isna(barrels) or barrels == 0 or pd.isna(used):
            return told("says_no_barrel", depth=self.depth(), storm=self.figure(storm, "L"))
        return told(
            "says",
            depth=self.depth(),
            storm=self.figure(storm, "L"),
            barrels=barrels_text(int(barrels)),
            used=self.figure(used, "L"),
        )

    def depth(self) -> str:
        """The rain of one storm."""
        return self.exactly(self.settings["storm.depth_mm"], "mm")

    def length(self, metres: float) -> str:
        """A way on foot: miles, or metres and kilometres."""
        if self.units == "us":
            return _spaced("miles", rounded(metres / M_PER_MILE, DIGITS))
        if metres < 1000:
            return _spaced("metres", rounded(metres, DIGITS))
        return _spaced("kilometres", rounded(metres / 1000, DIGITS))

    def hours(self) -> str:
        """From when to when anybody may knock."""
        first, last = (self._clock(str(self.settings[f"rounds.{name}_hour"])) for name in ("first", "last"))
        return told("clock", first=first, last=last)

    def _clock(self, text: str) -> str:
        if self.units != "us":
            return text
        hour, minute = (int(part) for part in text.split(":"))
        shown = f"{hour % HALF_DAY or HALF_DAY}" + (f":{minute:02d}" if minute else "")
        return told("morning" if hour < NOON else "afternoon", hour=shown).replace(" ", NO_BREAK)


def _spaced(name: str, figure: str) -> str:
    return told(name, figure=figure).replace(" ", NO_BREAK)


def barrels_text(count: int) -> str:
    """``count`` barrels in words."""
    return told("barrel_one") if count == 1 else told("barrel_many", count=f"{count:,}")


def duration(minutes: float) -> str:
    """``minutes`` [min] as hours and minutes, to five minutes."""
    whole = STEP_MIN * max(1, round(minutes / STEP_MIN))
    hours, rest = divmod(whole, 60)
    name = "minutes" if not hours else "hours_minutes" if rest else "hours"
    return told(name, hours=hours, minutes=rest).replace(" ", NO_BREAK)


def usual(mean: float, doors: int) -> str:
    """How many of ``doors`` it will be in 8 of 10 rounds when ``mean`` are expected, doors being alike and independent.

    From the 10th to the 90th percentile of the binomial distribution.
    """
    low, high = (binomial_quantile(share, doors, mean) for share in LIKELY)
    return str(low) if low == high else told("range", low=low, high=high)


def binomial_quantile(share: float, count: int, mean: float) -> int:
    """The least number that at least ``share`` [1] of draws do not exceed, of ``count`` tries that give ``mean``."""
    chance = min(1.0, mean / count) if count else 0.0
    if chance in (0.0, 1.0):
        return count if chance else 0
    total = 0.0
    for number in range(count + 1):
        ways = math.lgamma(count + 1) - math.lgamma(number + 1) - math.lgamma(count - number + 1)
        total += math.exp(ways + number * math.log(chance) + (count - number) * math.log1p(-chance))
        if total >= share - 1e-12:
            return number
    return count


def one_text(text: object, longest: int) -> str:
    """A text from outside on one line, or on more where it is long: a word without end may be broken."""
    kept = one_line(str(text), longest)
    return re.sub(rf"\S{{{LONGEST_WORD}}}(?=\S)", rf"\g<0>{ZERO_WIDTH_SPACE}", kept)


def address(stop: Row) -> str:
    """The address of ``stop``, or its parcel where there is none."""
    text = one_text(stop["address"], LONGEST_ADDRESS) if pd.notna(stop["address"]) else ""
    return text or told("no_address", parcel=one_text(stop["parcel_id"], LONGEST_ADDRESS))


def notes(stop: Row) -> list[str]:
    """What to know before ringing: where the parcel stands unless it was never visited, and the door's caution."""
    status, caution = stop["visit_status"], stop["door_caution"]
    found = [] if pd.isna(status) or status == TO_VISIT else [told("status", status=status)]
    if pd.notna(caution):
        found.append(told("caution", caution=one_text(caution, LONGEST_CAUTION)))
    return found
