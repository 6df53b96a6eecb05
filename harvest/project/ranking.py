"""``[ranking]`` and ``[[exclude]]``: who stands on which list, and in which order."""

from __future__ import annotations

from pydantic import model_validator

from harvest.fields.parcels import PARCELS
from harvest.project.setting import Section, required, setting

NOT_MEASURES = ("rank", "rank_score")


class Ranking(Section):
    """How parcels are split into two lists and ordered."""

    measure: str = setting("capturable_l_yr", "The column of the parcels table that ranks, largest first.")
    weights: dict[str, float] | None = setting(
        None,
        "Several measures instead of one: each column with its weight; parcels are ranked by the weighted "
        "mean of their percentiles.",
    )
    large_roof_m2: float = setting(
        500.0,
        "Roof area on one parcel from which it goes on the list of large roofs, where land use does not say.",
        ge=50,
        le=20_000,
    )
    home_land_uses: list[str] = setting([], "Values of the land-use column that are homes.")
    large_land_uses: list[str] = setting(
        [], "Values of the land-use column that are large roofs: schools, works, halls."
    )

    @model_validator(mode="after")
    def _measures_exist(self) -> Ranking:
        known = [name for name in PARCELS.numeric() if name not in NOT_MEASURES]
        for name in self.weights or [self.measure]:
            if name not in known:
                raise ValueError(f"{name!r} is no measure of a parcel; there are {', '.join(known)}")
        if self.weights is not None and (not self.weights or min(self.weights.values()) <= 0):
            raise ValueError("weights needs at least one measure, and each weight above 0")
        both = set(self.home_land_uses) & set(self.large_land_uses)
        if both:
            raise ValueError(f"{', '.join(sorted(both))} stands in both lists of land uses")
        return self


class Exclude(Section):
    """One reason to take parcels off the lists; they stay in the table with it."""

    reason: str = required("Why, in words that can be printed.")
    parcels: list[str] = setting([], "Parcel ids.")
    column: str | None = setting(None, "A column of the parcel file ...")
    values: list[str] = setting([], "... and the values that exclude.")

    @model_validator(mode="after")
    def _some_rule(self) -> Exclude:
        if bool(self.column) != bool(self.values):
            raise ValueError("an exclusion by column needs both column and values")
        if not self.parcels and not self.column:
            raise ValueError("an exclusion names parcels, or a column and values")
        return self
