"""The outreach office's own files, read: the log of visits, corrections, whom not to visit, where the programme is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from harvest.clock import Clock
from harvest.fields import UNMATCHED
from harvest.findings import Account, Finding
from harvest.layers import Layer, Source
from harvest.place.addresses import address_keys
from harvest.plan.visit_match import matched
from harvest.project import Project, Settings
from harvest.project.inputs import VectorFile
from harvest.project.outputs import Limits
from harvest.project.outreach import Eligibility, OfficeFile
from harvest.read.corrections import OfficeList, read_corrections, read_parcel_list
from harvest.read.layer import read_rows
from harvest.read.visits import VisitLog, read_visits

NO_CONTACT = "no_contact"
EARLIER_REBATE = "eligibility earlier_rebate_file"
SERVICE_AREA = "eligibility service_area"


@dataclass(frozen=True)
class Office:
    """What the office's files said. ``as_of`` is the day on which they count as closed: nothing is later than it."""

    as_of: date
    visits: VisitLog | None = None
    corrections: OfficeList | None = None
    no_contact: OfficeList | None = None
    earlier_rebates: OfficeList | None = None
    service_area: Layer | None = None

    def _read(self) -> Iterator[VisitLog | OfficeList | Layer]:
        every = (self.visits, self.corrections, self.no_contact, self.earlier_rebates, self.service_area)
        return (one for one in every if one is not None)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the readers noticed."""
        return tuple(told for one in self._read() for told in one.findings)

    @property
    def sources(self) -> tuple[Source, ...]:
        """The files as they were read."""
        return tuple(source for one in self._read() for source in one.sources)

    @property
    def accounts(self) -> tuple[Account, ...]:
        """Where the rows of each file went."""
        return tuple(one.account for one in self._read())


def read_office(project: Project, clock: Clock) -> Office | None:
    """Whatever of the office's files ``project`` names; None where it names none and sets no rule.

    Raises an :class:`harvest.errors.InputError` for a file that can't be used.
    """
    settings, folder = project.settings, project.folder
    rules, limits = settings.eligibility, settings.limits
    files = (settings.visits, settings.corrections, settings.no_contact)
    if all(one is None for one in files) and rules == Eligibility():
        return None
    as_of = day_of_office(settings, clock)
    with clock.step("reading the office's files"):
        log = corrections = nobody = rebates = None
        if settings.visits is not None:
            log = read_visits(settings.visits, folder, limits, as_of)
        if settings.corrections is not None:
            corrections = read_corrections(settings.corrections, folder, limits, as_of)
        if settings.no_contact is not None:
            nobody = read_parcel_list(NO_CONTACT, settings.no_contact, folder, limits)
        if rules.earlier_rebate_file is not None:
            said = OfficeFile(file=rules.earlier_rebate_file)
            rebates = read_parcel_list(EARLIER_REBATE, said, folder, limits)
        area = _service_area(rules, folder, limits)
    return Office(as_of, log, corrections, nobody, rebates, area)


def day_of_office(settings: Settings, clock: Clock) -> date:
    """The day on which the office's files count as closed: as set, else the day of the run."""
    said = settings.visits.as_of if settings.visits is not None else None
    return date.fromisoformat(said) if said else clock.today


def _service_area(rules: Eligibility, folder: Path, limits: Limits) -> Layer | None:
    if rules.service_area is None:
        return None
    said = VectorFile(file=rules.service_area, layer=rules.service_area_layer, crs=rules.service_area_crs)
    return read_rows(SERVICE_AREA, said, folder, limits, {}).layer("area_id", {}, [])


def parcels_meant(
    rows: pd.DataFrame,
    parcels: pd.DataFrame,
    settings: Settings,
    successors: Mapping[str, tuple[str, ...]],
) -> pd.DataFrame:
    """``rows`` of one of the office's files with the parcel of each, as :func:`harvest.plan.visit_match.matched` tells.

    An address that all units of a site share means the site, where their litres stand.
    """
    keys = address_keys(parcels["address"])
    of_site = parcels["site_id"].map(pd.Series(keys.to_numpy(), index=parcels["parcel_id"].to_numpy()))
    found = matched(
        rows,
        parcels,
        address_keys(rows["address"]),
        keys.mask(keys == of_site.astype("str"), ""),
        successors=successors,
        restore_zeros=settings.visits is not None and settings.visits.restore_zeros,
    )
    return rows.join(found)


def with_set_aside(more: Mapping[str, pd.DataFrame], *frames: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """``more`` with ``frames`` added to its table of rows set aside, in the order of files and lines."""
    name = UNMATCHED.name
    every = [one for one in (more.get(name), *frames) if one is not None and len(one)]
    if not every:
        return dict(more)
    table = pd.concat(every, ignore_index=True).sort_values(["file", "line"], ignore_index=True)
    return {**more, name: table}


def read_aside(section: str, read: VisitLog | OfficeList) -> pd.DataFrame:
    """The rows that the reader of ``section`` set aside, as rows of that table."""
    texts = dict.fromkeys((one.name for one in UNMATCHED.fields if one.dtype == "string"), "str")
    return read.unmatched.assign(file=section)[list(UNMATCHED.names)].astype(texts)


def of_rest(account: Account, kept: int, rest: pd.DataFrame) -> Account:
    """``account`` of a reader, followed by what of its rows was ``kept``; ``rest`` have a ``reason`` each."""
    dropped = rest["reason"].value_counts().sort_index()
    later = Account(
        account.table, account.rows_out, kept, dropped={str(k): int(n) for k, n in dropped.items()}
    )
    return account.then(later)
