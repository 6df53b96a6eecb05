"""Building footprints from their file."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from harvest.findings import Finding
from harvest.layers import Extent, Layer
from harvest.project.inputs import Footprints
from harvest.project.outputs import Limits
from harvest.read import columns
from harvest.read.layer import Rows, read_rows


def read_footprints(settings: Footprints, folder: Path, limits: Limits, near: Extent | None = None) -> Layer:
    """Footprints as valid 2-D polygons in the file's CRS and row order.

    The frame has ``roof_id`` (text, unique), ``kind`` (text), ``gutter`` (nullable boolean, NA when
    unmarked), ``address`` (text) and ``geometry``; texts are NA where the file holds nothing. ``folder`` is
    the project's. With ``clip_m`` set and ``near`` given (the parcels' extent), only footprints within that
    distance of it are read. Raises :class:`harvest.errors.LayerError`.
    """
    address = [settings.address] if isinstance(settings.address, str) else settings.address or []
    wanted = {
        "kind": [settings.kind] if settings.kind else [],
        "gutter": [settings.gutter] if settings.gutter else [],
        "address": address,
    }
    rows = read_rows("footprints", settings, folder, limits, wanted, near)
    gutter, findings = _gutter(rows, settings.gutter)
    own = {
        "kind": columns.joined(rows.raw, wanted["kind"]),
        "gutter": gutter,
        "address": columns.joined(rows.raw, address),
    }
    return rows.layer("roof_id", own, findings)


def _gutter(rows: Rows, column: str | None) -> tuple[pd.Series, list[Finding]]:
    if column is None:
        return pd.Series(pd.NA, index=rows.raw.index, dtype="boolean"), []
    marked, unknown = columns.marks(rows.raw[column])
    if not unknown.any():
        return marked, []
    values = ", ".join(repr(value) for value in columns.texts(rows.raw[column])[unknown].unique()[:3])
    return marked, [
        Finding.of(
            "gutter mark unknown",
            "footprints",
            "warning",
            rows.ids[unknown],
            f"Column {column!r} holds marks such as {values} that mean neither yes nor no; these roofs count "
            "as unmarked.",
            "Write yes or no, true or false, 1 or 0.",
        )
    ]
