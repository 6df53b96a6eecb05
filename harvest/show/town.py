"""What a result says of the whole town: its totals, each with its range and the input that it hangs on most."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from harvest.fields import PARCELS
from harvest.result import Result
from harvest.show.figures import read_unit, shown, shown_range
from harvest.show.words.page import filled

MADE_UP = "made up"
"""How a run begins to name days of rain that come from no gauge."""

SAVING = "saving_usd_yr"


@dataclass(frozen=True)
class TownFigure:
    """One figure of the whole town in ``unit``; without ``low`` and ``high`` nothing is told of its range."""

    name: str
    unit: str
    digits: int
    value: float | None
    low: float | None = None
    high: float | None = None
    hangs_on: str | None = None

    def text(self, units: str) -> str:
        """The figure for those who read ``units``; a dash where only its range is known."""
        return shown(self.value, self.unit, units, self.digits)

    def text_with_range(self, units: str) -> str:
        """The figure, and in brackets its range in the same unit where that is known."""
        unit, _ = read_unit(units, self.unit)
        ends = self.range_text(units).removesuffix(f" {unit}")
        return f"{self.text(units)} ({ends})" if ends else self.text(units)

    def range_text(self, units: str) -> str:
        """Its range for those who read ``units``, or nothing."""
        if self.low is None or self.high is None:
            return ""
        return shown_range(self.low, self.high, self.unit, units, self.digits)


def town_figures(result: Result) -> dict[str, TownFigure]:
    """Roof area, the three levels of water, and money, by name, as far as ``result`` knows them."""
    totals, ranges = result.run["totals"], result.run.get("ranges") or {}
    values = {
        "catchment_area_m2": totals.get("roof_area_m2"),
        "runoff_l_yr": totals.get("runoff_l_yr"),
        "capturable_l_yr": totals.get("capturable_l_yr"),
        "yield_l_yr": totals.get("yield_l_yr"),
        SAVING: totals.get(SAVING),
    }
    return {
        name: _figure(name, value, ranges.get(name)) for name, value in values.items() if value is not None
    }


def suggested_barrels(result: Result) -> int | None:
    """Barrels suggested in all; None where nothing is known of barrels."""
    barrels = result.run["totals"].get("suggested_barrels")
    return None if barrels is None else int(barrels)


def made_up_days(run: Mapping[str, Any]) -> bool:
    """Whether the days of rain behind the figures of barrels come from no gauge."""
    weather = run.get("weather") or {}
    return str(weather.get("days", "")).startswith(MADE_UP)


def _figure(name: str, value: float | None, ends: Mapping[str, Any] | None) -> TownFigure:
    """The figure ``name``, told as the field of that name is."""
    field, ends = PARCELS.field(name), ends or {}
    return TownFigure(
        name, field.unit or "1", field.digits, value, ends.get("low"), ends.get("high"), ends.get("hangs_on")
    )


def rounds_told(run: Mapping[str, Any]) -> str:
    """What the rounds win, beside a bound that no plan can beat and beside planning by hand; empty without rounds."""
    rounds = run.get("rounds")
    if not rounds or not rounds["laid"]:
        return ""
    won, most, hand = (
        shown(litres, "L/yr", run["units"])
        for litres in (
            rounds["worth_l_yr"],
            rounds["bound_l_yr"],
            max((one["worth_l_yr"] for one in rounds["by_hand"]), default=0.0),
        )
    )
    return filled("about_rounds_won", won=won, most=most, hand=hand, count=f"{rounds['laid']:,}")
