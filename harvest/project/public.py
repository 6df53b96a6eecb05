"""``[public]``: an edition for everybody, from which no household can be read back."""

from __future__ import annotations

from typing import Literal

from harvest.project.setting import Section, setting
from harvest.units import L_PER_GALLON


class Public(Section):
    """The public edition: sums over street sides or blocks of enough homes, rounded. Leave these settings alone
    once an edition is out: two editions cut differently can be subtracted from each other."""

    written: bool = setting(False, "Whether a run writes the folder public/; only when asked.")
    by: Literal["streets", "blocks"] = setting(
        "streets",
        "Add homes up by street side, where there are streets, or by block of a square grid; never by both.",
    )
    least_homes: int = setting(10, "A sum of fewer homes is not shown.", unit="1", ge=3, le=1_000)
    most_share: float = setting(
        0.4, "Nor is one of which a single home has more than this share.", unit="1", ge=0.05, le=0.4
    )
    cell_m: float = setting(150.0, "Side of a block.", ge=50, le=5_000)
    step_gal: float = setting(
        1_000.0,
        "Volumes are rounded to a multiple of this, in US units ...",
        unit="gal",
        ge=100,
        le=1_000_000,
    )
    step_m3: float = setting(10.0, "... or of this, in metric units.", unit="m³", ge=1, le=10_000)
    step_homes: int = setting(
        5, "Numbers of homes are rounded to a multiple of this.", unit="1", ge=1, le=100
    )

    def step_l(self, units: str) -> float:
        """What volumes are rounded to for those who read ``units`` [L]."""
        return self.step_gal * L_PER_GALLON if units == "us" else self.step_m3 * 1_000
