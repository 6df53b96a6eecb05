"""The parcels table: one row a parcel, and one more for each site of stacked parcels."""

from __future__ import annotations

from harvest.fields import barrels, canvass, outreach, volumes
from harvest.fields.register import Field, Table

RANKED = "ranked"
NO_ROOF = "no roof"
NO_FOOTPRINT = "no footprint, check"
NO_RAIN = "no rain figure"
NO_GUTTER = "no gutter"
ASSOCIATION = "association"
UNIT = "unit of association"
COMMON_GROUND = "common ground"
EXCLUDED = "excluded"
STATUSES = (RANKED, ASSOCIATION, NO_ROOF, NO_FOOTPRINT, NO_RAIN, NO_GUTTER, UNIT, COMMON_GROUND, EXCLUDED)

HOMES = "homes"
LARGE_ROOFS = "large roofs"
LISTS = (HOMES, LARGE_ROOFS)

PARCELS = Table(
    "parcels",
    "Parcels",
    "One row a parcel with its roofs' area and volumes, and its place on a list.",
    ("parcel_id",),
    (
        Field(
            "parcel_id",
            "string",
            "Parcel",
            "The parcel's id as the parcel layer gives it. A site of stacked parcels has the id "
            "'site of' and its first parcel.",
        ),
        Field("address", "string", "Address", "The address as the parcel layer gives it.", nullable=True),
        *canvass.PLACE_FIELDS,
        Field("land_use", "string", "Land use", "Land use as the parcel layer gives it.", nullable=True),
        Field(
            "door_count",
            "integer",
            "Doors",
            "Homes or units to knock at; 1 where the parcel layer does not say, none on the rows of "
            "single units in a site.",
            unit="1",
            minimum=0,
            nullable=True,
            adds="sum",
        ),
        Field(
            "parcel_area_m2",
            "float",
            "Parcel area",
            "The parcel from above.",
            unit="m²",
            minimum=0,
            nullable=True,
            adds="sum",
        ),
        Field(
            "roof_count",
            "integer",
            "Roofs",
            "Roofs on the parcel, shared ones counted on each.",
            unit="1",
            minimum=0,
            nullable=True,
        ),
        volumes.CATCHMENT_AREA,
        volumes.GUTTERED_AREA,
        volumes.RAIN,
        volumes.SEASON_RAIN,
        volumes.RAIN_COVER,
        volumes.RUNOFF,
        volumes.CAPTURABLE,
        volumes.STORM,
        *barrels.PARCEL_FIELDS,
        *outreach.PARCEL_FIELDS,
        *canvass.PARCEL_FIELDS,
        Field(
            "list",
            "string",
            "List",
            "Homes are visited at the door; large roofs (schools, works, halls, associations) call for a "
            "tank and another conversation.",
            nullable=True,
            allowed=LISTS,
        ),
        Field(
            "rank",
            "integer",
            "Rank",
            "Place on its list, 1 is best. A low rank, or none, never means ineligible.",
            unit="1",
            minimum=1,
            nullable=True,
        ),
        Field(
            "rank_score",
            "float",
            "Rank score",
            "The figure that ranks: the chosen measure, or the weighted mean of percentiles (0 to 100).",
            unit="1",
            nullable=True,
        ),
        Field(
            "status", "string", "Status", "Why the parcel is on a list, or why it is not.", allowed=STATUSES
        ),
        Field("reason", "string", "Reason", "The status in a sentence, where it needs one.", nullable=True),
        Field(
            "site_id",
            "string",
            "Site",
            "For a unit in stacked parcels: the site row that holds its figures.",
            nullable=True,
        ),
        Field("geometry", "geometry", "Outline", "The parcel's outline in the parcel layer's own CRS."),
    ),
)
