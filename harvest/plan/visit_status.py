"""Where each parcel stands with the programme, from the visits that stand. Nobody home is not a no."""

from __future__ import annotations

import pandas as pd

from harvest.fields.outreach import (
    INELIGIBLE,
    INSTALLED,
    NOT_HOME,
    OTHER_LANGUAGE,
    REFUSED,
    TO_VISIT,
    TRY_AGAIN,
    VERIFIED,
)
from harvest.findings import Finding

SETTLED = (INSTALLED, VERIFIED)
"""A barrel that stands there is not undone by what is said later."""

UNDOING = (REFUSED, INELIGIBLE, OTHER_LANGUAGE)


def visit_status(visits: pd.DataFrame, parcel_ids: pd.Series, barrel_l: float) -> pd.DataFrame:
    """What the log knows of each of ``parcel_ids`` [n], on their index.

    Reads ``line``, ``parcel_id``, ``day``, ``outcome``, ``barrels`` and ``volume_l`` of ``visits``; those of other
    parcels are not looked at. Returns ``visit_status``, ``visit_count``, ``not_home_count``, ``last_visit`` (text, year
    first), ``last_outcome``, ``installed_barrels`` (Int64, NA where some number is unknown) and ``installed_l`` [L],
    which counts ``barrel_l`` for a barrel whose volume the log leaves out.

    The status is the last thing said, whoever was not home since; once a barrel is installed it stays so.
    """
    ordered = visits.sort_values(["day", "line"], kind="stable")
    by_parcel = ordered.groupby("parcel_id")
    last = by_parcel.last()
    said = ordered[ordered["outcome"] != NOT_HOME].groupby("parcel_id")["outcome"].last()
    stands = ordered[ordered["outcome"].isin(SETTLED)]
    settled = stands.groupby("parcel_id")["outcome"].agg(
        lambda told: VERIFIED if (told == VERIFIED).any() else INSTALLED
    )
    known = pd.DataFrame(
        {
            "visit_status": settled.reindex(last.index).fillna(said.reindex(last.index)).fillna(TRY_AGAIN),
            "visit_count": by_parcel.size(),
            "not_home_count": (ordered["outcome"] == NOT_HOME).groupby(ordered["parcel_id"]).sum(),
            "last_visit": last["day"].dt.strftime("%Y-%m-%d"),
            "last_outcome": ordered.groupby("parcel_id")["outcome"].last(),
        }
    )
    known = known.join(_installed(ordered, barrel_l))
    table = known.reindex(parcel_ids.to_numpy()).set_axis(parcel_ids.index)
    table["visit_status"] = table["visit_status"].fillna(TO_VISIT).astype("str")
    never = table["visit_count"].isna()
    for name in ("visit_count", "not_home_count"):
        table[name] = table[name].fillna(0).astype("int64")
    table["installed_barrels"] = table["installed_barrels"].astype("Int64").mask(never, 0)
    table["installed_l"] = table["installed_l"].astype("float64").mask(never, 0.0)
    return table.astype({"last_visit": "str", "last_outcome": "str"})


def installations(visits: pd.DataFrame, barrel_l: float) -> pd.DataFrame:
    """The visits at which barrels were installed, with ``barrels`` (Int64) and ``volume_l`` [L], NA where unknown.

    A visit that only verified, or came to anything else, installs none.
    """
    rows = visits[visits["outcome"] == INSTALLED]
    volume = rows["volume_l"].fillna(rows["barrels"].astype("float64") * barrel_l)
    return rows.assign(volume_l=volume)


def _installed(ordered: pd.DataFrame, barrel_l: float) -> pd.DataFrame:
    """Barrels and litres installed at each parcel in the log; unknown where one of its installations is."""
    rows = installations(ordered, barrel_l)
    by_parcel = rows.groupby("parcel_id")
    sums = pd.DataFrame(
        {"installed_barrels": by_parcel["barrels"].sum(), "installed_l": by_parcel["volume_l"].sum()}
    )
    for total, part in (("installed_barrels", "barrels"), ("installed_l", "volume_l")):
        unknown = rows[part].isna().groupby(rows["parcel_id"]).any()
        sums[total] = sums[total].mask(unknown)
    seen = pd.Index(ordered["parcel_id"].unique())
    verified = ordered[ordered["outcome"] == VERIFIED]["parcel_id"]
    sums = sums.reindex(seen).astype({"installed_barrels": "Int64", "installed_l": "float64"})
    none = ~seen.isin(rows["parcel_id"]) & ~seen.isin(verified)
    return sums.assign(
        installed_barrels=sums["installed_barrels"].mask(none, 0),
        installed_l=sums["installed_l"].mask(none, 0.0),
    )


def check_stories(visits: pd.DataFrame) -> list[Finding]:
    """Findings on parcels whose visits contradict one another."""
    ordered = visits.sort_values(["day", "line"], kind="stable")
    begun = ordered["outcome"].isin(SETTLED).groupby(ordered["parcel_id"]).cummax()
    undone = ordered[begun & ordered["outcome"].isin(UNDOING)]
    installed = ordered[ordered["outcome"] == INSTALLED]["parcel_id"]
    bare = ordered[(ordered["outcome"] == VERIFIED) & ~ordered["parcel_id"].isin(installed)]
    found = []
    later = ", ".join(sorted(set(undone["outcome"])))
    if len(undone):
        found.append(
            Finding.of(
                "installed, then something else",
                "visits",
                "warning",
                undone["parcel_id"].unique(),
                f"Parcels with a barrel installed that were logged as {later} later; they "
                f"stay {INSTALLED}: {undone['parcel_id'].nunique()}.",
                f"If a barrel was taken away, delete the line that says {INSTALLED}.",
            )
        )
    if len(bare):
        found.append(
            Finding.of(
                "verified without an installation",
                "visits",
                "warning",
                bare["parcel_id"].unique(),
                f"Parcels whose barrels were verified but never logged as installed, so their number is unknown: "
                f"{bare['parcel_id'].nunique()}.",
                f"Add a line that says {INSTALLED}, with the number of barrels.",
            )
        )
    return found
