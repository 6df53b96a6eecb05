"""The rows of a table as every written table shows them, in pieces so that a state fits in memory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from harvest.fields import FINDINGS, Field, Table
from harvest.findings import Finding
from harvest.result import Result
from harvest.show.limits import NULL_SIGN, infinite

if TYPE_CHECKING:
    import pandas as pd


def plain_fields(table: Table) -> list[Field]:
    """The fields of ``table`` that are text or figures, in the register's order: all but geometry."""
    return [one for one in table.fields if one.dtype != "geometry"]


def heading(field: Field) -> str:
    """``field`` as people read it: its label, and its unit where it has one."""
    return field.label if field.unit in (None, "1") else f"{field.label}, {field.unit}"


@dataclass(frozen=True)
class Rows:
    """The tables of a result, with the findings that writing them added."""

    result: Result
    added: tuple[Finding, ...] = ()

    def pieces(self, table: Table, geometry: bool = False) -> Iterator[pd.DataFrame]:
        """``table`` in frames of its plain fields (and ``geometry`` as WKB bytes), in the file's order.

        Missing values are NA. What no format can hold is shown in its place as ``limits`` says. The added
        findings take the place of the same ones from an earlier writing.
        """
        fields = plain_fields(table)
        columns = [one.name for one in fields] + ["geometry"] * geometry
        for frame in self.result.batches(table.name, columns):
            shown = frame.assign(**{one.name: _shown(frame[one.name], one) for one in fields})
            yield self._without_added(shown) if table.name == "findings" else shown
        if table.name == "findings" and self.added:
            yield findings_frame(self.added)

    def _without_added(self, findings: pd.DataFrame) -> pd.DataFrame:
        places = {(one.check, one.layer) for one in self.added}
        mine = [place in places for place in zip(findings["check"], findings["layer"], strict=True)]
        return findings[~np.array(mine, dtype=bool)]


def _shown(column: pd.Series, field: Field) -> pd.Series:
    match field.dtype:
        case "string":
            return column.str.replace("\x00", NULL_SIGN, regex=False)
        case "float":
            return column.mask(infinite(column) | column.isna())
        case _:
            return column


def findings_frame(findings: Sequence[Finding]) -> pd.DataFrame:
    """``findings`` as rows of the findings table."""
    import pandas as pd

    texts = {
        "check": [one.check for one in findings],
        "layer": [one.layer for one in findings],
        "severity": [one.severity for one in findings],
        "message": [one.message for one in findings],
        "remedy": [one.remedy for one in findings],
        "first": [", ".join(one.first) or None for one in findings],
    }
    frame = pd.DataFrame({name: pd.array(column, dtype="string") for name, column in texts.items()})
    frame["count"] = pd.array([one.count for one in findings], dtype="Int64")
    return frame[list(FINDINGS.names)]
