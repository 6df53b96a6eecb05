"""Columns as they come in files, turned into texts, ids, whole numbers and marks of our own.

Ids are always texts: leading zeros stay, and a number that a program stored as 123.0 reads "123".
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from decimal import Decimal

import numpy as np
import pandas as pd
from pandas.api import types

from harvest.findings import Finding
from harvest.read.files import InputFile

MISSING_WORDS = ("", "nan", "none", "null", "<null>", "<na>", "nat")
YES = ("true", "t", "yes", "y", "1")
NO = ("false", "f", "no", "n", "0")


def check_columns(file: InputFile, wanted: dict[str, Sequence[str]], there: Sequence[str]) -> None:
    """Raise the file's refusal when a column of ``wanted`` (by setting) is not ``there``."""
    for key, names in wanted.items():
        for name in names:
            if name not in there:
                raise file.refused(
                    f"has no column {name!r} ({key} in the project file){nearest(name, there)}"
                )


def nearest(name: str, there: Sequence[str]) -> str:
    """The end of a sentence: the name that was probably meant, or all there are."""
    folded = {one.casefold(): one for one in there}
    near = difflib.get_close_matches(name.casefold(), list(folded), n=1, cutoff=0.6)
    if near:
        return f"; did you mean {folded[near[0]]!r}?"
    return f"; there are {', '.join(there)}." if there else "; it has none at all."


def texts(column: pd.Series) -> pd.Series:
    """``column`` as stripped text, NA where it holds nothing."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        column = column.astype(column.cat.categories.dtype)
    if types.is_bool_dtype(column):
        plain = column.astype("boolean").map({True: "true", False: "false"}, na_action="ignore")
    elif types.is_float_dtype(column):
        plain = _plain_numbers(column)
    elif types.is_integer_dtype(column):
        plain = column.astype("str")
    elif types.is_string_dtype(column) and not types.is_object_dtype(column):
        plain = column
    else:
        plain = column.map(_text, na_action="ignore")
    plain = plain.astype("str").str.strip()
    return plain.mask(plain.str.lower().isin(MISSING_WORDS))


def _text(value: object) -> str:
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace")
    if isinstance(value, float | Decimal) and value == value // 1:
        return str(int(value))
    return str(value)


def _plain_numbers(column: pd.Series) -> pd.Series:
    """Numbers as text, whole ones without a point."""
    numbers = column.to_numpy("float64", na_value=np.nan)
    whole = np.isfinite(numbers) & (numbers == np.floor(numbers)) & (np.abs(numbers) < 2**63)
    plain = pd.Series(numbers, index=column.index).astype("str")
    plain[whole] = pd.Series(numbers[whole].astype("int64"), index=column.index[whole]).astype("str")
    return plain.mask(np.isnan(numbers))


def joined(frame: pd.DataFrame, names: Sequence[str]) -> pd.Series:
    """Several columns as one text, joined by a space, what is missing left out."""
    parts = [texts(frame[name]) for name in names]
    if not parts:
        return pd.Series(pd.NA, index=frame.index, dtype="str")
    if len(parts) == 1:
        return parts[0]
    whole = parts[0].fillna("")
    for part in parts[1:]:
        whole = whole + " " + part.fillna("")
    whole = whole.str.replace(r"\s+", " ", regex=True).str.strip()
    return whole.mask(whole == "")


def ids(column: pd.Series | None, rows: np.ndarray, layer: str) -> tuple[pd.Series, pd.Series, list[Finding]]:
    """Unique text ids for a table whose row numbers in the file are ``rows``, and the ids as they stand there.

    A missing id becomes ``row N``; the second and further rows with one id become ``id~2``, ``id~3``: no row
    is lost. Each comes with a finding.
    """
    if column is None:
        numbered = _numbered(rows)
        return numbered, numbered, []
    found: list[Finding] = []
    named = texts(column).reset_index(drop=True)
    missing = named.isna()
    if missing.any():
        named = named.where(~missing, _numbered(rows))
        found.append(
            Finding.of(
                "id missing",
                layer,
                "warning",
                named[missing],
                f"Rows without an id, called by their row in the file instead: {int(missing.sum())}.",
                "Give these rows an id, so that they keep it when the file changes.",
            )
        )
    repeated = named.duplicated()
    if repeated.any():
        found.append(
            Finding.of(
                "id repeated",
                layer,
                "warning",
                named[repeated].unique(),
                f"Rows that repeat the id of an earlier row, kept as id~2, id~3: {int(repeated.sum())}.",
                "Check whether these rows are copies, or the column is no id.",
            )
        )
        return _distinct(named, repeated), named, found
    return named, named, found


def _numbered(rows: np.ndarray) -> pd.Series:
    return "row " + pd.Series(rows).astype("str")


def _distinct(named: pd.Series, repeated: pd.Series) -> pd.Series:
    taken = set(named)
    following: dict[str, int] = {}
    new = named.copy()
    for row in np.flatnonzero(repeated):
        name = named.iloc[row]
        number = following.get(name, 2)
        while f"{name}~{number}" in taken:
            number += 1
        following[name] = number + 1
        taken.add(f"{name}~{number}")
        new.iloc[row] = f"{name}~{number}"
    return new


def whole_numbers(column: pd.Series) -> tuple[pd.Series, pd.Series]:
    """``column`` as Int64, NA where nothing or no whole number stands; and where something unfit stood."""
    if types.is_integer_dtype(column):
        return column.astype("Int64"), pd.Series(False, index=column.index)
    plain = texts(column)
    numbers = pd.to_numeric(plain, errors="coerce").astype("float64")
    fit = np.isfinite(numbers) & (numbers == np.floor(numbers)) & (numbers.abs() < 2**53)
    whole = numbers.where(fit).astype("Int64")
    return whole, plain.notna() & ~fit


def marks(column: pd.Series) -> tuple[pd.Series, pd.Series]:
    """``column`` as nullable boolean, NA where nothing stands; and where something unknown stood."""
    plain = texts(column).str.lower()
    marked = pd.Series(pd.NA, index=column.index, dtype="boolean")
    marked[plain.isin(YES)] = True
    marked[plain.isin(NO)] = False
    return marked, plain.notna() & marked.isna()
