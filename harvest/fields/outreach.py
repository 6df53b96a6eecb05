"""What the outreach office keeps: outcomes at doors, corrections, and the fields and tables that come of them.

The words of a log stand here once, so that reading, deciding and showing speak of the same things. A note that
somebody wrote down at a door is in one table only, that of rows set aside, and is never published.
"""

from __future__ import annotations

from typing import Any

from harvest.fields.register import Field, Table

NOT_HOME = "not home"
COME_BACK = "come back"
JOINED = "joined"
INSTALLED = "installed"
VERIFIED = "verified"
REFUSED = "refused"
INELIGIBLE = "ineligible"
OTHER_LANGUAGE = "other language"
OUTCOMES = (NOT_HOME, COME_BACK, JOINED, INSTALLED, VERIFIED, REFUSED, INELIGIBLE, OTHER_LANGUAGE)

TO_VISIT = "to visit"
TRY_AGAIN = "try again at another hour"
VISIT_STATUSES = (TO_VISIT, TRY_AGAIN, *OUTCOMES[1:])
"""Where a parcel stands with the programme. Nobody home is no answer, so it never says no."""

NO_GUTTERS = "no gutters"
BURIED_DOWNSPOUT = "buried downspout"
WRONG_ROOF = "wrong roof"
VACANT = "vacant"
DOG = "dog"
SPLIT = "split into"
MERGED = "merged into"
AREA = "area"
NOTE = "note"
CORRECTIONS = (NO_GUTTERS, BURIED_DOWNSPOUT, WRONG_ROOF, VACANT, DOG, SPLIT, MERGED, AREA, NOTE)
"""What a line of the corrections file can say of a parcel."""

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


def _count(name: str, label: str, meaning: str, **more: Any) -> Field:
    return Field(name, "integer", label, meaning, unit="1", **{"minimum": 0, "adds": "sum", **more})


def _text(name: str, label: str, meaning: str, **more: Any) -> Field:
    return Field(name, "string", label, meaning, **{"nullable": True, **more})


def _chance(name: str, label: str, meaning: str, **more: Any) -> Field:
    return Field(name, "float", label, meaning, unit="1", minimum=0, maximum=1, digits=2, **more)


_OPTIONAL = {"nullable": True, "optional": True}


def _known_text(name: str, label: str, meaning: str, **more: Any) -> Field:
    return _text(name, label, meaning, **_OPTIONAL, **more)


def _known_count(name: str, label: str, meaning: str, **more: Any) -> Field:
    return _count(name, label, meaning, **_OPTIONAL, **more)


def _known_chance(name: str, label: str, meaning: str, **more: Any) -> Field:
    return _chance(name, label, meaning, **_OPTIONAL, **more)


PARCEL_FIELDS = (
    Field(
        "eligible",
        "boolean",
        "Eligible",
        "Whether the programme may offer barrels here; where not, the status is excluded and the reason says why.",
        nullable=True,
        optional=True,
    ),
    _known_text(
        "visit_status",
        "Visit",
        "Where the parcel stands with the programme. Nobody home is not a no.",
        allowed=VISIT_STATUSES,
    ),
    _known_count("visit_count", "Visits", "Visits in the log."),
    _known_count("not_home_count", "Nobody home", "Visits at which nobody came to the door."),
    _known_text("last_visit", "Last visit", "Day of the last visit, year first."),
    _known_text("last_outcome", "Last outcome", "What the last visit came to.", allowed=OUTCOMES),
    _known_count(
        "installed_barrels",
        "Barrels installed",
        "Barrels installed so far; missing where a log says installed but not how many.",
    ),
    Field(
        "installed_l",
        "float",
        "Volume installed",
        "Volume of the barrels installed so far, as logged, else the project's barrel for each.",
        unit="L",
        minimum=0,
        nullable=True,
        adds="sum",
        optional=True,
    ),
    _known_count(
        "allowed_barrels",
        "Barrels still allowed",
        "The suggested barrels, cut to what the limit on barrels or volume leaves after those installed.",
    ),
    _known_text(
        "door_caution", "Caution at the door", "What a canvasser should know before opening the gate."
    ),
    _known_text("corrected", "Corrected", "What the corrections file changed here."),
    _known_chance(
        "answer_chance",
        "Chance of an answer",
        "Chance that somebody answers a first knock, learned by street.",
    ),
    _known_chance(
        "join_chance",
        "Chance of joining",
        "Chance that a home that answers joins, learned by street.",
    ),
)
"""What the log and the office know of a parcel; missing where the project file names no such file."""

VISITS = Table(
    "visits",
    "Visits",
    "Every visit of the log that stands, one row each, matched to its parcel. Notes are left out.",
    ("line",),
    (
        _count("line", "Line", "Line of the log.", minimum=1, adds="no"),
        _text("parcel_id", "Parcel", "The parcel that was visited.", nullable=False),
        _text("day", "Day", "Day of the visit, year first.", nullable=False),
        _text("outcome", "Outcome", "What the visit came to.", nullable=False, allowed=OUTCOMES),
        _count("barrels", "Barrels", "Barrels installed at this visit.", nullable=True),
        Field(
            "volume_l",
            "float",
            "Volume",
            "Volume of the barrels installed at this visit, as logged.",
            unit="L",
            minimum=0,
            nullable=True,
            adds="sum",
        ),
        _text("matched_by", "Matched by", "How the row was matched to its parcel.", nullable=False),
    ),
)

UNMATCHED = Table(
    "unmatched",
    "Rows set aside",
    "Rows of the office's own files that could not be used as they stand, with the reason. For staff only.",
    ("file", "line"),
    (
        _text("file", "File", "Section of the project file that names the file.", nullable=False),
        _count("line", "Line", "Line of the file.", minimum=1, adds="no"),
        _text("reason", "Reason", "Why the row was set aside, and what to do.", nullable=False),
        _text("candidates", "Nearest", "Parcels that may be meant; none was taken."),
        _text("day", "Date", "The date as it is written."),
        _text("parcel", "Parcel", "The parcel as it is written."),
        _text("address", "Address", "The address as it is written."),
        _text("what", "Says", "The outcome or the correction as it is written."),
        _text("value", "Value", "Barrels, volume or another value as it is written."),
        _text("note", "Note", "The note as it is written. It stands in no other table."),
    ),
)

PROGRESS = Table(
    "progress",
    "Progress",
    "What the programme has done, by district and month.",
    ("district", "month"),
    (
        _text("district", "District", "The district (ward, precinct).", nullable=False, published=True),
        _text("month", "Month", "The month, year first.", nullable=False, published=True),
        _count("visit_count", "Visits", "Visits in that month.", published=True),
        _count("visited_count", "Homes reached", "Parcels visited for the first time.", published=True),
        _count("joined_count", "Joined", "Parcels that joined in that month.", published=True),
        _count(
            "installed_count", "Installed", "Parcels with their first barrel in that month.", published=True
        ),
        _count("barrels", "Barrels", "Barrels installed, as far as the log says.", published=True),
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
        _count(
            "unknown_count",
            "Without a figure",
            "Installations in that month whose litres are not known and not in the sum: no number of barrels, "
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
        _text("side_id", "Street side", "The side of a street segment.", nullable=False),
        _count("rank_before", "Rank before", "Place in the run before.", minimum=1, adds="no", nullable=True),
        _count("rank", "Rank", "Place in this run.", minimum=1, adds="no", nullable=True),
        _count(
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
            "Litres that a round there was expected to win in the run before.",
            unit="L/yr",
            minimum=0,
            nullable=True,
        ),
        Field(
            "worth_l_yr",
            "float",
            "Worth",
            "Litres that a round there is expected to win.",
            unit="L/yr",
            minimum=0,
            nullable=True,
        ),
        _text("why", "Why", "The greatest cause.", nullable=False, allowed=MOVES),
        _text("told", "In words", "The causes in a sentence.", nullable=False),
    ),
)

ANNUAL = Table(
    "annual",
    "Annual report",
    "What a stormwater permit's annual report usually asks of such a programme, by district and year. Columns follow "
    "common practice; compare them with the permit's own form.",
    ("district", "year"),
    (
        _text("district", "District", "The district (ward, precinct).", nullable=False, published=True),
        _text("year", "Year", "The calendar year.", nullable=False, published=True),
        _count(
            "visit_count",
            "Visits",
            "Every visit of the log in that year, whoever was home, and visits to the same home each time.",
            published=True,
        ),
        _count(
            "contacted_count",
            "People contacted",
            "Homes at which somebody was spoken with in that year, each once. People are not counted: a home is one "
            "contact, however many live there.",
            published=True,
        ),
        _count(
            "joined_count",
            "Joined",
            "Homes that joined the programme in that year; each counts once, in the year in which it joined.",
            published=True,
        ),
        _count(
            "installed_count",
            "Homes with barrels",
            "Homes with their first barrel in that year.",
            published=True,
        ),
        _count(
            "practice_count",
            "Practices installed",
            "Rain barrels installed in that year, as far as the log says how many.",
            published=True,
        ),
        _count(
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
        _count(
            "unknown_count",
            "Without a figure",
            "Installations of that year that are missing from area or litres: no number of barrels in the log, or no "
            "figure for the parcel.",
            published=True,
        ),
    ),
)

TABLES = (VISITS, UNMATCHED, PROGRESS, ANNUAL, CHANGES)
