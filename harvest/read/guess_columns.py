"""Guesses at what a layer's columns mean: a list of usual names, held against the values."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from harvest.read.columns import marks, texts, whole_numbers
from harvest.read.guess import plain

UNIQUE_AT_LEAST = 0.9
FILLED_AT_LEAST = 0.5
KINDS_AT_MOST = 60
YEARS = (1600, 2100)
MOST_DOORS = 2000

PARCEL_IDS = (
    r"^(parcel|parc|par|map)?(id|no|num|number|code|key)$",
    r"^(parcelid|parcelno|parcelnum|parcelnumber|parcel|parid|parno|pid|pin|apn|locid|maplot|mapblocklot)$",
    r"parcel.*(id|no|num)",
    r"^(taxid|taxno|account|accountno|accountnumber|acctno|folio|lotid|plotid|plotno|propid|propertyid)$",
    r"^(uid|guid|objectid|fid|gid|ogcfid)$",
)
ROOF_IDS = (
    r"^(bldg|building|bld|footprint|roof|structure|struct)(id|no|num|number|code|key)$",
    r"(bldg|building|footprint|roof|struct).*(id|no|num)$",
    r"^id$",
    r"^(uid|guid|objectid|fid|gid|ogcfid)$",
)
ADDRESSES = (
    r"^(full|site|situs|prop|property|street|loc|location|std|postal)?(address|addr|addrs|adr)$",
    r"^(addressfull|addrfull|fulladdr|siteaddr1?|situs|address1|addressline1|siteadd|propaddr|propadd)$",
)
HOUSE_NUMBERS = (r"^(addr|house|street|str|st|site|loc|adr)?(number|num|no|nbr|housenumber|streetnumber)$",)
STREETS = (r"^(addr|site|loc|full)?(street|streetname|stname|strname|road|roadname)$",)
LAND_USES = (
    r"^(landuse|landusecode|landusedesc|lu|luc|lucode|lucdesc|usecode|usedesc|use|propertyuse|propuse)$",
    r"^(propclass|propertyclass|propertytype|class|classcode|stateclass|taxclass)$",
)
DOORS = (
    r"^(units|unit|numunits|nounits|unitcount|unitscount|resunits|totalunits|unitno|nofunits)$",
    r"^(dwellings?|dwellingunits|du|dus|households?|homes|doors|doorcount|apartments|flats|livingunits)$",
)
BUILT_YEARS = (
    r"^(year|yr)?(built|build|blt|constructed)(year|yr)?$",
    r"^(ayb|actyrblt|effyrblt|constructionyear)$",
)
KINDS = (
    r"^(kind|bldgkind|buildingkind|bldgtype|buildingtype|structtype|structuretype|roofkind)$",
    r"^(building|type|use|usage|class|category|occupancy|featuretype|ftype)$",
)
GUTTERS = (r"^(has)?gutters?$",)

Check = Callable[[pd.Series], str | None]


@dataclass(frozen=True)
class Guess:
    """A column, or several to be joined, and why."""

    value: str | list[str]
    why: str


def is_unique(column: pd.Series) -> str | None:
    """How far the values of ``column`` differ, None where they don't."""
    named = texts(column)
    if len(named) == 0 or named.notna().mean() < UNIQUE_AT_LEAST:
        return None
    share = named.nunique() / max(1, int(named.notna().sum()))
    if share < UNIQUE_AT_LEAST:
        return None
    return "every value is different" if share == 1 else f"{1 - share:.1%} of values repeat"


def is_filled(column: pd.Series) -> str | None:
    """How much of ``column`` is filled, None where it is less than half."""
    share = texts(column).notna().mean() if len(column) else 0
    return f"filled in {share:.0%} of rows" if share >= FILLED_AT_LEAST else None


def some_filled(column: pd.Series) -> str | None:
    """How much of ``column`` is filled, None where it is empty."""
    share = texts(column).notna().mean() if len(column) else 0
    return f"filled in {share:.0%} of rows" if share > 0 else None


def _few_kinds(column: pd.Series) -> str | None:
    named = texts(column)
    kinds = named.nunique()
    if not 2 <= kinds <= KINDS_AT_MOST or named.notna().mean() < FILLED_AT_LEAST:
        return None
    usual = ", ".join(named.value_counts().index[:3])
    return f"{kinds} different values, most often {usual}"


def _counts(column: pd.Series) -> str | None:
    numbers, unfit = whole_numbers(column)
    known = numbers.dropna()
    if unfit.any() or len(known) < FILLED_AT_LEAST * len(column):
        return None
    if known.min() < 0 or known.max() > MOST_DOORS or known.median() > 50:
        return None
    return f"whole numbers from {known.min()} to {known.max()}"


def _years(column: pd.Series) -> str | None:
    numbers, _ = whole_numbers(column)
    known = numbers[numbers.between(*YEARS).fillna(False)]
    if len(known) < 0.3 * len(column):
        return None
    return f"years from {known.min()} to {known.max()}"


def _yes_or_no(column: pd.Series) -> str | None:
    marked, unknown = marks(column)
    return "marks of yes and no" if marked.notna().any() and not unknown.any() else None


def by_name(sample: pd.DataFrame, patterns: tuple[str, ...], check: Check) -> Guess | None:
    """The first column whose name fits a pattern, earlier patterns first, and whose values pass ``check``."""
    for pattern in patterns:
        for name in sample.columns:
            if re.search(pattern, plain(str(name))):
                told = check(sample[name])
                if told:
                    return Guess(str(name), f"by its name; {told}")
    return None


def address(sample: pd.DataFrame) -> Guess | None:
    """The address column, or house number and street."""
    whole = by_name(sample, ADDRESSES, is_filled)
    if whole:
        return whole
    street = by_name(sample, STREETS, some_filled)
    number = by_name(sample, HOUSE_NUMBERS, some_filled)
    if street and number and street.value != number.value:
        return Guess(
            [str(number.value), str(street.value)],
            f"house number and street, by their names; {street.why[13:]}",
        )
    return street


def of_footprints(sample: pd.DataFrame, openstreetmap: bool) -> dict[str, Guess]:
    """Guesses for the keys of ``[footprints]``."""
    found = {
        "id": None if openstreetmap else by_name(sample, ROOF_IDS, is_unique),
        "kind": by_name(sample, KINDS, _few_kinds),
        "gutter": by_name(sample, GUTTERS, _yes_or_no),
    }
    return {key: guess for key, guess in found.items() if guess}


def of_parcels(sample: pd.DataFrame) -> dict[str, Guess]:
    """Guesses for the keys of ``[parcels]``."""
    found = {
        "id": by_name(sample, PARCEL_IDS, is_unique),
        "address": address(sample),
        "land_use": by_name(sample, LAND_USES, _few_kinds),
        "doors": by_name(sample, DOORS, _counts),
        "built_year": by_name(sample, BUILT_YEARS, _years),
    }
    return {key: guess for key, guess in found.items() if guess}
