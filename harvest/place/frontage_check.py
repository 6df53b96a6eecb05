"""What is doubtful about where parcels stand."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from harvest.findings import Finding, Severity, counted
from harvest.place.frontage import Frontage
from harvest.place.segments import Segments
from harvest.project.streets import Streets

SERIOUS = 0.2
"""From this share of all addresses on, names that are not found point to a wrong column rather than to odd lots."""


def check_frontage(
    found: Frontage, ids: NDArray[np.object_], on: Segments, settings: Streets
) -> list[Finding]:
    """Findings on parcels on no street, behind others, on unnamed streets, and on addresses that fit no street, or
    several; ``ids`` [n] are the parcels'."""
    addressed = max(int((found.named != "no name").sum()), 1)
    findings = []
    for check, where, severity, message, remedy in _doubts(found, on, settings):
        if where.any():
            many = check.startswith("address") and where.sum() > SERIOUS * addressed
            told = f"{counted(int(where.sum()), 'parcel')} {message}"
            findings.append(
                Finding.of(check, "parcels", "serious" if many else severity, ids[where], told, remedy)
            )
    return findings


def _doubts(
    found: Frontage, on: Segments, settings: Streets
) -> Iterator[tuple[str, NDArray[np.bool_], Severity, str, str]]:
    placed = found.segment >= 0
    yield (
        "parcels on no street",
        found.how == "too far",
        "warning",
        f"farther than {settings.farthest_m:g} m from every street: in the tables, and on no round.",
        "Look whether a street is missing; else raise streets.farthest_m.",
    )
    yield (
        "parcels without a place",
        found.how == "no street",
        "warning",
        "without a street, since there is none at all or the parcel has no outline.",
        "Give a street layer that covers the parcels.",
    )
    yield (
        "parcels behind others",
        found.how == "behind others",
        "note",
        "reached from a street only over other parcels; they stand on the nearest.",
        "Look how one gets there before sending anyone.",
    )
    yield (
        "address street unknown",
        found.named == "unknown",
        "warning",
        "with an address on a street that the layer does not name; they stand on the street in front of them.",
        "Compare the spelling in both layers, and the name column of [streets].",
    )
    yield (
        "address street elsewhere",
        found.named == "elsewhere",
        "note",
        f"with an address on a street that is not in front of them, nor within {settings.address_within_m:g} m; "
        "they stand on the street in front of them.",
        "Look whether the address is that of the owner, or raise streets.address_within_m.",
    )
    yield (
        "address fits several streets",
        found.named == "several",
        "note",
        "with an address that fits several streets of the layer; they stand on the nearest of these.",
        "Complete the street names: direction, name and kind.",
    )
    yield (
        "corners without an address",
        found.corner & (found.named == "no name"),
        "note",
        f"between several streets without an address; they stand on the one to their {settings.corner_front} side."
        if settings.corner_front != "near"
        else "between several streets without an address; they stand on the nearer one.",
        "Add addresses, or change streets.corner_front.",
    )
    street = np.append(on.street, 0)[found.segment]
    yield (
        "parcels on streets without a name",
        placed & (street < 0),
        "note",
        "on streets without a name; walk lists call these streets by their number.",
        "Add the names if they are known.",
    )
