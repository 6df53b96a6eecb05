"""A year's table as stormwater permits ask for it: practices installed, storage, area served, people contacted.

Which columns an annual report has differs from permit to permit; these are common practice, not taken from one form.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.fields.achieved import ANNUAL
from harvest.fields.outreach import NOT_HOME, VERIFIED
from harvest.plan.learning import JOINS
from harvest.plan.progress import added_l_yr, in_districts
from harvest.plan.visit_status import installations
from harvest.water.barrels import MOST_BARRELS, layout

Floats = NDArray[np.float64]


def annual_report(
    visits: pd.DataFrame, parcels: pd.DataFrame, barrel_l: float, inequality: float
) -> pd.DataFrame:
    """One row for each district and year in which something happened, with the columns of the annual table.

    ``visits`` and ``parcels`` are those of :func:`harvest.plan.progress.progress`; ``parcels`` have besides
    ``served_area_m2`` and ``barrel_places``. ``inequality`` [1] is that of the rule of downspouts.
    """
    ordered = in_districts(visits, parcels).assign(year=lambda rows: rows["day"].dt.strftime("%Y"))
    at = ["district", "year"]
    done = installations(ordered, barrel_l)
    litres, area = added_l_yr(done, parcels), _served_m2(done, parcels, inequality)
    done = done.assign(added_l_yr=litres, served_area_m2=area, unknown=litres.isna() | area.isna())

    def homes(rows: pd.DataFrame, *once: str) -> pd.Series:
        return rows.drop_duplicates(["parcel_id", *once]).groupby(at).size()

    table = pd.DataFrame(
        {
            "visit_count": ordered.groupby(at).size(),
            "contacted_count": homes(ordered[ordered["outcome"] != NOT_HOME], "year"),
            "joined_count": homes(ordered[ordered["outcome"].isin(JOINS)]),
            "installed_count": homes(done),
            "practice_count": done.groupby(at)["barrels"].sum(),
            "verified_count": homes(ordered[ordered["outcome"] == VERIFIED], "year"),
            **{name: done.groupby(at)[name].sum() for name in ("volume_l", "served_area_m2", "added_l_yr")},
            "unknown_count": done.groupby(at)["unknown"].sum(),
        }
    )
    table = table.fillna(0).sort_index().rename_axis(index=at).reset_index()
    kinds = {"integer": "int64", "float": "float64", "string": "str"}
    return table[list(ANNUAL.names)].astype({one.name: kinds[one.dtype] for one in ANNUAL.fields})


def _served_m2(done: pd.DataFrame, parcels: pd.DataFrame, inequality: float) -> pd.Series:
    """Roof area [n; m²] that each installation newly drains into barrels, NaN where it is not known.

    Barrels go to different downspouts while there are places, as everywhere in the program; a further barrel at a
    downspout that already has one serves no further roof.
    """
    here = parcels.set_index("parcel_id").reindex(done["parcel_id"])
    mean = here["served_area_m2"].to_numpy(dtype=float, na_value=np.nan)
    places = here["barrel_places"].to_numpy(dtype=float, na_value=np.nan)
    total = done.groupby("parcel_id")["barrels"].cumsum()
    known = np.isfinite(mean) & (places >= 1) & total.notna().to_numpy()
    served = np.full((2, len(done)), np.nan)
    whole = np.minimum(places[known], MOST_BARRELS).astype(np.int64)
    for row, barrels in enumerate((total, total - done["barrels"])):
        number = np.clip(barrels[known].to_numpy(dtype=np.int64), 0, MOST_BARRELS)
        served[row, known] = layout(number, whole, mean[known], 0.0, inequality)[0].sum(axis=1)
    return pd.Series(served[0] - served[1], index=done.index)
