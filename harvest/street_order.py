"""Addresses in the order in which a person walks past them: by street, then by house number."""

from __future__ import annotations

import pandas as pd

from harvest.place.addresses import address_parts
from harvest.place.street_names import normal_name


def street_order(parcels: pd.DataFrame) -> pd.Index:
    """Labels of ``parcels`` in walking order of their ``address``; those without come last, by ``parcel_id``."""
    parts = address_parts(parcels["address"])
    unit = parts["unit"].str.casefold()
    keys = pd.DataFrame(
        {
            "street": normal_name(parts["street"]),
            "number": parts["number"].fillna(0),
            "suffix": parts["suffix"].fillna(""),
            "to": parts["number_to"].fillna(0),
            "unit_number": pd.to_numeric(unit.str.extract(r"(\d+)", expand=False)).fillna(0),
            "unit": unit.fillna(""),
            "parcel_id": parcels["parcel_id"],
        }
    )
    return keys.sort_values(list(keys.columns), na_position="last", kind="stable").index
