"""What is said about doubtful data, and the account of every row.

A :class:`Finding` is one row of ``findings.csv``: printed at the end of a run and shipped with it.
An :class:`Account` holds a layer to its promise that rows in, plus rows added, are rows out plus
rows dropped, each drop with its reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from harvest.errors import HarvestError

Severity = Literal["note", "warning", "serious"]
"""``note``: worth knowing; ``warning``: figures move a little; ``serious``: look before publishing."""

FIRST_OFFENDERS = 5


@dataclass(frozen=True)
class Finding:
    """One named doubt about the data: where, how many, the first few, and what to do."""

    check: str
    layer: str
    severity: Severity
    count: int
    message: str
    remedy: str
    first: tuple[str, ...] = ()

    @classmethod
    def of(
        cls,
        check: str,
        layer: str,
        severity: Severity,
        offenders: Iterable[object],
        message: str,
        remedy: str,
    ) -> Finding:
        """A finding that counts ``offenders`` (ids) and keeps the first few by name."""
        names = [str(one) for one in offenders]
        return cls(check, layer, severity, len(names), message, remedy, tuple(names[:FIRST_OFFENDERS]))


@dataclass(frozen=True)
class Account:
    """Where the rows of one table went: ``rows_in + added = rows_out + dropped``."""

    table: str
    rows_in: int
    rows_out: int
    added: Mapping[str, int] = field(default_factory=dict)
    dropped: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "added", MappingProxyType({k: int(n) for k, n in self.added.items() if n}))
        object.__setattr__(
            self, "dropped", MappingProxyType({k: int(n) for k, n in self.dropped.items() if n})
        )
        came, went = self.rows_in + sum(self.added.values()), self.rows_out + sum(self.dropped.values())
        if came != went:
            raise HarvestError(f"Account of {self.table}: {came} rows came and {went} went; this is a bug.")

    def then(self, later: Account) -> Account:
        """This account followed by ``later``, which starts from the rows this one left."""
        if later.rows_in != self.rows_out:
            raise HarvestError(
                f"Account of {self.table}: {self.rows_out} rows left one step and "
                f"{later.rows_in} entered the next; this is a bug."
            )
        return Account(
            self.table,
            self.rows_in,
            later.rows_out,
            _merged(self.added, later.added),
            _merged(self.dropped, later.dropped),
        )

    def as_dict(self) -> dict[str, object]:
        """Plain values for ``run.json``."""
        return {
            "rows_in": self.rows_in,
            "added": dict(self.added),
            "dropped": dict(self.dropped),
            "rows_out": self.rows_out,
        }


def counted(count: int, one: str, many: str | None = None) -> str:
    """``count`` with its noun: "1 roof", "2,133 roofs"."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def _merged(first: Mapping[str, int], second: Mapping[str, int]) -> dict[str, int]:
    return {key: first.get(key, 0) + second.get(key, 0) for key in [*first, *second]}
