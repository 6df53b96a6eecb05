"""Parcels from their file, and the reasons that take some of them off the lists."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from harvest.findings import Finding
from harvest.layers import Layer
from harvest.project.inputs import Parcels
from harvest.project.outputs import Limits
from harvest.project.outreach import Eligibility
from harvest.project.ranking import Exclude
from harvest.read import columns
from harvest.read.layer import Rows, read_rows

YEARS = (1500, 2100)


def read_parcels(
    settings: Parcels,
    folder: Path,
    limits: Limits,
    exclude: Sequence[Exclude] = (),
    eligibility: Eligibility | None = None,
) -> Layer:
    """Parcels as valid 2-D polygons in the file's CRS and row order.

    The frame has ``parcel_id`` (text, unique), ``address``, ``land_use`` (text), ``door_count`` (Int64, 1
    where the file does not say), ``built_year`` (Int64), ``exclusion_reason`` (text: the first rule of
    ``exclude`` that meets the parcel) and ``geometry``; missing is NA. What ``eligibility`` names of the file stands
    in ``owner`` (text), ``consent`` and ``earlier_rebate`` (boolean). ``folder`` is the project's. Raises
    :class:`harvest.errors.LayerError`.
    """
    rules = eligibility.parcel_columns if eligibility is not None else {}
    address = [settings.address] if isinstance(settings.address, str) else settings.address or []
    wanted = {
        "address": address,
        "land_use": [settings.land_use] if settings.land_use else [],
        "doors": [settings.doors] if settings.doors else [],
        "built_year": [settings.built_year] if settings.built_year else [],
        "[[exclude]] column": [rule.column for rule in exclude if rule.column],
        **{f"[eligibility] {what}": [column] for what, column in rules.items()},
    }
    rows = read_rows("parcels", settings, folder, limits, wanted)
    doors, of_doors = _doors(rows, settings.doors)
    year, of_year = _built_year(rows, settings.built_year)
    reason, of_reason = _exclusion_reason(rows, exclude)
    asked, of_asked = _asked(rows, rules)
    own = {
        "address": columns.joined(rows.raw, address),
        "land_use": columns.joined(rows.raw, wanted["land_use"]),
        "door_count": doors,
        "built_year": year,
        "exclusion_reason": reason,
        **asked,
    }
    return rows.layer("parcel_id", own, [*of_doors, *of_year, *of_reason, *of_asked])


def _asked(rows: Rows, rules: Mapping[str, str]) -> tuple[dict[str, pd.Series], list[Finding]]:
    """The columns of ``rules`` (column of the file by what it says): who owns as text, the others as marks."""
    own: dict[str, pd.Series] = {}
    found: list[Finding] = []
    for what, column in rules.items():
        if what == "owner":
            own[what] = columns.texts(rows.raw[column])
            continue
        own[what], unfit = columns.marks(rows.raw[column])
        found += _unfit(rows, column, unfit, "mark unfit", "neither yes nor no", "they count as unknown")
    return own, found


def _doors(rows: Rows, column: str | None) -> tuple[pd.Series, list[Finding]]:
    if column is None:
        return pd.Series(1, index=rows.raw.index, dtype="Int64"), []
    doors, unfit = columns.whole_numbers(rows.raw[column])
    unfit |= (doors < 0).fillna(False)
    found = _unfit(rows, column, unfit, "door count unfit", "no count of homes", "they count as 1 door")
    return doors.mask(unfit).fillna(1), found


def _built_year(rows: Rows, column: str | None) -> tuple[pd.Series, list[Finding]]:
    if column is None:
        return pd.Series(pd.NA, index=rows.raw.index, dtype="Int64"), []
    year, unfit = columns.whole_numbers(rows.raw[column])
    unknown = (year == 0).fillna(False)
    unfit |= ~(year.between(*YEARS) | year.isna() | unknown).fillna(True)
    found = _unfit(rows, column, unfit, "built year unfit", "no year", "they count as unknown")
    return year.mask(unfit | unknown), found


def _unfit(rows: Rows, column: str, unfit: pd.Series, check: str, what: str, therefore: str) -> list[Finding]:
    if not unfit.any():
        return []
    values = ", ".join(repr(value) for value in columns.texts(rows.raw[column])[unfit].unique()[:3])
    return [
        Finding.of(
            check,
            "parcels",
            "warning",
            rows.ids[unfit],
            f"Column {column!r} holds values such as {values} that are {what}; {therefore}.",
            "Correct them in the parcel file, or name another column.",
        )
    ]


def _exclusion_reason(rows: Rows, rules: Sequence[Exclude]) -> tuple[pd.Series, list[Finding]]:
    reason = pd.Series(pd.NA, index=rows.raw.index, dtype="str")
    found: list[Finding] = []
    for rule in rules:
        meets = rows.ids.isin(rule.parcels) | rows.raw_ids.isin(rule.parcels)
        absent = [one for one in rule.parcels if not (rows.ids == one).any()]
        if rule.column:
            wanted = [one.strip() for one in rule.values]  # noqa: PD011
            meets |= columns.texts(rows.raw[rule.column]).isin(wanted)
        reason = reason.mask(reason.isna() & meets, rule.reason)
        if not meets.any():
            found.append(_idle(rule))
        elif absent:
            found.append(_absent(rule, absent))
    return reason, found


def _idle(rule: Exclude) -> Finding:
    named = f"{rule.column} = {', '.join(rule.values)}" if rule.column else ", ".join(rule.parcels[:5])
    return Finding.of(
        "exclusion meets nothing",
        "parcels",
        "warning",
        rule.parcels or rule.values,  # noqa: PD011
        f"The exclusion {rule.reason!r} ({named}) meets no parcel.",
        "Compare its ids or values with the parcel file, letter by letter.",
    )


def _absent(rule: Exclude, absent: list[str]) -> Finding:
    return Finding.of(
        "exclusion names unknown parcels",
        "parcels",
        "warning",
        absent,
        f"The exclusion {rule.reason!r} names parcels that are not in the parcel file: {len(absent)}.",
        "Compare these ids with the parcel file, letter by letter.",
    )
