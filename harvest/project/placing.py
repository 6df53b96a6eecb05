"""``[placing]``: which parcel a roof belongs to."""

from __future__ import annotations

from harvest.project.setting import Section, setting


class Placing(Section):
    """Rules by which roofs are given to parcels."""

    sliver_share: float = setting(
        0.25,
        "A piece of a roof on another parcel is digitising error when it is below this share of the roof "
        "and also narrower than sliver_width_m.",
        unit="1",
        ge=0,
        le=0.5,
    )
    sliver_width_m: float = setting(
        1.0, "Mean width (twice the area over the perimeter) of the widest sliver.", ge=0, le=5
    )
    least_share: float = setting(
        0.2,
        "A roof with less than this share on parcels altogether is left unplaced, and reported.",
        unit="1",
        ge=0,
        le=1,
    )
    duplicate_share: float = setting(
        0.8,
        "Of two footprints, the smaller is a duplicate when at least this share of it lies on the larger; "
        "below, the overlap is cut from the smaller.",
        unit="1",
        gt=0.5,
        le=1,
    )
    coincident_share: float = setting(
        0.95,
        "Parcels are stacked on one site when they share at least this much of their joint area; a parcel "
        "with at least this share inside a larger one is a pad on common ground.",
        unit="1",
        gt=0.5,
        le=1,
    )
    offset_m: float = setting(
        0.5, "A steady offset between footprints and parcels is reported from this length on.", ge=0.1, le=50
    )
