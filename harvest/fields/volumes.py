"""Fields that roofs and parcels share: area, rain, and the volumes that follow from them."""

from __future__ import annotations

from harvest.fields.register import Field

CATCHMENT_AREA = Field(
    "catchment_area_m2",
    "float",
    "Roof area",
    "Roof seen from above (horizontal projection), the part that belongs to this row.",
    unit="m²",
    minimum=0,
    nullable=True,
    adds="sum",
    published=True,
)
GUTTERED_AREA = Field(
    "guttered_area_m2",
    "float",
    "Roof area with gutters",
    "The part of the roof area that counts as capturable: roofs large enough to have a gutter, or marked so.",
    unit="m²",
    minimum=0,
    nullable=True,
    adds="sum",
)
RAIN = Field(
    "rain_mm_yr",
    "float",
    "Rain in a year",
    "Long-run mean yearly rain on the roof: mean of the grid cells it touches, weighted by cover.",
    unit="mm/yr",
    minimum=0,
    nullable=True,
    adds="area-weighted mean",
    published=True,
)
SEASON_RAIN = Field(
    "season_rain_mm_yr",
    "float",
    "Rain in season",
    "The part of the yearly rain that falls between the first and last day of the season.",
    unit="mm/yr",
    minimum=0,
    nullable=True,
    adds="area-weighted mean",
    published=True,
)
RAIN_COVER = Field(
    "rain_cover",
    "float",
    "Share of roof with rain data",
    "Share of the roof area that lies on grid cells holding a figure; 1 is all of it.",
    unit="1",
    minimum=0,
    maximum=1 + 1e-9,
    nullable=True,
)
RUNOFF = Field(
    "runoff_l_yr",
    "float",
    "Sheds in a year",
    "What runs off the roof in a whole year: area × yearly rain × runoff coefficient.",
    unit="L/yr",
    minimum=0,
    nullable=True,
    adds="sum",
    published=True,
)
CAPTURABLE = Field(
    "capturable_l_yr",
    "float",
    "Capturable in a year",
    "What runs off guttered roofs in season, after losses. It is not what a barrel would deliver: "
    "a barrel overflows in most storms.",
    unit="L/yr",
    minimum=0,
    nullable=True,
    adds="sum",
    published=True,
)
STORM = Field(
    "storm_l",
    "float",
    "Sheds in one storm",
    "What runs off the whole roof in one storm of the depth set in the project file.",
    unit="L",
    minimum=0,
    nullable=True,
    adds="sum",
    published=True,
)
