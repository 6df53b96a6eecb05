"""The roofs table: one row for each roof on each parcel that holds part of it."""

from __future__ import annotations

from harvest.fields import barrels, volumes
from harvest.fields.register import Field, Table

WHOLE = "whole"
DIVIDED = "divided"
UNPLACED = "unplaced"
PLACEMENTS = (WHOLE, DIVIDED, UNPLACED)

ROOFS = Table(
    "roofs",
    "Roofs",
    "One row for each roof on each parcel that holds a real part of it; a roof on no parcel keeps one row.",
    ("roof_id", "parcel_id"),
    (
        Field("roof_id", "string", "Roof", "The footprint's id as the footprint layer gives it."),
        Field(
            "parcel_id",
            "string",
            "Parcel",
            "The parcel (or site) that this part of the roof belongs to; none for a roof on no parcel.",
            nullable=True,
        ),
        Field(
            "parcel_share",
            "float",
            "Share on parcel",
            "Share of the roof that belongs to this parcel; the shares of a roof add up to 1.",
            unit="1",
            minimum=0,
            maximum=1 + 1e-9,
        ),
        Field(
            "placement",
            "string",
            "Placement",
            "Whether the roof belongs to one parcel, is divided between several, or lies on none.",
            allowed=PLACEMENTS,
        ),
        Field("kind", "string", "Kind", "Kind of building as the footprint layer gives it.", nullable=True),
        Field(
            "roof_area_m2",
            "float",
            "Whole roof",
            "The whole roof from above; repeated on each of its rows, so do not add it up.",
            unit="m²",
            minimum=0,
        ),
        Field(
            "has_gutter",
            "boolean",
            "Gutter",
            "Whether the roof counts as guttered: by its mark, else by its size.",
        ),
        volumes.CATCHMENT_AREA,
        volumes.RAIN,
        volumes.SEASON_RAIN,
        volumes.RAIN_COVER,
        volumes.RUNOFF,
        volumes.CAPTURABLE,
        volumes.STORM,
        barrels.EAVE,
        *barrels.DOWNSPOUTS,
        Field(
            "geometry",
            "geometry",
            "Outline",
            "The whole roof's outline as counted (eaves added, overlaps cut), in the footprint layer's CRS.",
        ),
    ),
)
