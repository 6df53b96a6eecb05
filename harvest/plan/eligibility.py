"""To whom the programme may offer barrels, and the printed reason for everybody else.

A parcel has one reason, the first that applies in this order: asked not to be visited; an exclusion of the project
file; a correction from the street; found ineligible at the door; land use; service area; owner or consent;
association; earlier rebate; the limit of barrels. What is not known excludes nobody, and is told.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from harvest.fields.outreach import INELIGIBLE
from harvest.findings import Account, Finding
from harvest.project.outreach import Eligibility, NoContact

LAYER = "parcels"
AT_THE_DOOR = "Found ineligible at the door, by the log of visits"
NO_LIMIT = 1_000_000
ROUNDING = 0.005
"""A law says gallons and a setting litres: a barrel may exceed the room that is left by this part of itself."""


def eligibility(
    parcels: pd.DataFrame,
    settings: Eligibility,
    no_contact: NoContact | None,
    asked: pd.Series,
    barrel_l: float,
) -> tuple[pd.DataFrame, Account, list[Finding]]:
    """``eligible`` (boolean) and ``exclusion_reason`` (text, NA where eligible) of ``parcels`` [n]; an account of those
    who stay, by reason; and what was noticed.

    ``parcels`` have ``parcel_id``, ``land_use``, ``exclusion_reason`` (of the project file's rules), ``is_site``,
    ``correction_reason``, ``installed_barrels`` and ``installed_l``, where there is a log ``visit_status``, and, where
    ``settings`` ask for them,
    ``owner`` (text), ``consent``, ``earlier_rebate`` and ``in_service_area`` (boolean, NA where unknown). ``asked`` are
    the ids of those who asked not to be visited; ``barrel_l`` [L] is the size of one barrel.
    """
    unknown: dict[str, pd.Series] = {}
    rules: list[tuple[str, pd.Series, str | None]] = [
        (
            "no contact",
            parcels["parcel_id"].isin(asked),
            no_contact.reason if no_contact is not None else NoContact(file="").reason,
        ),
        ("exclude", parcels["exclusion_reason"].notna(), None),
        ("corrections", parcels["correction_reason"].notna(), None),
    ]
    if "visit_status" in parcels:
        rules.append(("visits", parcels["visit_status"].eq(INELIGIBLE), AT_THE_DOOR))
    if settings.land_uses:
        use = parcels["land_use"]
        unknown["land_uses"] = use.isna()
        rules.append(("land_uses", use.notna() & ~use.isin(settings.land_uses), settings.land_use_reason))
    if settings.service_area is not None:
        inside = parcels["in_service_area"].astype("boolean")
        unknown["service_area"] = inside.isna()
        rules.append(("service_area", (~inside).fillna(False), settings.service_area_reason))
    if settings.owner is not None:
        owner = parcels["owner"]
        unknown["owner"] = owner.isna()
        let = owner.notna() & ~owner.isin(settings.owner_values)
        if settings.consent is not None:
            let &= ~_true(parcels, "consent")
        rules.append(("owner", let, settings.owner_reason))
    if settings.associations == "exclude":
        shared = parcels["is_site"] | parcels["land_use"].isin(settings.association_land_uses)
        rules.append(("associations", shared, settings.association_reason))
    if settings.earlier_rebate is not None or settings.earlier_rebate_file is not None:
        rules.append(("earlier_rebate", _true(parcels, "earlier_rebate"), settings.earlier_rebate_reason))
    if settings.most_barrels is not None or settings.most_volume_l is not None:
        full = _left(parcels, settings, barrel_l).eq(0).fillna(False).astype(bool)
        rules.append(("limit", full, settings.limit_reason))
    reason, first = _first_reason(parcels, rules)
    counts = reason.value_counts().sort_index()
    account = Account(
        "eligible parcels",
        len(parcels),
        int(reason.isna().sum()),
        dropped={str(why): int(count) for why, count in counts.items()},
    )
    found = [*_idle(rules), *_unknown(parcels, unknown)]
    return (
        pd.DataFrame({"eligible": reason.isna(), "exclusion_reason": reason, "rule": first}),
        account,
        found,
    )


def _true(parcels: pd.DataFrame, name: str) -> pd.Series:
    return parcels[name].astype("boolean").fillna(False).astype(bool)


def _first_reason(
    parcels: pd.DataFrame, rules: list[tuple[str, pd.Series, str | None]]
) -> tuple[pd.Series, pd.Series]:
    """The reason [n] of the first rule that applies, and the rule's name; NA where none does."""
    reason = pd.Series(pd.NA, index=parcels.index, dtype="str")
    first = reason.copy()
    own = {"exclude": parcels["exclusion_reason"], "corrections": parcels["correction_reason"]}
    for name, where, text in rules:
        mine = reason.isna() & where.astype(bool)
        reason = reason.mask(mine, own[name] if text is None else text)
        first = first.mask(mine, name)
    return reason, first


def _idle(rules: list[tuple[str, pd.Series, str | None]]) -> list[Finding]:
    """Findings on rules of ``[eligibility]`` that meet no parcel, or every one."""
    found = []
    for name, where, text in rules:
        if text is None or name in ("no contact", "visits"):
            continue
        met = int(where.sum())
        if (met == 0 and name != "limit") or (met and met == len(where)):
            found.append(
                Finding(
                    "eligibility rule meets " + ("every parcel" if met else "nothing"),
                    LAYER,
                    "serious" if met else "warning",
                    met,
                    f"The rule {name} of [eligibility] ({text!r}) meets {'every parcel' if met else 'no parcel'}.",
                    "Compare its column and values with the parcel file, letter by letter.",
                )
            )
    return found


def _unknown(parcels: pd.DataFrame, unknown: dict[str, pd.Series]) -> list[Finding]:
    return [
        Finding.of(
            "eligibility unknown",
            LAYER,
            "warning",
            parcels["parcel_id"][where],
            f"Parcels of which the parcel file does not say what the rule {name} of [eligibility] asks; they stay "
            f"on the lists: {int(where.sum()):,}.",
            "Fill in the column, or ask at the door.",
        )
        for name, where in unknown.items()
        if where.any()
    ]


def allowed_barrels(parcels: pd.DataFrame, settings: Eligibility, barrel_l: float) -> pd.Series:
    """Of ``suggested_barrels`` [n; Int64], how many the limits still leave after those installed; NA where unknown.

    Reads ``installed_barrels`` and ``installed_l`` too; ``barrel_l`` [L] is the size of one barrel.
    """
    both = [parcels["suggested_barrels"].astype("Int64"), _left(parcels, settings, barrel_l)]
    return pd.concat(both, axis=1).min(axis=1, skipna=False).astype("Int64")


def _left(parcels: pd.DataFrame, settings: Eligibility, barrel_l: float) -> pd.Series:
    """Barrels [n; Int64] that the limits leave after those installed, NA where unknown; very many without a limit."""
    left = pd.Series(NO_LIMIT, index=parcels.index, dtype="Int64")
    if settings.most_barrels is not None:
        left = (settings.most_barrels - parcels["installed_barrels"].astype("Int64")).clip(lower=0)
    if settings.most_volume_l is not None:
        room = (settings.most_volume_l - parcels["installed_l"].astype("float64")) / barrel_l
        fit = np.floor(room + ROUNDING).clip(lower=0).astype("Int64")
        left = pd.concat([left, fit], axis=1).min(axis=1, skipna=False).astype("Int64")
    return left
