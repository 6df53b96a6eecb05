"""What the map can be coloured by: one measure at a time, its classes, and their bounds in the units people read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.fields import PARCELS
from harvest.fields.barrels import yield_name
from harvest.show.classes import class_colours, class_numbers, quantile_breaks
from harvest.show.figures import read_unit
from harvest.show.words.page import WORDS

Floats = NDArray[np.float64]

COLOURED = "capturable_l_yr"
"""The measure that colours the map as it opens, and the styled GeoPackage."""

USED, USED_A_DOOR, SUGGESTED, DOORS = "yield_l_yr", "used_a_door", "suggested_barrels", "door_count"

BARRELS = (1, 2, 3, 4)
"""Numbers of barrels between which the page can switch, beside the suggested number."""

SWITCHED = tuple(yield_name(number) for number in BARRELS)


@dataclass(frozen=True)
class Measure:
    """One thing to colour parcels by: a ``field`` of theirs, as it is or for each door.

    ``by_barrels``: it follows the number of barrels that is chosen in the page.
    """

    name: str
    field: str
    a_door: bool = False
    by_barrels: bool = False

    def values(self, parcels: pd.DataFrame, units: str, field: str | None = None) -> Floats:
        """Its figure for each parcel [rows] in the unit people read; NaN where there is none, as without a door."""
        figures = read_figure(parcels, field or self.field, units).to_numpy(dtype=float, na_value=np.nan)
        if not self.a_door:
            return np.asarray(figures)
        doors = parcels[DOORS].to_numpy(dtype=float, na_value=np.nan)
        return np.asarray(np.divide(figures, doors, out=np.full(len(figures), np.nan), where=doors > 0))

    def breaks(self, parcels: pd.DataFrame, units: str) -> list[float]:
        """Bounds between its classes. One scale serves every number of barrels, so that they can be compared."""
        fields = (self.field, *SWITCHED) if self.by_barrels else (self.field,)
        values = np.concatenate([self.values(parcels, units, field) for field in fields])
        return quantile_breaks(np.where(values > 0, values, np.nan))


MEASURES = (
    Measure(COLOURED, COLOURED),
    Measure(USED, USED, by_barrels=True),
    Measure(USED_A_DOOR, USED, a_door=True, by_barrels=True),
    Measure(SUGGESTED, SUGGESTED),
)


def measures(parcels: pd.DataFrame, units: str) -> list[dict[str, Any]]:
    """The measures of which anything is known, as the page needs them."""
    told = []
    for one in MEASURES:
        if not parcels[one.field].notna().any() and one.name != COLOURED:
            continue
        field = PARCELS.field(one.field)
        breaks = one.breaks(parcels, units)
        told.append(
            {
                "name": one.name,
                "field": one.field,
                "a_door": one.a_door,
                "by_barrels": one.by_barrels,
                "label": WORDS["used_a_door"] if one.a_door else field.label,
                "meaning": WORDS["used_a_door_meaning"] if one.a_door else field.meaning,
                "unit": read_unit(units, field.unit)[0],
                "digits": None if field.dtype == "integer" else field.digits,
                "breaks": breaks,
                "colours": class_colours(len(breaks) + 1),
            }
        )
    return told


def read_figure(frame: pd.DataFrame, name: str, units: str) -> pd.Series:
    """Column ``name`` of the parcels in the unit that people read."""
    _, converted = read_unit(units, PARCELS.field(name).unit)
    return frame[name].astype("Float64").pipe(converted)


@dataclass(frozen=True)
class Classes:
    """Classes of the coloured figure: -1 none, 0 nothing to catch, then 1 for the lowest class.

    ``breaks`` are in the unit people read; ``numbers`` has one class a parcel.
    """

    numbers: NDArray[np.int64]
    breaks: list[float]
    colours: tuple[str, ...]


def classes_of(parcels: pd.DataFrame, units: str) -> Classes:
    """Quantile classes over the parcels that have something to catch, so that open land moves no bound."""
    values = read_figure(parcels, COLOURED, units).to_numpy(dtype=float, na_value=np.nan)
    breaks = quantile_breaks(np.where(values > 0, values, np.nan))
    return Classes(class_numbers(values, breaks), breaks, class_colours(len(breaks) + 1))
