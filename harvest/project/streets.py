"""``[streets]``: street centrelines, and how parcels are given to their sides."""

from __future__ import annotations

from typing import Literal

from harvest.project.inputs import VectorFile
from harvest.project.setting import COMMON_PRACTICE, FROM_MEMORY, setting

NO_DOORS = [
    *("motorway", "motorway_link", "trunk_link", "primary_link", "secondary_link", "tertiary_link"),
    *("footway", "path", "cycleway", "bridleway", "steps", "corridor", "elevator", "ladder", "via_ferrata"),
    *("construction", "proposed", "planned", "abandoned", "razed", "platform", "rest_area", "services"),
    *("raceway", "bus_guideway", "busway", "escape", "emergency_bay", "emergency_access_point"),
]
"""Values of the key highway, after that project's own list of them (wiki, page Key:highway; from memory)."""


class Streets(VectorFile):
    """Street centrelines: where people walk from door to door."""

    clip_m: float | None = setting(
        1_000.0,
        "Read only streets within this distance of the parcels' extent; nothing is left out when empty.",
        ge=0,
        le=100_000,
    )
    name: str | list[str] | None = setting(
        None,
        "Column of street names, or columns joined by a space in their order, such as direction, name, type; "
        "an OpenStreetMap extract has it in name.",
    )
    kind: str | None = setting(
        None, "Column that says what kind of street it is; an OpenStreetMap extract has it in highway."
    )
    leave_out: list[str] = setting(
        NO_DOORS,
        "Kinds of lines that have no doors; only read where a kind column is known. The default lists those "
        "of OpenStreetMap.",
        source=FROM_MEMORY,
    )
    leave_out_unnamed: list[str] = setting(
        ["service", "track"],
        "Kinds that are left out unless they have a name: drives, alleys and field tracks.",
        source=COMMON_PRACTICE,
    )
    no_crossing: str | None = setting(
        None,
        "Column that marks streets not to be crossed while canvassing (divided or busy); an OpenStreetMap "
        "extract has it in highway.",
    )
    no_crossing_values: list[str] = setting(
        ["yes", "true", "1", "divided", "busy", "trunk", "primary"],
        "What that column says of a street that is not to be crossed, in any case.",
        source=COMMON_PRACTICE,
    )
    level: str | None = setting(
        None,
        "Column that tells which of two lines passes above where they cross, 0 on the ground: bridges do not "
        "meet what they span, and what lies below 0 (tunnels) has no doors. An OpenStreetMap extract has it in "
        "layer.",
    )
    farthest_m: float = setting(
        150.0,
        "A parcel farther than this from every street stands on none. In four real quarters the farthest "
        "building stood 59 to 228 m from a street, and 95 in 100 within 60 m.",
        gt=0,
        le=2_000,
    )
    address_within_m: float = setting(
        80.0,
        "A parcel goes to the street its address names when that street lies within this distance, else to "
        "the street in front of it.",
        ge=0,
        le=2_000,
    )
    corner_m: float = setting(
        8.0,
        "Two streets whose distances to a parcel differ by less than this are both in front of it: it lies "
        "on a corner, or between two streets.",
        ge=0,
        le=50,
    )
    corner_front: Literal["narrow", "wide", "near"] = setting(
        "narrow",
        "Which of them a parcel faces when its address does not say: the one to which it turns its narrow or "
        "its wide side, or the nearer one, which suits a town without parcels better.",
        source="common practice in zoning codes: the front of a corner lot is its shorter street line",
    )
    behind_m: float = setting(
        6.0,
        "A way to the street that runs over another parcel for more than this does not reach it; less is a "
        "strip of verge.",
        source=COMMON_PRACTICE,
        ge=0,
        le=100,
    )
    behind_times: float = setting(
        2.0,
        "A parcel behind others goes to a street that it reaches over open ground when that is no more than "
        "so many times as far as the nearest.",
        unit="1",
        ge=1,
        le=20,
    )
    snap_m: float = setting(
        1.0,
        "Ends of streets this close to each other, or to another street, meet it.",
        source=COMMON_PRACTICE,
        ge=0.01,
        le=10,
    )
    longest_m: float = setting(
        5_000.0, "A stretch between two junctions longer than this is reported.", ge=100, le=100_000
    )
    parity_share: float = setting(
        0.8,
        "A side of a street is taken for odd or even when at least this share of its house numbers are.",
        unit="1",
        gt=0.5,
        le=1,
    )
    parity_least: int = setting(
        4, "With fewer house numbers than this a side is neither odd nor even.", unit="1", ge=2, le=100
    )
