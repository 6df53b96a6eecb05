"""``[doubt]``: how far each input may be off."""

from __future__ import annotations

from typing import Annotated

from annotated_types import Ge, Le
from pydantic import field_validator

from harvest.project.setting import FROM_MEMORY, Section, setting

Factor = Annotated[float, Ge(0.05), Le(20)]
Share = Annotated[float, Ge(0), Le(1)]


class Doubt(Section):
    """How far each input may be off: as likely above the figure in use as below, the less likely the farther."""

    draws: int = setting(
        500, "How often every input is drawn anew; more draws, steadier ranges.", unit="1", ge=50, le=10_000
    )
    seed: int = setting(
        1, "Start of the random numbers; the same seed, the same ranges.", unit="1", ge=0, le=4_294_967_295
    )
    coefficient: list[Factor] = setting(
        [0.875, 1.125],
        "Factor on the runoff coefficient, one error for all roofs: 0.80 may be 0.70 to 0.90.",
        unit="1",
        source="enHealth 2010, App. B (0.80 to 0.85); Farreny et al. 2011; TRCA/STEP LID wiki; the range "
        + FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    rain: list[Factor] = setting(
        [0.90, 1.10],
        "Factor on the rainfall grid, one error for all roofs.",
        unit="1",
        source=FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    imagery: list[Factor] = setting(
        [0.97, 1.03],
        "Factor on roof areas, one error for all roofs drawn from the same imagery: lean, eaves, age.",
        unit="1",
        source=FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    weeks: list[Share] = setting(
        [0.25, 0.85],
        "Share of weeks in which people draw from their barrels, one error for all households. The range reaches "
        "to the setting itself where that lies beyond it.",
        unit="1",
        source=FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    replaces_tap: list[Share] = setting(
        [0.3, 0.9],
        "Share of the water drawn that would else have come from the tap, one error for all households. The range "
        "reaches to the setting itself where that lies beyond it.",
        unit="1",
        source=FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    block_m: float = setting(
        150.0,
        "Roofs in one square of this side share the block's error.",
        source=FROM_MEMORY,
        ge=20,
        le=5_000,
    )
    block: list[Factor] = setting(
        [0.90, 1.10],
        "Factor on runoff that roofs of one block share: trees, age, how gutters are kept.",
        unit="1",
        source=FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    footprint: list[Factor] = setting(
        [0.92, 1.08],
        "Factor on the area of each single roof: how well its outline was drawn.",
        unit="1",
        source=FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    material: list[Factor] = setting(
        [0.92, 1.08],
        "Factor on the runoff coefficient of each single roof: its material, and how it lies to the wind.",
        unit="1",
        source="Farreny et al. 2011 for differences between materials; the range " + FROM_MEMORY,
        min_length=2,
        max_length=2,
    )
    garden: list[Factor] = setting(
        [0.36, 2.86],
        "Factor on the water that each single garden asks for: 14 m² may be 5 to 40.",
        unit="1",
        source=FROM_MEMORY,
        min_length=2,
        max_length=2,
    )

    @field_validator("coefficient", "rain", "imagery", "block", "footprint", "material", "garden")
    @classmethod
    def _around_one(cls, ends: list[float]) -> list[float]:
        if not ends[0] <= 1 <= ends[1]:
            raise ValueError("a factor's range is least, then most, with 1 between them, such as [0.9, 1.1]")
        return ends

    @field_validator("weeks", "replaces_tap")
    @classmethod
    def _rising(cls, ends: list[float]) -> list[float]:
        if ends[0] > ends[1]:
            raise ValueError("a range is least, then most, such as [0.3, 0.9]")
        return ends
