"""A gauge's days in order: totals of several days, signs of late reading, and the years that are whole."""

from __future__ import annotations

import numpy as np
import pandas as pd

from harvest.findings import Finding
from harvest.project.gauge import Gauge
from harvest.read.files import InputFile

SHORT_GAP_DAYS = 4
"""A gap up to this long may end in one reading for all of it, as after a long weekend."""

TOP_SHARE = 0.1
"""Such a reading is told when it is among this highest share of all days."""

LONGEST_TOTAL_DAYS = 31
"""A total of more days than this says too little about any of them and is left out."""

WEEKDAY_SCORE = 4.0
"""A weekday's mean is told when it lies this many standard errors above the other days' ..."""

WEEKDAY_BEFORE = 0.5
"""... and the day before has less than this share of an ordinary day's rain."""

DULL_YEAR = 0.1
"""A year with less than this share of the median year's rain is told."""

WEEKEND = 0.8
"""Where more than this share of missing days are Saturdays and Sundays, that is told."""

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def spread_totals(file: InputFile, days: pd.Series, totals: pd.DataFrame, found: list[Finding]) -> pd.Series:
    """``days`` [mm by date] with each total of several days shared out evenly over its days.

    ``totals`` [n] have the ``day`` of reading, the ``depth`` [mm] and the ``span`` in days, the last included. One
    whose days are not known or too many, or on one of whose days there is a reading, is left out.
    """
    filled = days.copy()
    used, unused = [], []
    for day, depth, span in totals.itertuples(index=False):
        known = 1 <= span <= LONGEST_TOTAL_DAYS
        covered = pd.date_range(end=day, periods=int(span) if known else 1, freq="D")
        if not known or covered[0] < days.index[0] or filled[covered].notna().any():
            unused.append(f"{day.date()}: {depth:g} mm")
            continue
        filled[covered] = depth / span
        used.append(f"{day.date()}: {depth:g} mm of {int(span)} days")
    if used:
        found.append(
            Finding.of(
                "total shared out",
                file.role,
                "warning",
                used,
                f"Totals of several days, shared out evenly over the days they cover: {len(used):,}.",
                "Nothing to do; real rain fell on fewer days, so a barrel overflowed more often than this shows.",
            )
        )
    if unused:
        found.append(
            Finding.of(
                "total left out",
                file.role,
                "warning",
                unused,
                "Totals of several days that are left out, since their days are not known, too many, or have "
                f"readings of their own: {len(unused):,}.",
                "Enter the readings day by day if you have them.",
            )
        )
    return filled


def check_days(file: InputFile, days: pd.Series, found: list[Finding]) -> None:
    """Tell readings that seem to hold the rain of several days."""
    read = days.notna()
    run = (~read).groupby(read.cumsum()).cumsum().shift(1, fill_value=0)
    after = read & run.between(1, SHORT_GAP_DAYS)
    late = days[after][days[after] > days.quantile(1 - TOP_SHARE)]
    if len(late):
        found.append(
            Finding.of(
                "late reading",
                file.role,
                "warning",
                [f"{day.date()}: {depth:g} mm after {run[day]} days without" for day, depth in late.items()],
                "High readings right after days without one, which may hold the rain of those days too: "
                f"{len(late)}.",
                "If the keeper read the gauge late, share the total out over the days before.",
            )
        )
    _check_weekdays(file, days, found)


def _check_weekdays(file: InputFile, days: pd.Series, found: list[Finding]) -> None:
    weekday = days.index.day_of_week
    mean = days.groupby(weekday).mean().reindex(range(7))
    for one in range(7):
        own, rest = days[weekday == one].dropna(), days[weekday != one].dropna()
        if len(own) < 2 or len(rest) < 2:
            continue
        error = np.sqrt(own.var() / len(own) + rest.var() / len(rest))
        if (
            error > 0
            and (own.mean() - rest.mean()) / error > WEEKDAY_SCORE
            and (mean[(one - 1) % 7] < WEEKDAY_BEFORE * days.mean())
        ):
            before = WEEKDAYS[(one - 1) % 7]
            found.append(
                Finding(
                    "weekday totals",
                    file.role,
                    "serious",
                    len(own),
                    f"{WEEKDAYS[one]}s have {own.mean() / rest.mean():.1f} times the rain of other days, and the "
                    f"{before}s before have next to none: rain of several days seems to be read on {WEEKDAYS[one]}s.",
                    "Ask the keeper; use a record that was read every day, since late totals overfill a barrel.",
                )
            )


def whole_years(
    file: InputFile, days: pd.Series, settings: Gauge, found: list[Finding]
) -> tuple[pd.Series, tuple[int, ...], int]:
    """The days [mm by date] of years that are whole, missing ones as 0; those years; and how many were missing."""
    first, last = days.index[0], days.index[-1]
    every = pd.date_range(f"{first.year}-01-01", f"{last.year}-12-31", freq="D")
    whole = days.reindex(every)
    gaps = whole.isna().groupby(every.year).sum()
    kept = gaps[gaps <= settings.most_missing_days].index
    if len(kept) == 0:
        raise _no_year(file, whole, gaps, settings)
    ends = {year for year, day, edge in ((first.year, first, "01-01"), (last.year, last, "12-31"))
            if day != pd.Timestamp(f"{year}-{edge}")}  # fmt: skip
    _tell_left_out(file, gaps.drop(kept), ends, settings, found)
    chosen = whole[every.year.isin(kept)]
    missing = chosen.isna()
    if missing.any():
        found.append(
            Finding.of(
                "days missing",
                file.role,
                "warning",
                [day.date() for day in chosen.index[missing]],
                f"Days without a reading in the years that are used, counted as dry: {int(missing.sum())} of "
                f"{len(chosen):,}.",
                "Fill them from the keeper's book if you can; a year with more than "
                f"{settings.most_missing_days} is left out.",
            )
        )
    chosen = chosen.fillna(0.0)
    _tell_years(file, chosen, settings, found)
    return chosen, tuple(int(year) for year in kept), int(missing.sum())


def _no_year(file: InputFile, whole: pd.Series, gaps: pd.Series, settings: Gauge) -> Exception:
    best = gaps.idxmin()
    off = whole.index[whole.isna()].day_of_week
    hint = ""
    if len(off) and (off >= 5).mean() > WEEKEND:
        hint = " Most missing days are Saturdays and Sundays, so the gauge seems to be read on weekdays only."
    return file.refused(
        f"has no whole year: at best {best}, with {gaps[best]} days missing, where [gauge] most_missing_days = "
        f"{settings.most_missing_days}. Use a longer or more complete record.{hint}"
    )


def _tell_left_out(
    file: InputFile, gone: pd.Series, ends: set[int], settings: Gauge, found: list[Finding]
) -> None:
    part, gappy = (
        [year for year in gone.index if year in ends],
        [year for year in gone.index if year not in ends],
    )
    if part:
        found.append(
            Finding.of(
                "year begun or broken off",
                file.role,
                "note",
                part,
                f"Years at the ends of the record that it covers only in part, left out: {', '.join(map(str, part))}.",
                "Nothing to do.",
            )
        )
    if gappy:
        told = ", ".join(f"{year} ({gone[year]} days)" for year in gappy[:12])
        found.append(
            Finding.of(
                "year left out",
                file.role,
                "warning",
                gappy,
                f"Years left out whole, with more than {settings.most_missing_days} days missing: {told}.",
                "Fill the gaps from the keeper's book, or raise most_missing_days in [gauge].",
            )
        )


def _tell_years(file: InputFile, chosen: pd.Series, settings: Gauge, found: list[Finding]) -> None:
    """Tell a record that is short, and years with hardly any rain."""
    sums = chosen.groupby(chosen.index.year).sum()
    if len(sums) < settings.few_years:
        found.append(
            Finding.of(
                "short record",
                file.role,
                "serious" if len(sums) == 1 else "warning",
                sums.index,
                "One whole year of days is all there is, which says nothing of dry and wet years."
                if len(sums) == 1
                else f"Whole years of days: {len(sums)}, fewer than {settings.few_years}; dry and wet years may "
                "not be among them.",
                "Use a longer record if there is one.",
            )
        )
    dull = sums[sums < DULL_YEAR * sums.median()]
    if len(dull):
        found.append(
            Finding.of(
                "year nearly dry",
                file.role,
                "serious",
                dull.index,
                "Years with less than a tenth of the usual rain, in which the gauge may have stood blocked or unread: "
                f"{', '.join(map(str, dull.index[:12]))}.",
                "Ask the keeper; take such years out of the file if they were not read.",
            )
        )
