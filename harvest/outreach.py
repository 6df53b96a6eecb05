"""What the office's files do to the parcels: who was visited, who may be offered barrels, and why others may not."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from harvest.corrected import heirs_of
from harvest.estimate import Estimate, Inputs
from harvest.fields import VISITS
from harvest.findings import Account, Finding
from harvest.layers import Layer, between
from harvest.office import (
    EARLIER_REBATE,
    NO_CONTACT,
    Office,
    of_rest,
    parcels_meant,
    read_aside,
    with_set_aside,
)
from harvest.place.plane import transformed
from harvest.plan.eligibility import allowed_barrels, eligibility
from harvest.plan.rank import excluded
from harvest.plan.visit_match import check_unmatched, once, set_aside
from harvest.plan.visit_status import check_stories, visit_status
from harvest.project import Settings
from harvest.read.corrections import OfficeList

LOG = VISITS.name


@dataclass(frozen=True)
class _Matched:
    """Rows of one file with their ``parcel_id``, those set aside as rows of that table, the account, findings."""

    rows: pd.DataFrame
    aside: tuple[pd.DataFrame, ...]
    account: Account
    findings: tuple[Finding, ...]


def visited(found: Estimate, inputs: Inputs, settings: Settings) -> Estimate:
    """``found`` with what the log says of each parcel, who may not be offered barrels and why, and the log's own table.

    Parcels that are not eligible get the status excluded with the printed reason, so that no list holds them.
    """
    office = inputs.office
    if office is None:
        return found
    parcels, barrel_l = found.parcels, settings.barrel.volume_l
    told: dict[str, Any] = {**found.told, "as_of": office.as_of.isoformat()}
    more = dict(found.more)
    parts: list[_Matched] = []
    if office.visits is not None:
        log = _log(office, parcels, settings)
        parts.append(log)
        parcels = parcels.assign(**visit_status(log.rows, parcels["parcel_id"], barrel_l))
        told["visits"] = _visits_told(log, parcels)
        if len(log.rows):
            more[LOG] = _visit_table(log.rows)
    nobody = _listed(NO_CONTACT, office.no_contact, office, parcels, settings)
    rebates = _listed(EARLIER_REBATE, office.earlier_rebates, office, parcels, settings)
    parts += [one for one in (nobody, rebates) if one is not None]
    asked = _with_whole_sites(_ids(nobody), parcels)
    judged = _judged(parcels, office, _ids(rebates))
    known, account, of_rules = eligibility(judged, settings.eligibility, settings.no_contact, asked, barrel_l)
    parcels = parcels.assign(
        eligible=known["eligible"].astype("boolean"),
        allowed_barrels=allowed_barrels(judged, settings.eligibility, barrel_l),
        door_caution=_cautions(judged, asked),
        **excluded(parcels, known["exclusion_reason"]),
    )
    return replace(
        found,
        parcels=parcels,
        findings=(*found.findings, *(one for part in parts for one in part.findings), *of_rules),
        accounts=(*found.accounts, *(part.account for part in parts), account),
        more=with_set_aside(more, *(frame for part in parts for frame in part.aside)),
        told=told,
    )


def _log(office: Office, parcels: pd.DataFrame, settings: Settings) -> _Matched:
    """The visits that stand, each on its parcel; a visit entered twice stands once."""
    log = office.visits
    assert log is not None
    meant = parcels_meant(log.rows, parcels, settings, heirs_of(office, parcels))
    lost = meant[meant["reason"] != ""]
    stand, twice, found = once(meant[meant["reason"] == ""])
    again = twice.assign(reason="the same visit is entered twice")
    return _Matched(
        stand,
        (read_aside(LOG, log), set_aside(LOG, lost), set_aside(LOG, twice)),
        of_rest(log.account, len(stand), pd.concat([lost, again])),
        (*check_unmatched(LOG, lost), *found, *check_stories(stand), *_nothing_stands(stand)),
    )


def _nothing_stands(visits: pd.DataFrame) -> list[Finding]:
    if len(visits):
        return []
    return [
        Finding(
            "no visit matched",
            LOG,
            "serious",
            1,
            "No row of the log could be matched to a parcel, so everybody counts as not yet visited.",
            "Compare the log's ids and addresses with the parcel file; the table of rows set aside has each reason.",
        )
    ]


def _listed(
    section: str, read: OfficeList | None, office: Office, parcels: pd.DataFrame, settings: Settings
) -> _Matched | None:
    """A list of parcels. One who asked not to be visited and is not found may be visited all the same: serious."""
    if read is None:
        return None
    meant = parcels_meant(read.rows, parcels, settings, heirs_of(office, parcels))
    lost = meant[meant["reason"] != ""]
    return _Matched(
        meant[meant["reason"] == ""],
        (read_aside(section, read), set_aside(section, lost)),
        of_rest(read.account, len(meant) - len(lost), lost),
        tuple(check_unmatched(section, lost, "serious" if section == NO_CONTACT else "warning")),
    )


def _ids(part: _Matched | None) -> pd.Series:
    return pd.Series([], dtype="str") if part is None else part.rows["parcel_id"]


def _with_whole_sites(asked: pd.Series, parcels: pd.DataFrame) -> pd.Series:
    """``asked`` and the sites of which every unit asked."""
    units = parcels[parcels["is_unit"]]
    every = units["parcel_id"].isin(asked).groupby(units["site_id"]).all()
    return pd.concat([asked, pd.Series(every.index[every.to_numpy(dtype=bool)], dtype="str")])


def _judged(parcels: pd.DataFrame, office: Office, rebates: pd.Series) -> pd.DataFrame:
    """``parcels`` with everything that rules of eligibility look at."""
    nothing = pd.Series(pd.NA, index=parcels.index, dtype="str")
    none = pd.Series(0, index=parcels.index, dtype="Int64")
    lacking: dict[str, pd.Series] = {
        "correction_reason": nothing,
        "door_caution": nothing,
        "installed_barrels": none,
        "installed_l": none.astype("float64"),
        "earlier_rebate": pd.Series(pd.NA, index=parcels.index, dtype="boolean"),
    }
    judged = parcels.assign(**{name: one for name, one in lacking.items() if name not in parcels})
    had = judged["parcel_id"].isin(rebates)
    judged = judged.assign(earlier_rebate=judged["earlier_rebate"].astype("boolean").mask(had, True))
    if office.service_area is not None:
        judged = judged.assign(in_service_area=_inside(parcels, office.service_area))
    return judged


def _inside(parcels: Any, area: Layer) -> pd.Series:
    """Whether the middle of each of ``parcels`` [n] lies in one of the polygons of ``area``."""
    way = between(CRS(parcels.crs), CRS(area.frame.crs))
    middle = transformed(shapely.centroid(parcels.geometry.to_numpy()), way)
    inside = np.zeros(len(parcels), dtype=bool)
    inside[shapely.STRtree(middle).query(area.frame.geometry.to_numpy(), predicate="intersects")[1]] = True
    return pd.Series(inside, index=parcels.index).astype("boolean").mask(shapely.is_missing(middle))


def _cautions(parcels: pd.DataFrame, asked: pd.Series) -> pd.Series:
    """Cautions at the door; on the row of a site, also at which of its units nobody may knock."""
    units = parcels[parcels["is_unit"] & parcels["parcel_id"].isin(asked)]
    if units.empty:
        return parcels["door_caution"]
    named = units["address"].fillna(units["parcel_id"])
    spared = named.groupby(units["site_id"]).agg(", ".join)
    words = ("Do not knock at " + parcels["parcel_id"].map(spared).astype("str")).astype("str")
    both = parcels["door_caution"] + ". " + words
    return both.fillna(parcels["door_caution"]).fillna(words).astype("str")


def _visit_table(visits: pd.DataFrame) -> pd.DataFrame:
    """The visits that stand as their table has them: no addresses, no notes."""
    table = visits.assign(day=visits["day"].dt.strftime("%Y-%m-%d").astype("str"))
    return table[list(VISITS.names)].astype({"line": "int64"}).sort_values("line", ignore_index=True)


def _visits_told(log: _Matched, parcels: pd.DataFrame) -> dict[str, Any]:
    counts = parcels["visit_status"].value_counts().sort_index()
    return {
        "stand": len(log.rows),
        "parcels": int(log.rows["parcel_id"].nunique()),
        "matched_by": _counts(log.rows["matched_by"]),
        "statuses": {str(name): int(count) for name, count in counts.items()},
    }


def _counts(column: pd.Series) -> dict[str, int]:
    return {str(name): int(count) for name, count in column.value_counts().sort_index().items()}


def visits_of(found: Estimate) -> pd.DataFrame | None:
    """The visits that stand, with their ``day`` as a date; None where there are none."""
    if LOG not in found.more:
        return None
    table = found.more[LOG]
    return table.assign(day=pd.to_datetime(table["day"]).astype("datetime64[s]"))
