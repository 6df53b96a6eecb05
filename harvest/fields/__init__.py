"""The one register of every table and column. What is not in it cannot leave the program."""

from __future__ import annotations

from harvest.fields.doubts import FINDINGS
from harvest.fields.parcels import PARCELS
from harvest.fields.register import Field, Table, register
from harvest.fields.roofs import ROOFS

TABLES = register([PARCELS, ROOFS, FINDINGS])

__all__ = ["FINDINGS", "PARCELS", "ROOFS", "TABLES", "Field", "Table"]
