"""Which tables a result holds, and which of their fields anybody needs to see."""

from __future__ import annotations

from dataclasses import replace

from harvest.fields import TABLES, Table
from harvest.result import Result


def tables_of(result: Result) -> dict[str, Table]:
    """The tables that ``result`` holds, by name, in the register's order.

    A field that is known only where the project file asks for it is left out where no row has a value.
    """
    return {name: _known(table, result) for name, table in TABLES.items() if result.has(name)}


def _known(table: Table, result: Result) -> Table:
    if not any(one.optional for one in table.fields):
        return table
    empty = result.empty_columns(table.name)
    return replace(
        table, fields=tuple(one for one in table.fields if not (one.optional and one.name in empty))
    )
