"""Units of rain depth: what files call them, and what they are in millimetres."""

from __future__ import annotations

import re
from typing import Literal, get_args

from harvest.findings import Finding
from harvest.project.inputs import RainUnit
from harvest.read.files import InputFile
from harvest.units import MM_PER_INCH

MM_PER_UNIT: dict[RainUnit, float] = {
    "mm": 1.0,
    "inch": MM_PER_INCH,
    "0.1 mm": 0.1,
    "cm": 10.0,
    "0.01 inch": MM_PER_INCH / 100,
    "m": 1000.0,
}
Period = Literal["month", "year"]

_DEPTHS: dict[str, RainUnit] = {
    **dict.fromkeys(("mm", "millimeter", "millimeters", "millimetre", "millimetres"), "mm"),
    **dict.fromkeys(("kg m-2", "kg m^-2", "kg m**-2", "kg/m2", "kg/m^2", "kg/m**2", "l/m2", "l/m^2"), "mm"),
    **dict.fromkeys(("in", "inch", "inches"), "inch"),
    **dict.fromkeys(("cm", "centimeter", "centimeters", "centimetre", "centimetres"), "cm"),
    **dict.fromkeys(("m", "meter", "meters", "metre", "metres"), "m"),
    **dict.fromkeys(("0.1 mm", "0.1mm", "1/10 mm", "mm/10", "mm*10", "10 mm-1", "tenths of mm"), "0.1 mm"),
    **dict.fromkeys(("0.01 inch", "0.01 in", "1/100 inch", "hundredths of inch", "in/100"), "0.01 inch"),
}
_PERIODS: dict[str, Period] = {
    **dict.fromkeys(("m", "mo", "mon", "month"), "month"),
    **dict.fromkeys(("a", "y", "yr", "year", "annum"), "year"),
}
_PER = re.compile(r"^(?P<depth>.+?)\s*(?:/\s*|\s+per\s+|\s)(?P<period>[a-z]+)(?:\^|\*\*)?(?:-1)?$")


def parsed(text: str) -> tuple[RainUnit | None, Period | None]:
    """The depth unit and the period in a unit such as ``mm/month``; (None, None) when it is no known depth."""
    plain = re.sub(r"\s+", " ", text.strip().lower())
    if plain in _DEPTHS:
        return _DEPTHS[plain], None
    found = _PER.match(plain)
    if found and found["depth"] in _DEPTHS and found["period"] in _PERIODS:
        return _DEPTHS[found["depth"]], _PERIODS[found["period"]]
    return None, None


def settled_unit(
    file: InputFile, declared: str | None, said: RainUnit | None, bands: int
) -> tuple[RainUnit | None, list[Finding]]:
    """The unit in force: ``said`` by the project file, else the one ``declared`` by the file, else None.

    Raises the file's refusal for a unit that is no depth, and for a period that contradicts the ``bands``.
    """
    own, period = parsed(declared) if declared else (None, None)
    if said is not None:
        contradicts = declared is not None and own != said
        return said, [_contradicted(file, declared, said)] if contradicts else []
    if declared is None:
        return None, []
    choice = ", ".join(f'"{unit}"' for unit in get_args(RainUnit))
    if own is None:
        raise file.refused(
            f"is in {declared!r}, which is no depth of rain per month or year; convert it, or set unit to one "
            f"of {choice}."
        )
    if period is not None and period != ("month" if bands == 12 else "year"):
        held = "12 bands, one a month" if bands == 12 else "one band for a year"
        raise file.refused(
            f"is in {declared!r} but has {held}; if each band holds the depth of its own month or year, set "
            f'unit = "{own}".'
        )
    return own, []


def _contradicted(file: InputFile, declared: str | None, said: RainUnit) -> Finding:
    return Finding(
        "unit contradicted",
        file.role,
        "warning",
        1,
        f"{file.name} says its unit is {declared!r}, the project file says {said!r}; the project file is followed.",
        "Remove unit from [rainfall] unless the file is known to be wrong.",
    )
