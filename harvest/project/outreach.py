"""What the outreach office keeps and decides: visits, corrections, whom not to visit, who may join, what is learned."""

from __future__ import annotations

import re
from datetime import date
from typing import Literal

from pydantic import field_validator, model_validator

from harvest.fields.outreach import OUTCOMES
from harvest.project.gauge import DateOrder
from harvest.project.setting import FROM_MEMORY, OWN_CHOICE, Section, required, setting

VolumeUnit = Literal["gal", "L"]


class OfficeFile(Section):
    """A table that people keep in a spreadsheet and save as CSV; each row names a parcel or an address."""

    file: str = required("The file, a CSV, relative to the folder of this project file.")
    parcel: str | None = setting(
        None, "Column of parcel ids, or of addresses where no id was at hand; found by name when empty."
    )
    address: str | list[str] | None = setting(
        None, "Address column, or columns joined by a space; found by name when empty."
    )


class Visits(OfficeFile):
    """The log of visits: what happened at which door, when."""

    date: str | None = setting(None, "Column of dates; found by name when empty.")
    outcome: str | None = setting(None, "Column of outcomes; found by name when empty.")
    barrels: str | None = setting(None, "Column of barrels installed; found by name when empty.")
    volume: str | None = setting(
        None, "Column of the volume installed at the visit, all barrels together; found by name when empty."
    )
    volume_unit: VolumeUnit | None = setting(
        None, "Unit of that volume; needed only where the column's name does not say it."
    )
    note: str | None = setting(
        None, "Column of notes, which never leave the office; found by name when empty."
    )
    date_order: DateOrder | None = setting(
        None, "How dates such as 5/6/2025 are meant; needed only where no date of the log decides it."
    )
    programme_start: str | None = setting(
        None, "First day of the programme, such as 2025-05-05; a visit before it is set aside as a mistake."
    )
    as_of: str | None = setting(
        None,
        "The day on which the log was closed; a visit after it is set aside as a mistake. The day of the run "
        "when empty.",
    )
    words: dict[str, list[str]] = setting(
        {}, 'More words for an outcome, such as { "not home" = ["nobody"] }; the usual ones are known.'
    )
    restore_zeros: bool = setting(
        False,
        "Take an id that lost its leading zeros in a spreadsheet for the one parcel whose id is the same number, in "
        "the log and in the office's other files. Otherwise such a row is matched by its address, or set aside.",
    )
    most_barrels: int = setting(
        6,
        "A row with more barrels than this is taken for a slip of the pen: the visit counts, the number does not.",
        unit="barrels",
        source=FROM_MEMORY,
        ge=1,
        le=100,
    )

    @field_validator("programme_start", "as_of", mode="before")
    @classmethod
    def _day(cls, day: object) -> object:
        return day_text(day)

    @field_validator("words")
    @classmethod
    def _known_outcomes(cls, words: dict[str, list[str]]) -> dict[str, list[str]]:
        strange = [outcome for outcome in words if outcome not in OUTCOMES]
        if strange:
            raise ValueError(f"{strange[0]!r} is no outcome; there are {', '.join(OUTCOMES)}")
        every = [folded(word) for meant in words.values() for word in meant]
        twice = sorted({word for word in every if every.count(word) > 1})
        if twice:
            raise ValueError(f"the word {twice[0]!r} stands for two outcomes")
        return words

    @model_validator(mode="after")
    def _start_before_end(self) -> Visits:
        if self.programme_start and self.as_of and self.as_of < self.programme_start:
            raise ValueError("as_of lies before programme_start")
        return self


class Corrections(OfficeFile):
    """Corrections that people brought back from the street; they are applied anew in every run."""

    what: str | None = setting(None, "Column that says what is corrected; found by name when empty.")
    value: str | None = setting(
        None, "Column of the new area, or of the parcels split or merged into; found by name when empty."
    )
    date: str | None = setting(None, "Column of dates; found by name when empty.")
    date_order: DateOrder | None = setting(
        None, "How dates such as 5/6/2025 are meant; needed only where no date of the file decides it."
    )


class NoContact(OfficeFile):
    """Parcels whose people asked not to be visited."""

    reason: str = setting("Asked not to be visited", "What is printed as the reason.")


class Eligibility(Section):
    """To whom the programme may offer barrels. What is not said here excludes nobody."""

    land_uses: list[str] = setting(
        [], "Land uses that are dwellings the programme is for; every one when empty."
    )
    land_use_reason: str = setting("Not a kind of dwelling the programme is for", "Printed reason.")
    owner: str | None = setting(None, "Column of the parcel file that says who lives there ...")
    owner_values: list[str] = setting([], "... and its values for homes whose owner lives in them ...")
    consent: str | None = setting(
        None, "... and a column (true/false, yes/no) for an owner's consent, which makes a let home eligible."
    )
    owner_reason: str = setting("Let: the owner's consent is needed first", "Printed reason.")
    service_area: str | None = setting(
        None, "A layer of polygons inside which the programme works; a parcel's middle decides."
    )
    service_area_layer: str | None = setting(
        None, "The layer inside that file; needed only where it holds several."
    )
    service_area_crs: str | None = setting(
        None, "Coordinate reference system of that file; needed only where the file does not say."
    )
    service_area_reason: str = setting("Outside the service area", "Printed reason.")
    earlier_rebate: str | None = setting(
        None, "Column of the parcel file (true/false, yes/no) for a rebate in an earlier programme."
    )
    earlier_rebate_file: str | None = setting(
        None, "A CSV of parcels or addresses that had a rebate in an earlier programme."
    )
    earlier_rebate_reason: str = setting("Had a rebate in an earlier programme", "Printed reason.")
    associations: Literal["keep", "exclude"] = setting(
        "keep", "Whether homes whose association must agree first stay on the lists."
    )
    association_land_uses: list[str] = setting(
        [], "Land uses that belong to an association, beside stacked parcels."
    )
    association_reason: str = setting("The association must agree first", "Printed reason.")
    most_barrels: int | None = setting(
        None,
        "Most barrels that state or local law allows a home; no limit when empty.",
        unit="barrels",
        source="given by the user, from the law",
        ge=0,
        le=100,
    )
    most_volume_l: float | None = setting(
        None,
        "Most volume that state or local law allows a home; no limit when empty. Where the law says 110 gal, "
        "that is 416.4 L.",
        source="given by the user, from the law",
        ge=0,
        le=1e6,
    )
    limit_reason: str = setting("Already has all the barrels that the law allows", "Printed reason.")

    @model_validator(mode="after")
    def _fits_together(self) -> Eligibility:
        if bool(self.owner) != bool(self.owner_values):
            raise ValueError("a rule about owners needs both owner and owner_values")
        if self.consent and not self.owner:
            raise ValueError("consent makes no difference without owner and owner_values")
        if self.association_land_uses and self.associations == "keep":
            raise ValueError('association_land_uses makes no difference while associations = "keep"')
        return self

    @property
    def parcel_columns(self) -> dict[str, str]:
        """The columns of the parcel file that the rules name, by what they say."""
        named = {"owner": self.owner, "consent": self.consent, "earlier_rebate": self.earlier_rebate}
        return {what: column for what, column in named.items() if column is not None}


class Learning(Section):
    """How fast the log changes the chances. A strength is how many doors of the log weigh as much as the guess."""

    town_doors: float = setting(
        30.0,
        "Doors in the log that weigh as much, for the town, as the chances that the project file starts from.",
        unit="doors",
        source=FROM_MEMORY,
        ge=1,
        le=10_000,
    )
    usual_doors: float = setting(
        40.0,
        "Doors on a street that usually weigh as much as its neighbourhood (and there, as the town); the log itself "
        "moves this within the bounds below.",
        unit="doors",
        source=FROM_MEMORY,
        ge=1,
        le=10_000,
    )
    least_doors: float = setting(
        8.0, "Never fewer than this, however much streets seem to differ.", unit="doors", ge=1, le=10_000
    )
    most_doors: float = setting(
        400.0, "Never more than this, however alike streets seem.", unit="doors", ge=1, le=1e6
    )
    most_pull: float = setting(
        1.5,
        "A street's chance is at most this many times the town's, and at least the town's over this: those who were "
        "visited first are no fair sample, and lists would chase well-off streets.",
        unit="1",
        source=OWN_CHOICE,
        ge=1,
        le=5,
    )

    @model_validator(mode="after")
    def _bounds_in_order(self) -> Learning:
        if not self.least_doors <= self.usual_doors <= self.most_doors:
            raise ValueError("usual_doors lies between least_doors and most_doors")
        return self


def folded(word: str) -> str:
    """A word without case, signs and needless space, for comparing: "Not-Home " is "not home"."""
    return re.sub(r"[\W_]+", " ", word.casefold()).strip()


def day_text(day: object) -> object:
    """A day given as a date or as text, as text with the year first; ``ValueError`` when it is none."""
    if isinstance(day, date):
        return day.isoformat()[:10]
    if isinstance(day, str):
        try:
            return date.fromisoformat(day).isoformat()
        except ValueError:
            raise ValueError(f"{day!r} is not a day such as 2025-05-05") from None
    return day
