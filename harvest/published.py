"""The cells of the public edition, added up from the parcels of a run."""

from __future__ import annotations

from dataclasses import replace

from harvest.clock import Clock
from harvest.estimate import Estimate
from harvest.fields import PUBLIC, SIDES
from harvest.plan.public_cells import public_cells
from harvest.project import Settings


def published(found: Estimate, settings: Settings, clock: Clock) -> Estimate:
    """``found`` with the table of public cells, where the project asks for a public edition."""
    if not settings.public.written:
        return found
    with clock.step("adding up the public edition"):
        sides = found.more.get(SIDES.name)
        edition = public_cells(found.parcels, sides, found.plane, settings.public, settings.town.units)
    return replace(
        found,
        more={**found.more, PUBLIC.name: edition.cells},
        told={**found.told, "public": edition.record},
        findings=(*found.findings, *edition.findings),
    )
