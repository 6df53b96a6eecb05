"""``[barrel]``, ``[downspouts]``, ``[garden]`` and ``[habits]``: what stands where, and who draws from it for what."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from harvest.project.setting import COMMON_PRACTICE, FROM_MEMORY, Section, setting

Planting = Literal["vegetables", "mixed beds", "pots"]
LANDSCAPE_COEFFICIENTS: dict[Planting, float] = {"vegetables": 0.95, "mixed beds": 0.5, "pots": 0.8}
"""Reference evapotranspiration times this is what the planting uses; vegetables lie below FAO-56 Table 12's 1.05
in mid-season, the others are practitioners' figures, from memory."""


class Barrel(Section):
    """One barrel, and how many to suggest."""

    volume_l: float = setting(208.2, "Size; 208.2 L is 55 gal.", source=COMMON_PRACTICE, gt=0, le=10_000)
    dead_l: float = setting(
        22.7,
        "What stands below the spigot and can't be drawn; 22.7 L is 6 gal.",
        source="4 in under the spigot of a 23-in barrel are 7.2 gal (derived); 3 to 9 gal",
        ge=0,
        le=1_000,
    )
    head_l: float = setting(
        11.4, "What has no room above the overflow; 11.4 L is 3 gal.", source=FROM_MEMORY, ge=0, le=1_000
    )
    begin_with: int = setting(
        1, "Barrels that every suggestion begins with.", unit="1", source=COMMON_PRACTICE, ge=1, le=6
    )
    least_gain_l_yr: float = setting(
        400.0, "Suggest one more barrel only while it adds at least this much a year.", ge=0, le=50_000
    )
    suggest_most: int = setting(4, "Never suggest more than this many.", unit="1", ge=1, le=6)

    @model_validator(mode="after")
    def _holds_something(self) -> Barrel:
        if self.dead_l + self.head_l >= self.volume_l:
            raise ValueError(
                f"dead_l and head_l ({self.dead_l + self.head_l:g} L) leave nothing of volume_l ({self.volume_l:g} L)"
            )
        if self.begin_with > self.suggest_most:
            raise ValueError("begin_with is more than suggest_most")
        return self


class Downspouts(Section):
    """How many downspouts a roof has, and at how many a barrel can stand."""

    area_served_m2: float = setting(
        55.0,
        "Roof area that one downspout serves at most.",
        source="City of Irving TX: a 2 x 3 in downspout serves 600 to 700 ft²",
        gt=5,
        le=300,
    )
    spacing_m: float = setting(
        12.0,
        "Eave length that one downspout serves at most.",
        source="City of Irving TX and Univ. of Missouri WQ322: 20 to 50 ft",
        gt=2,
        le=30,
    )
    least: int = setting(2, "Fewest downspouts of a roof.", unit="1", source=FROM_MEMORY, ge=1, le=10)
    usable_share: float = setting(
        0.5,
        "Share of downspouts that can take a barrel (others stand at the front, over paving, or go underground); "
        "one at least.",
        unit="1",
        source=FROM_MEMORY,
        gt=0,
        le=1,
    )
    inequality: float = setting(
        0.25,
        "Downspouts serve unequal parts: this much less and more than the middle one, in turn.",
        unit="1",
        source=FROM_MEMORY,
        ge=0,
        le=0.9,
    )


class Garden(Section):
    """The garden that the barrels water. Lawns are not offered barrels."""

    area_m2: float = setting(
        14.0,
        "Garden area of a home.",
        source="Litofsky and Jennings 2014: 13.9 m² (150 ft²)",
        ge=0,
        le=1_000,
    )
    most_open_share: float = setting(
        0.25,
        "The garden is at most this share of a parcel's open ground.",
        unit="1",
        source=FROM_MEMORY,
        ge=0,
        le=1,
    )
    least_m2: float = setting(1.0, "A smaller garden counts as none.", source=FROM_MEMORY, gt=0, le=20)
    planting: Planting = setting("vegetables", "What grows there; it sets the landscape coefficient.")
    coefficient: float | None = setting(
        None, "Landscape coefficient instead of the planting's own.", unit="1", gt=0, le=1.5
    )
    efficiency: float = setting(
        0.8, "Share of the drawn water that the plants get.", unit="1", source=FROM_MEMORY, gt=0.2, le=1
    )
    available_mm: float = setting(
        27.0, "Water that the soil can hold for the plants.", source=FROM_MEMORY, gt=1, le=300
    )
    depletion: float = setting(
        0.5,
        "The garden is watered once this share of it is used up.",
        unit="1",
        source=FROM_MEMORY,
        gt=0,
        le=1,
    )
    depletion_spread: float = setting(
        0.1,
        "Households differ: none waters before that much less of the water is used up, all do after that much more.",
        unit="1",
        ge=0,
        le=0.5,
    )
    real_rain_mm: float = setting(
        1.0, "On a day with at least this much rain nobody waters.", source=FROM_MEMORY, ge=0, le=25
    )
    weekly_mm: float | None = setting(
        None,
        "A plain weekly draw instead of the soil's account; 25 mm is the inch a week of garden books.",
        ge=0,
        le=100,
    )

    @model_validator(mode="after")
    def _spread_fits(self) -> Garden:
        if self.depletion_spread > min(self.depletion, 1 - self.depletion) + 1e-9:
            raise ValueError(
                f"depletion_spread {self.depletion_spread:g} around depletion {self.depletion:g} reaches beyond 0 to 1"
            )
        return self

    @property
    def landscape_coefficient(self) -> float:
        """The coefficient in force [1]."""
        return self.coefficient if self.coefficient is not None else LANDSCAPE_COEFFICIENTS[self.planting]


class Habits(Section):
    """How people really draw."""

    weeks_share: float = setting(
        0.5,
        "Share of weeks in which people draw at all (0.25 to 0.85).",
        unit="1",
        source=FROM_MEMORY,
        ge=0,
        le=1,
    )
    sessions_a_week: int = setting(
        2, "Days a week on which they draw.", unit="1", source=FROM_MEMORY, ge=1, le=7
    )
    most_l: float = setting(
        75.7, "The most they draw on such a day; 75.7 L is 20 gal.", source=FROM_MEMORY, gt=0, le=10_000
    )
