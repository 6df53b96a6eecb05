"""The public edition's one table: cells of many homes. Every field of it may be published."""

from __future__ import annotations

from dataclasses import replace

from harvest.fields import barrels, canvass, volumes
from harvest.fields.register import Field, Table

BOTH_SIDES = "both sides"
MEASURES = ("runoff_l_yr", "capturable_l_yr", "yield_l_yr")
"""The three levels of water, which always stand together."""

_YIELD = next(one for one in barrels.PARCEL_FIELDS if one.name == "yield_l_yr")


def _sum(of: Field, meaning: str, nullable: bool = False) -> Field:
    return replace(of, meaning=f"{meaning} Rounded.", nullable=nullable, optional=nullable, adds="no")


def _words(name: str, label: str, meaning: str, allowed: tuple[str, ...] = ()) -> Field:
    return Field(
        name, "string", label, meaning, nullable=True, published=True, allowed=allowed, optional=True
    )


PUBLIC = Table(
    "public_cells",
    "Public cells",
    "One row for each street side or block of the public edition: sums over enough homes, rounded. Cells of too few "
    "homes are not there, so these rows do not add up to the town.",
    ("cell",),
    (
        Field("cell", "integer", "Cell", "Number of the row.", unit="1", minimum=1, published=True),
        _words("street", "Street", "The street, as its layer names it."),
        _words(
            "stretch", "Stretch", "The streets between which it lies; several where stretches were joined."
        ),
        _words(
            "side", "Side", "On which side of the street, by the compass.", (*canvass.COMPASS, BOTH_SIDES)
        ),
        _words("square", "Block", "Squares of the grid, east and north of its origin; several where joined."),
        Field(
            "home_count",
            "integer",
            "Homes",
            "Parcels there that are on the list of homes. Rounded.",
            unit="1",
            minimum=0,
            published=True,
        ),
        _sum(volumes.RUNOFF, "What runs off these homes' roofs in a whole year."),
        _sum(
            volumes.CAPTURABLE,
            "What runs off their guttered roofs in season, after losses. It is not what barrels would deliver: "
            "a barrel overflows in most storms.",
        ),
        _sum(_YIELD, "What the suggested barrels would deliver there and gardens use in a mean year.", True),
        Field(
            "geometry",
            "geometry",
            "Where",
            "The stretch of street or the block, in the parcel layer's own CRS.",
            published=True,
        ),
    ),
)
