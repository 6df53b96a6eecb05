"""Districts and surroundings: in which district each parcel lies, and what is drawn under the map."""

from __future__ import annotations

from dataclasses import replace

from pyproj import CRS

from harvest.clock import Clock
from harvest.estimate import Estimate, Inputs
from harvest.fields import CONTEXT
from harvest.place.districts import in_districts
from harvest.place.surroundings import surroundings


def with_places(found: Estimate, inputs: Inputs, clock: Clock) -> Estimate:
    """``found`` with ``district`` on its parcels and the table of surroundings, as far as the project has them."""
    accounts = [*found.accounts]
    if inputs.districts is not None:
        with clock.step("districts"):
            names, told = in_districts(found.parcels, inputs.districts.frame)
        accounts.append(inputs.districts.account)
        found = replace(
            found, parcels=found.parcels.assign(district=names), findings=(*found.findings, *told)
        )
    if inputs.context:
        accounts += [one.account for one in inputs.context]
        table = surroundings(inputs.context, CRS(found.parcels.crs))
        if len(table):
            found = replace(found, more={**found.more, CONTEXT.name: table})
    return replace(found, accounts=tuple(accounts))
