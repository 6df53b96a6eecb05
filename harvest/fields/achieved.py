"""What the programme has achieved: by district and month, by year for a permit's report, and what moved since."""

from __future__ import annotations

from harvest.fields.outreach import count, text
from harvest.fields.register import Field, Table

MOVES = (
    "new",
    "gone",
    "visited",
    "corrected",
    "learned chance",
    "data changed",
    "others moved",
    "unchanged",
)
"""Why a street side stands elsewhere than in the run before."""

PROGRESS = Table(
    "progress",
    "Progress",
    "What the programme has done, by district and month.",
    ("district", "month"),
    (
        text("district", "District", "The district (ward, precinct).", nullable=False, published=True),
        text("month", "Month", "The month, year first.", nullable=False, published=True),
        count("visit_count", "Visits", "Visits in that month.", published=True),
        count("visited_count", "Homes reached", "Parcels visited for the first time.", published=True),
        count("joined_count", "Joined", "Parcels that joined in that month.", published=True),
        count(
            "installed_count", "Installed", "Parcels with their first barrel in that month.", published=True
        ),
        count("barrels", "Barrels", "Barrels installed, as far as the log says.", published=True),
        Field(
            "volume_l",
            "float",
            "Volume",
            "Volume of barrels installed.",
            unit="L",
            minimum=0,
            adds="sum",
            published=True,
        ),
        Field(
            "added_l_yr",
            "float",
            "Added in a year",
            "What those barrels deliver and gardens use in a mean year, by the same tank balance as everything "
            "else.",
            unit="L/yr",
            minimum=0,
            adds="sum",
            published=True,
        ),
        count(
            "unknown_count",
            "Without a figure",
            "Installations in that month whose water is not known and not in the sum: no number of barrels, "
            "or no figure for the parcel.",
            published=True,
        ),
    ),
)

CHANGES = Table(
    "changes",
    "What changed",
    "Street sides that rose or fell since the run before, and why.",
    ("side_id",),
    (
        text("side_id", "Street side", "The side of a street segment.", nullable=False),
        count("rank_before", "Rank before", "Place in the run before.", minimum=1, adds="no", nullable=True),
        count("rank", "Rank", "Place in this run.", minimum=1, adds="no", nullable=True),
        count(
            "rose",
            "Rose by",
            "Places gained since the run before; below 0 where it fell.",
            minimum=-1_000_000,
            adds="no",
            nullable=True,
        ),
        Field(
            "worth_before_l_yr",
            "float",
            "Worth before",
            "Water that a round there was expected to win in the run before.",
            unit="L/yr",
            minimum=0,
            nullable=True,
        ),
        Field(
            "worth_l_yr",
            "float",
            "Worth",
            "Water that a round there is expected to win.",
            unit="L/yr",
            minimum=0,
            nullable=True,
        ),
        text("why", "Why", "The greatest cause.", nullable=False, allowed=MOVES),
        text("told", "In words", "The causes in a sentence.", nullable=False),
    ),
)

ANNUAL = Table(
    "annual",
    "Annual report",
    "What a stormwater permit's annual report usually asks of such a programme, by district and year. Columns follow "
    "common practice; compare them with the permit's own form.",
    ("district", "year"),
    (
        text("district", "District", "The district (ward, precinct).", nullable=False, published=True),
        text("year", "Year", "The calendar year.", nullable=False, published=True),
        count(
            "visit_count",
            "Visits",
            "Every visit of the log in that year, whoever was home, and visits to the same home each time.",
            published=True,
        ),
        count(
            "contacted_count",
            "People contacted",
            "Homes at which somebody was spoken with in that year, each once. People are not counted: a home is one "
            "contact, however many live there.",
            published=True,
        ),
        count(
            "joined_count",
            "Joined",
            "Homes that joined the programme in that year; each counts once, in the year in which it joined.",
            published=True,
        ),
        count(
            "installed_count",
            "Homes with barrels",
            "Homes with their first barrel in that year.",
            published=True,
        ),
        count(
            "practice_count",
            "Practices installed",
            "Rain barrels installed in that year, as far as the log says how many.",
            published=True,
        ),
        count(
            "verified_count",
            "Verified",
            "Homes whose barrels were seen in place in that year.",
            published=True,
        ),
        Field(
            "volume_l",
            "float",
            "Storage volume",
            "Volume of the barrels installed in that year: as logged, else the project's barrel for each. It is what "
            "they hold when full, not what they catch.",
            unit="L",
            minimum=0,
            adds="sum",
            published=True,
        ),
        Field(
            "served_area_m2",
            "float",
            "Area served",
            "Roof area that drains to the downspouts at which those barrels stand, by the rule of downspouts. A second "
            "barrel at the same downspout adds none.",
            unit="m²",
            minimum=0,
            adds="sum",
            published=True,
        ),
        Field(
            "added_l_yr",
            "float",
            "Used in a year",
            "What those barrels deliver and gardens use in a mean year, by the same tank balance as everything else.",
            unit="L/yr",
            minimum=0,
            adds="sum",
            published=True,
        ),
        count(
            "unknown_count",
            "Without a figure",
            "Installations of that year that are missing from area or water: no number of barrels in the log, or no "
            "figure for the parcel.",
            published=True,
        ),
    ),
)

TABLES = (PROGRESS, ANNUAL, CHANGES)
