"""What a field and a table are, and the check that every table passes when it is handed over."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from harvest.errors import FieldError

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

Dtype = Literal["string", "float", "integer", "boolean", "geometry"]
Adds = Literal["sum", "area-weighted mean", "no"]

UNITS_BY_SUFFIX = {
    "_m2": "m²",
    "_mm_yr": "mm/yr",
    "_l_yr": "L/yr",
    "_mm": "mm",
    "_l": "L",
    "_m": "m",
    "_year": "year",
    "_usd_yr": "USD/yr",
    "_usd": "USD",
    "_l_min": "L/min",
    "_min": "min",
    "_yr": "1/yr",
}
"""The suffix that a quantity's name must end with, longest first, and the unit it stands for."""


MISSING_DTYPES = {"string": "str", "float": "float64", "integer": "Int64", "boolean": "boolean"}
"""The types of columns in which nothing is known."""


def unit_of_name(name: str) -> str | None:
    """The unit that the suffix of ``name`` declares, or None."""
    for suffix in sorted(UNITS_BY_SUFFIX, key=len, reverse=True):
        if name.endswith(suffix):
            return UNITS_BY_SUFFIX[suffix]
    return None


@dataclass(frozen=True)
class Field:
    """One column: how it is named, bounded, shown, added up, and whether it may be published.

    ``unit`` is None for text and "1" for a pure number. ``digits`` is the number of significant digits
    worth showing on a screen; tables keep full precision. ``allowed`` lists the only texts allowed.
    ``optional``: known only where the project file asks for it; elsewhere missing throughout, and left out
    of what people open.
    """

    name: str
    dtype: Dtype
    label: str
    meaning: str
    unit: str | None = None
    minimum: float | None = None
    maximum: float | None = None
    nullable: bool = False
    digits: int = 3
    adds: Adds = "no"
    published: bool = False
    allowed: tuple[str, ...] = ()
    optional: bool = False

    def __post_init__(self) -> None:
        if self.dtype in ("float", "integer"):
            declared = unit_of_name(self.name)
            if self.unit != (declared or "1"):
                raise FieldError(
                    f"Field {self.name}: unit is {self.unit!r} but the name says {declared or '1'!r}."
                )
        elif self.unit is not None:
            raise FieldError(f"Field {self.name}: a {self.dtype} has no unit.")


@dataclass(frozen=True)
class Table:
    """One table of the result: its fields in order and the columns that identify a row."""

    name: str
    title: str
    meaning: str
    key: tuple[str, ...]
    fields: tuple[Field, ...]

    def __post_init__(self) -> None:
        names = self.names
        if len(set(names)) != len(names) or not set(self.key) <= set(names):
            raise FieldError(f"Table {self.name}: names repeat, or the key is not among them.")

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in order."""
        return tuple(one.name for one in self.fields)

    def field(self, name: str) -> Field:
        """The field called ``name``; :class:`FieldError` when there is none."""
        for one in self.fields:
            if one.name == name:
                return one
        raise FieldError(f"Table {self.name} has no field {name}.")

    def numeric(self) -> tuple[str, ...]:
        """Names of the fields that hold numbers."""
        return tuple(one.name for one in self.fields if one.dtype in ("float", "integer"))

    def filled(self, frame: pd.DataFrame) -> pd.DataFrame:
        """``frame`` with the optional columns that it lacks, missing throughout."""
        import pandas as pd

        lacking = {
            one.name: pd.Series(None, index=frame.index, dtype=MISSING_DTYPES[one.dtype])
            for one in self.fields
            if one.optional and one.name not in frame
        }
        return frame.assign(**lacking)

    def checked(self, frame: pd.DataFrame) -> pd.DataFrame:
        """``frame`` in the register's column order, its types and bounds verified; optional columns that it lacks
        are missing throughout.

        Raises :class:`FieldError` naming the column and the first offending key.
        """
        frame = self.filled(frame)
        missing, extra = set(self.names) - set(frame.columns), set(frame.columns) - set(self.names)
        if missing or extra:
            raise FieldError(
                f"Table {self.name}: missing {sorted(missing)}, not in register {sorted(extra)}."
            )
        for one in self.fields:
            self._check_column(frame, one)
        if self.key and frame.duplicated(list(self.key)).any():
            raise FieldError(f"Table {self.name}: {', '.join(self.key)} repeats.")
        return frame[list(self.names)]

    def _check_column(self, frame: pd.DataFrame, one: Field) -> None:
        column = frame[one.name]
        if one.dtype != "geometry" and not _holds(column, one.dtype):
            raise FieldError(f"Table {self.name}: {one.name} holds {column.dtype}, not {one.dtype}.")
        missing = column.isna()
        if not one.nullable and missing.any():
            self._refuse(frame, one, missing, "is missing")
        if one.dtype in ("float", "integer"):
            numbers = column.to_numpy("float64", na_value=float("nan"))
            if one.minimum is not None:
                self._refuse(frame, one, numbers < one.minimum, f"is below {one.minimum}")
            if one.maximum is not None:
                self._refuse(frame, one, numbers > one.maximum, f"is above {one.maximum}")
        if one.allowed:
            strange = ~column.isin(one.allowed) & ~missing
            self._refuse(frame, one, strange, f"is none of {one.allowed}")

    def _refuse(
        self, frame: pd.DataFrame, one: Field, where: pd.Series | NDArray[np.bool_], why: str
    ) -> None:
        if where.any():
            row = frame.loc[where, list(self.key)].iloc[0].to_dict()
            raise FieldError(
                f"Table {self.name}: {one.name} {why} in {int(where.sum())} rows, first {row}; this is a bug."
            )


def _holds(column: pd.Series, dtype: Dtype) -> bool:
    from pandas.api import types

    match dtype:
        case "string":
            return bool(types.is_string_dtype(column))
        case "float":
            return bool(types.is_float_dtype(column))
        case "integer":
            return bool(types.is_integer_dtype(column))
        case "boolean":
            return bool(types.is_bool_dtype(column))
        case _:
            return True


def register(tables: Iterable[Table]) -> dict[str, Table]:
    """Tables by name; a name may stand once."""
    found: dict[str, Table] = {}
    for one in tables:
        if one.name in found:
            raise FieldError(f"Table {one.name} is registered twice.")
        found[one.name] = one
    return found
