"""Which parcel a person means: by its id, or by its whole address."""

from __future__ import annotations

import difflib

import pandas as pd

from harvest.errors import ResultError
from harvest.result import Result

FIRST_SHOWN = 5
NEAR = 3


def parcel_row(result: Result, wanted: str) -> pd.Series:
    """The row of the parcel ``wanted`` (its id, or its whole address) with all its columns.

    Raises :class:`ResultError` when there is none, naming near ones, or when several share the address.
    """
    parcels = result.table("parcels")
    return parcels.loc[row_of(parcels, wanted, result)]


def row_of(parcels: pd.DataFrame, wanted: str, result: Result) -> int:
    """The label of the row of ``parcels`` (``parcel_id`` and ``address`` at least) that is ``wanted``.

    Raises as :func:`parcel_row` does.
    """
    found = parcels.index[parcels["parcel_id"].eq(wanted)]
    if found.empty:
        found = parcels.index[parcels["address"].str.casefold().eq(wanted.casefold()).fillna(False)]
    if len(found) == 1:
        return int(found[0])
    if len(found) > 1:
        names = ", ".join(parcels.loc[found[:FIRST_SHOWN], "parcel_id"])
        raise ResultError(f"{len(found)} parcels have the address {wanted!r}: {names}. Give the parcel's id.")
    raise ResultError(f"No parcel {wanted!r} in {result.folder}; {_near(parcels, wanted)}.")


def _near(parcels: pd.DataFrame, wanted: str) -> str:
    ids = parcels["parcel_id"].tolist()
    near = near_names(wanted, ids) or near_names(wanted, parcels["address"].dropna().unique().tolist())
    if near:
        return f"near it: {', '.join(near)}"
    return f"ids look like {ids[0]}" if ids else "it holds no parcel at all"


def near_names(wanted: str, names: list[str]) -> list[str]:
    """The few of ``names`` that look most like ``wanted``, whatever their case."""
    by_fold = {name.casefold(): name for name in reversed(names)}
    return [
        by_fold[one]
        for one in difflib.get_close_matches(wanted.casefold(), list(by_fold), n=NEAR, cutoff=0.6)
    ]
