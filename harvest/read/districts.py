"""Districts (wards, precincts, neighbourhoods) from their file."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd

from harvest.findings import Account, Finding, counted
from harvest.layers import Extent, Layer
from harvest.project.districts import Districts
from harvest.project.outputs import Limits
from harvest.read import columns
from harvest.read.files import PLAIN_FORMS
from harvest.read.layer import read_rows

ROLE = "districts"
MERGED = "merged with others of the same name"


def read_districts(settings: Districts, folder: Path, limits: Limits, near: Extent | None = None) -> Layer:
    """Districts as valid 2-D polygons in the file's CRS, in the order in which their names first stand there.

    The frame has ``district`` (text, unique: the name, or the id where there is none) and ``geometry``. Outlines of
    one name are merged. ``folder`` is the project's; with ``clip_m`` set and ``near`` given (the parcels' extent),
    only outlines within that distance are read. Raises :class:`harvest.errors.LayerError`.
    """
    wanted = {"name": [settings.name] if settings.name else []}
    rows = read_rows(ROLE, settings, folder, limits, wanted, near, PLAIN_FORMS)
    named = columns.joined(rows.raw, wanted["name"])
    district = named.fillna(rows.raw_ids)
    findings = [one for one in rows.findings if one.check != "id repeated"]
    if settings.name and named.isna().any():
        findings.append(
            Finding.of(
                "district without a name",
                ROLE,
                "warning",
                district[named.isna()],
                f"{counted(int(named.isna().sum()), 'district')} without a name, called by id instead.",
                f"Fill in column {settings.name!r}, so that people recognise the district.",
            )
        )
    frame = gpd.GeoDataFrame({"district": district}, geometry=rows.polygons, crs=rows.crs)
    repeats = district.duplicated()
    if repeats.any():
        findings.append(_merged(district))
        frame = frame.dissolve("district", sort=False, as_index=False)[["district", "geometry"]]
    account = rows.account.then(
        Account(ROLE, len(district), len(frame), dropped={MERGED: int(repeats.sum())})
    )
    return Layer(frame, account, tuple(findings), rows.sources)


def _merged(district: pd.Series) -> Finding:
    several = district[district.duplicated(keep=False)]
    return Finding.of(
        "districts in several parts",
        ROLE,
        "note",
        several.unique(),
        f"{counted(several.nunique(), 'district')} in several outlines, taken together by name: "
        f"{len(several)} outlines.",
        "Nothing to do, unless two districts share a name; then name another column.",
    )
