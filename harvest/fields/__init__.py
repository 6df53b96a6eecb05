"""The one register of every table and column. What is not in it cannot leave the program."""

from __future__ import annotations

from harvest.fields import achieved, canvass, outreach
from harvest.fields.achieved import ANNUAL, CHANGES, PROGRESS
from harvest.fields.canvass import CONTEXT, ROUNDS, SIDES, STOPS, STREETS
from harvest.fields.doubts import FINDINGS
from harvest.fields.outreach import UNMATCHED, VISITS
from harvest.fields.parcels import PARCELS
from harvest.fields.public import PUBLIC
from harvest.fields.register import Field, Table, register
from harvest.fields.roofs import ROOFS

TABLES = register([PARCELS, ROOFS, *canvass.TABLES, *outreach.TABLES, *achieved.TABLES, PUBLIC, FINDINGS])
"""Tables by name. Those of streets, outreach and surroundings are in a result only where its project asks for them."""

__all__ = [
    "ANNUAL",
    "CHANGES",
    "CONTEXT",
    "FINDINGS",
    "PARCELS",
    "PROGRESS",
    "PUBLIC",
    "ROOFS",
    "ROUNDS",
    "SIDES",
    "STOPS",
    "STREETS",
    "TABLES",
    "UNMATCHED",
    "VISITS",
    "Field",
    "Table",
]
