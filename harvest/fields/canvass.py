"""Where canvassers go: sides of streets, the rounds laid on them, and the doors of each round in walking order."""

from __future__ import annotations

from typing import Any

from harvest.fields.register import Field, Table

NORTH, EAST, SOUTH, WEST = "north", "east", "south", "west"
COMPASS = (NORTH, EAST, SOUTH, WEST)

TO_CANVASS = "to canvass"
DONE = "nobody left to visit"
NOTHING_TO_WIN = "nothing to win"
NO_DOORS = "no doors"
SIDE_STATUSES = (TO_CANVASS, DONE, NOTHING_TO_WIN, NO_DOORS)


def _text(name: str, label: str, meaning: str, **more: Any) -> Field:
    return Field(name, "string", label, meaning, **{"nullable": True, **more})


def _count(name: str, label: str, meaning: str, **more: Any) -> Field:
    return Field(name, "integer", label, meaning, unit="1", **{"minimum": 0, "adds": "sum", **more})


def _number(name: str, label: str, meaning: str, unit: str, **more: Any) -> Field:
    return Field(name, "float", label, meaning, unit=unit, **{"minimum": 0, "nullable": True, **more})


WORTH = _number(
    "worth_l_yr",
    "Worth of a visit",
    "Water a year that knocking is expected to win: what is used × chance of an answer × chance of joining given an "
    "answer × share that replaces tap water.",
    "L/yr",
    adds="sum",
    published=True,
)
WORTH_A_DOOR = _number(
    "worth_door_l_yr",
    "Worth a door",
    "The worth of a visit, divided by the doors that are left to visit.",
    "L/yr",
    published=True,
)
WORTH_A_MINUTE = _number(
    "worth_l_min",
    "Worth a minute",
    "Water a year that a minute of canvassing there is expected to win, walking included.",
    "L/min",
    published=True,
)

PLACE_FIELDS = (
    _text(
        "district", "District", "The district (ward, precinct) that holds it.", optional=True, published=True
    ),
    _text(
        "street", "Street", "The street that its doors open on, as the street layer names it.", optional=True
    ),
    _text("side_id", "Street side", "The side of a street segment that it stands on.", optional=True),
)
"""Where a parcel stands."""

PARCEL_FIELDS = (
    _number(WORTH.name, WORTH.label, WORTH.meaning, "L/yr", adds="sum", optional=True),
    _count(
        "round",
        "Round",
        "The round that comes to its door.",
        minimum=1,
        adds="no",
        nullable=True,
        optional=True,
    ),
)
"""What canvassing makes of a parcel."""

SIDES = Table(
    "sides",
    "Street sides",
    "One row for each side of each stretch of street between two junctions that has parcels.",
    ("side_id",),
    (
        _text(
            "side_id",
            "Street side",
            "The stretch's id, and L or R for left or right of its direction.",
            nullable=False,
        ),
        _text(
            "street",
            "Street",
            "The street as its layer names it; missing where it has no name.",
            published=True,
        ),
        _text("stretch", "Stretch", "The streets between which this stretch lies.", published=True),
        _text(
            "side",
            "Side",
            "On which side of the street, by the compass.",
            nullable=False,
            allowed=COMPASS,
            published=True,
        ),
        _text(
            "numbers", "House numbers", "Lowest and highest house number, and whether they are odd or even."
        ),
        _text("district", "District", "The district (ward, precinct) of most of its doors.", published=True),
        _count("parcel_count", "Parcels", "Parcels on this side, in whatever state."),
        _count(
            "door_count",
            "Doors",
            "Homes or units on this side that the programme may visit, visited or not.",
            published=True,
        ),
        _count(
            "to_visit_count",
            "Doors to visit",
            "Those of them that are still to be visited, or to be tried again.",
        ),
        _count("visited_count", "Parcels visited", "Parcels there with a visit in the log."),
        _count("corrected_count", "Parcels corrected", "Parcels there that the corrections file changed."),
        _number(
            "length_m",
            "Length",
            "Walking length of this side.",
            "m",
            nullable=False,
            adds="sum",
            published=True,
        ),
        _number(
            "canvass_min",
            "Time to canvass",
            "Time at the doors that are left to visit, and for walking along this side once.",
            "min",
            adds="sum",
        ),
        _number(
            "capturable_l_yr",
            "Capturable in a year",
            "What the roofs on this side could catch in season.",
            "L/yr",
            adds="sum",
            published=True,
        ),
        _number(
            "yield_l_yr",
            "Used in a year",
            "What the suggested barrels on this side would deliver and gardens use.",
            "L/yr",
            adds="sum",
            published=True,
        ),
        WORTH,
        WORTH_A_DOOR,
        WORTH_A_MINUTE,
        _number(
            "chance",
            "Chance that a door joins",
            "Chance of an answer times chance of joining given an answer, the mean over doors left to visit.",
            "1",
            maximum=1,
            digits=2,
        ),
        _count(
            "rank",
            "Rank",
            "Place by worth a minute, 1 is best.",
            minimum=1,
            adds="no",
            nullable=True,
            published=True,
        ),
        _text(
            "status",
            "Status",
            "Whether there is still somebody to visit.",
            nullable=False,
            allowed=SIDE_STATUSES,
        ),
        _count(
            "round", "Round", "The first round that works on this side.", minimum=1, adds="no", nullable=True
        ),
        Field(
            "no_crossing",
            "boolean",
            "Not to be crossed",
            "The street is divided or busy, so a round works one side at a time.",
        ),
        Field("geometry", "geometry", "Line", "The stretch of street, in the parcel layer's own CRS."),
    ),
)

STREETS = Table(
    "streets",
    "Streets",
    "One row for each street in each district: its sides added up. Streets without a name share a row a district.",
    ("street", "district"),
    (
        _text("street", "Street", "The street as its layer names it; missing where it has no name."),
        _text("district", "District", "The district (ward, precinct) of its sides."),
        _count("side_count", "Sides", "Sides of its stretches that have parcels."),
        _count("parcel_count", "Parcels", "Parcels on it, in whatever state."),
        _count("door_count", "Doors", "Homes or units on it that the programme may visit, visited or not."),
        _count(
            "to_visit_count", "Doors to visit", "Those that are still to be visited, or to be tried again."
        ),
        _count("visited_count", "Parcels visited", "Parcels there with a visit in the log."),
        _number("length_m", "Length", "Walking length of its sides.", "m", nullable=False, adds="sum"),
        _number(
            "canvass_min",
            "Time to canvass",
            "Time at the doors that are left to visit, and for walking along their sides once.",
            "min",
            adds="sum",
        ),
        _number(
            "capturable_l_yr",
            "Capturable in a year",
            "What the roofs on it could catch in season.",
            "L/yr",
            adds="sum",
        ),
        _number(
            "yield_l_yr",
            "Used in a year",
            "What the suggested barrels on it would deliver and gardens use.",
            "L/yr",
            adds="sum",
        ),
        WORTH,
        WORTH_A_DOOR,
        WORTH_A_MINUTE,
        _count("rank", "Rank", "Place by worth a minute, 1 is best.", minimum=1, adds="no", nullable=True),
        _text(
            "status",
            "Status",
            "Whether there is still somebody to visit.",
            nullable=False,
            allowed=SIDE_STATUSES,
        ),
    ),
)

ROUNDS = Table(
    "rounds",
    "Rounds",
    "One row for each round: a shift of one canvasser, or of a pair.",
    ("round",),
    (
        _count("round", "Round", "Number of the round, the most valuable first.", minimum=1, adds="no"),
        _text("streets", "Streets", "The streets it works on, in walking order.", nullable=False),
        _text("district", "District", "The district (ward, precinct) of most of its doors."),
        _count("stop_count", "Stops", "Parcels to stop at."),
        _count("door_count", "Doors", "Doors to knock at."),
        _number(
            "canvass_min",
            "Time",
            "Expected time at doors and between them.",
            "min",
            nullable=False,
            adds="sum",
        ),
        _number(
            "first_pass_min",
            "First pass",
            "Expected time until every door was tried once.",
            "min",
            nullable=False,
        ),
        _number(
            "walk_m",
            "Walk",
            "Length of the walk along the streets, paths to doors left out.",
            "m",
            nullable=False,
            adds="sum",
        ),
        _number(
            "answers", "Answers", "Doors that are expected to be answered.", "1", nullable=False, adds="sum"
        ),
        _number("joins", "Joins", "Doors that are expected to join.", "1", nullable=False, adds="sum"),
        WORTH,
        WORTH_A_MINUTE,
        Field("geometry", "geometry", "Walk", "The walk along the streets, in the parcel layer's own CRS."),
    ),
)

STOPS = Table(
    "stops",
    "Stops",
    "The doors of every round in walking order. Never a name or a telephone number.",
    ("round", "stop"),
    (
        _count("round", "Round", "Number of the round.", minimum=1, adds="no"),
        _count("stop", "Stop", "Place in the walk.", minimum=1, adds="no"),
        _text("parcel_id", "Parcel", "The parcel.", nullable=False),
        _text("address", "Address", "The address as the parcel layer gives it."),
        _text("street", "Street", "The street, as its layer names it."),
        _text("side_id", "Street side", "The side of a street segment.", nullable=False),
        _count("door_count", "Doors", "Homes or units to knock at."),
        _text("visit_status", "Visit", "Where the parcel stands with the programme."),
        _text("door_caution", "Caution at the door", "What to know before opening the gate."),
        _number("storm_l", "One storm", "What one storm of the set depth brings down from the roof.", "L"),
        _count(
            "suggested_barrels",
            "Suggested barrels",
            "Barrels to suggest there, no more than a limit leaves.",
            nullable=True,
        ),
        _number(
            "yield_l_yr",
            "Used in a year",
            "What those barrels would deliver and the garden use.",
            "L/yr",
            adds="sum",
        ),
        WORTH,
    ),
)

CONTEXT = Table(
    "context",
    "Surroundings",
    "What is drawn under the map so that people find their way: water, parks and the like, from the user's own layers.",
    (),
    (
        _text("kind", "Kind", "What it is, as the project file calls it.", nullable=False, published=True),
        _text("name", "Name", "Its name in the layer.", published=True),
        Field(
            "geometry", "geometry", "Outline", "Its outline, in the parcel layer's own CRS.", published=True
        ),
    ),
)

TABLES = (STREETS, SIDES, ROUNDS, STOPS, CONTEXT)
