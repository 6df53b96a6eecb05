"""What people corrected on the street, put into roofs and parcels before anything about barrels is worked out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from harvest.estimate import Estimate, Inputs, with_totals
from harvest.fields.outreach import AREA, BURIED_DOWNSPOUT, MERGED, NO_GUTTERS, SPLIT
from harvest.fields.parcels import NO_GUTTER
from harvest.findings import Finding
from harvest.office import Office, of_rest, parcels_meant, read_aside, with_set_aside
from harvest.plan.corrections import LAYER, check_corrections, effects, successors
from harvest.plan.totals import positions
from harvest.plan.visit_match import set_aside
from harvest.project import Settings

OF_ROOFS = (NO_GUTTERS, BURIED_DOWNSPOUT, AREA)
NO_GUTTER_SEEN = "No gutters, as seen on the street."
VOLUMES = ("catchment_area_m2", "runoff_l_yr", "capturable_l_yr", "storm_l")
"""What follows a roof's area in proportion."""


def heirs_of(office: Office, parcels: pd.DataFrame) -> Mapping[str, tuple[str, ...]]:
    """What parcels became that the corrections file says were split or merged."""
    if office.corrections is None:
        return {}
    return successors(office.corrections.rows, parcels["parcel_id"])[0]


def corrected(found: Estimate, inputs: Inputs, settings: Settings) -> Estimate:
    """``found`` with the corrections file applied: gutters, downspouts, roof areas, reasons and cautions.

    Everything is done to the rows of roofs and added up anew, so litres are conserved; how far a corrected area moved
    the town's sums stands in ``told`` and in a finding.
    """
    office = inputs.office
    if office is None or office.corrections is None:
        return found
    read, parcels = office.corrections, found.parcels
    heirs, waiting, _ = successors(read.rows, parcels["parcel_id"])
    moves = read.rows["what"].isin((SPLIT, MERGED))
    meant = parcels_meant(read.rows[~moves], parcels, settings, heirs)
    meant = meant.assign(reason=_not_possible(meant, parcels))
    fit = meant["reason"] == ""
    done = effects(meant[fit], parcels["parcel_id"])
    rest = pd.concat([waiting, meant[~fit]]).sort_values("line", ignore_index=True)
    roofs = _roofs(found.roofs, parcels, done)
    table = with_totals(parcels, roofs, settings)
    seen = done["no_gutters"] & table["status"].eq(NO_GUTTER)
    table = table.assign(
        reason=table["reason"].mask(seen, NO_GUTTER_SEEN),
        **{name: done[name] for name in ("corrected", "door_caution", "correction_reason")},
    )
    told = _told(read.rows, done, rest, found.roofs, roofs)
    return replace(
        found,
        parcels=table,
        roofs=roofs,
        findings=(*found.findings, *check_corrections(rest), *_check_areas(parcels, done, told)),
        accounts=(*found.accounts, of_rest(read.account, len(read.rows) - len(rest), rest)),
        more=with_set_aside(found.more, read_aside(LAYER, read), set_aside(LAYER, rest)),
        told={**found.told, "corrections": told},
    )


def _not_possible(meant: pd.DataFrame, parcels: pd.DataFrame) -> pd.Series:
    """The reason of each row [n], "" where it can be applied: a unit has no roof of its own, bare ground no area."""
    of_roof = meant["what"].isin(OF_ROOFS)
    site = meant["parcel_id"].map(parcels.set_index("parcel_id")["site_id"]).astype("str")
    area = meant["parcel_id"].map(parcels.set_index("parcel_id")["catchment_area_m2"])
    reason = meant["reason"].mask(
        of_roof & site.notna(), "its roof belongs to the whole site; name " + site.fillna("") + " instead"
    )
    bare = meant["what"].eq(AREA) & meant["parcel_id"].notna() & site.isna() & ~area.gt(0)
    return reason.mask(bare, "no roof is mapped there, so its area has nothing to correct")


def _roofs(roofs: gpd.GeoDataFrame, parcels: pd.DataFrame, done: pd.DataFrame) -> gpd.GeoDataFrame:
    """``roofs`` with what the corrections do to each row; ``area_factor`` and ``no_downspouts`` are for later steps."""
    at = positions(roofs["parcel_id"], parcels["parcel_id"])
    factor = (done["area_m2"] / parcels["catchment_area_m2"]).fillna(1.0).to_numpy()
    times = np.where(at < 0, 1.0, factor[at])
    bare = (at >= 0) & done["no_gutters"].to_numpy()[at]
    values = {name: roofs[name] * times for name in VOLUMES}
    values["capturable_l_yr"] = values["capturable_l_yr"].mask(bare & roofs["runoff_l_yr"].notna(), 0.0)
    return roofs.assign(
        **values,
        has_gutter=roofs["has_gutter"] & ~bare,
        area_factor=times,
        no_downspouts=(at >= 0) & done["no_downspouts"].to_numpy()[at],
    )


def _told(
    rows: pd.DataFrame, done: pd.DataFrame, rest: pd.DataFrame, before: pd.DataFrame, after: pd.DataFrame
) -> dict[str, Any]:
    """What joins ``run.json``: how many were applied, and the town's sums before and after."""
    kinds = rows["what"][~rows["line"].isin(rest["line"])].value_counts().sort_index()
    sums = {
        name: {"before": float(before[name].sum()), "after": float(after[name].sum())}
        for name in VOLUMES
        if name != "storm_l"
    }
    return {
        "rows": len(rows),
        "applied": {str(what): int(count) for what, count in kinds.items()},
        "parcels": int(done["corrected"].notna().sum()),
        **sums,
    }


def _check_areas(parcels: pd.DataFrame, done: pd.DataFrame, told: Mapping[str, Any]) -> list[Finding]:
    moved = done["area_m2"].notna()
    if not moved.any():
        return []
    area = told["catchment_area_m2"]
    return [
        Finding.of(
            "roof areas corrected",
            LAYER,
            "note",
            parcels["parcel_id"][moved],
            f"Parcels whose roof area was corrected: {int(moved.sum())}. All roofs together measure "
            f"{area['before']:,.0f} m² on the map and {area['after']:,.0f} m² as corrected; volumes follow.",
            "Nothing to do; better footprints make these corrections needless.",
        )
    ]
