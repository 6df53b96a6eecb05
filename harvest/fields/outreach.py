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


def count(name: str, label: str, meaning: str, **more: Any) -> Field:
    """A field that counts, and adds up."""
    return Field(name, "integer", label, meaning, unit="1", **{"minimum": 0, "adds": "sum", **more})


def text(name: str, label: str, meaning: str, **more: Any) -> Field:
    """A field of text, which may be missing."""
    return Field(name, "string", label, meaning, **{"nullable": True, **more})


def _chance(name: str, label: str, meaning: str, **more: Any) -> Field:
    return Field(name, "float", label, meaning, unit="1", minimum=0, maximum=1, digits=2, **more)


_OPTIONAL = {"nullable": True, "optional": True}


def _known_text(name: str, label: str, meaning: str, **more: Any) -> Field:
    return text(name, label, meaning, **_OPTIONAL, **more)


def _known_count(name: str, label: str, meaning: str, **more: Any) -> Field:
    return count(name, label, meaning, **_OPTIONAL, **more)


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
        count("line", "Line", "Line of the log.", minimum=1, adds="no"),
        text("parcel_id", "Parcel", "The parcel that was visited.", nullable=False),
        text("day", "Day", "Day of the visit, year first.", nullable=False),
        text("outcome", "Outcome", "What the visit came to.", nullable=False, allowed=OUTCOMES),
        count("barrels", "Barrels", "Barrels installed at this visit.", nullable=True),
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
        text("matched_by", "Matched by", "How the row was matched to its parcel.", nullable=False),
    ),
)

UNMATCHED = Table(
    "unmatched",
    "Rows set aside",
    "Rows of the office's own files that could not be used as they stand, with the reason. For staff only.",
    ("file", "line"),
    (
        text("file", "File", "Section of the project file that names the file.", nullable=False),
        count("line", "Line", "Line of the file.", minimum=1, adds="no"),
        text("reason", "Reason", "Why the row was set aside, and what to do.", nullable=False),
        text("candidates", "Nearest", "Parcels that may be meant; none was taken."),
        text("day", "Date", "The date as it is written."),
        text("parcel", "Parcel", "The parcel as it is written."),
        text("address", "Address", "The address as it is written."),
        text("what", "Says", "The outcome or the correction as it is written."),
        text("value", "Value", "Barrels, volume or another value as it is written."),
        text("note", "Note", "The note as it is written. It stands in no other table."),
    ),
)

TABLES = (VISITS, UNMATCHED)
