"""Surroundings (water, parks and the like) from their files: polygons and lines, cut off around the town."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from harvest.findings import Account, Finding
from harvest.layers import Extent, Layer
from harvest.project.context import Context
from harvest.project.outputs import Limits
from harvest.read import columns, lines, shapes
from harvest.read.crs import Bounds, around, check_coordinates
from harvest.read.files import PLAIN_FORMS
from harvest.read.layer import OUTSIDE, RawRows, read_raw

ROLE = "context"
LINE, AREA = 1, 2
"""Dimensions of what can be drawn."""


def read_context(
    settings: Sequence[Context], folder: Path, limits: Limits, near: Sequence[Extent] = ()
) -> list[Layer]:
    """Each layer of surroundings as valid 2-D polygons and single lines, in the file's CRS and row order.

    The frames have ``kind`` (text, as the project file calls it), ``name`` (text, NA for none) and ``geometry``.
    What lies farther than ``clip_m`` from ``near`` (the extents of parcels and footprints) is cut off. A layer that
    has nothing there is empty, with a finding. ``folder`` is the project's. Raises
    :class:`harvest.errors.LayerError`.
    """
    return [_read(one, folder, limits, near) for one in settings]


def _read(settings: Context, folder: Path, limits: Limits, near: Sequence[Extent]) -> Layer:
    wanted = {"name": [settings.name] if settings.name else []}
    raw = read_raw(ROLE, settings, folder, limits, wanted, near, PLAIN_FORMS)
    row, drawn, dropped, findings = _cleaned(raw)
    if len(raw.features.rows) and not len(drawn):
        raise raw.file.refused(
            f"has no usable polygon or line among {len(raw.ids)} features; open it in a GIS and look."
        )
    if len(drawn):
        west, south, east, north = (float(edge) for edge in shapely.total_bounds(drawn))
        findings += check_coordinates(raw.file, raw.crs, (west, south, east, north))
    box = around(near, settings.clip_m, raw.crs)
    lasting = np.ones(len(drawn), bool)
    if box is not None:
        drawn = cut(drawn, box)
        lasting = ~shapely.is_empty(drawn)
    name = columns.joined(raw.features.columns.iloc[row].reset_index(drop=True), wanted["name"])
    frame = gpd.GeoDataFrame(
        {"kind": pd.Series(settings.kind, index=range(len(row)), dtype="str"), "name": name},
        geometry=drawn,
        crs=raw.crs,
    )
    frame = frame[lasting].reset_index(drop=True)
    parts = len(row) - len(np.unique(row))
    account = Account(
        f"{ROLE} {settings.kind}: {settings.file}" + (f" ({settings.layer})" if settings.layer else ""),
        raw.features.total,
        len(frame),
        added={"parts of lines in several": parts},
        dropped={OUTSIDE: raw.outside + int((~lasting).sum()), **dropped},
    )
    if frame.empty:
        findings.append(_nothing_near(settings, raw.features.total))
    return Layer(frame, account, (*raw.findings, *findings), raw.sources)


def cut(outlines: NDArray[np.object_], box: Bounds) -> NDArray[np.object_]:
    """``outlines`` [n; polygons and lines] as far as they lie in ``box``; empty where only an edge touches it."""
    whole = shapely.box(*box)
    inside = shapely.intersection(outlines, whole)
    dimension = shapely.get_dimensions(outlines)
    for at in np.flatnonzero(
        (shapely.get_dimensions(inside) < dimension) | (shapely.get_type_id(inside) == 7)
    ):
        parts = shapely.get_parts(inside[at])
        same = parts[shapely.get_dimensions(parts) == dimension[at]]
        inside[at] = shapely.union_all(same) if len(same) else shapely.from_wkt("GEOMETRYCOLLECTION EMPTY")
    return np.asarray(inside, dtype=object)


def _cleaned(
    raw: RawRows,
) -> tuple[NDArray[np.intp], NDArray[np.object_], dict[str, int], list[Finding]]:
    """What can be drawn [n], the row [n] of the features that each comes from, what was dropped, and findings."""
    geometry, unreadable = raw.features.geometry, raw.features.unreadable
    dimension = shapely.get_dimensions(geometry)
    points = (dimension == 0) & ~shapely.is_empty(geometry)
    findings, dropped = [], {}
    if points.any():
        if not (dimension > 0).any():
            raise raw.file.refused("holds points; give a layer of polygons or lines.")
        dropped["neither polygon nor line"] = int(points.sum())
        findings.append(
            Finding.of(
                "neither polygon nor line",
                ROLE,
                "warning",
                raw.ids[points],
                f"{raw.file.name} holds points beside polygons and lines; they are left out: {int(points.sum())}.",
                "If they stand for something real, draw them as polygons.",
            )
        )
    made_rows, made_shapes = [], []
    line, rest = np.flatnonzero(dimension == LINE), np.flatnonzero((dimension != LINE) & ~points)
    if len(rest):
        areas = shapes.cleaned(raw.file, geometry[rest], unreadable[rest], raw.ids.iloc[rest])
        made_rows.append(rest[areas.kept])
        made_shapes.append(areas.polygons)
        findings += areas.findings
        dropped |= areas.dropped
    if len(line):
        single = lines.cleaned(raw.file, geometry[line], unreadable[line], raw.ids.iloc[line])
        made_rows.append(line[single.row])
        made_shapes.append(single.lines)
        findings += single.findings
        dropped |= {reason: dropped.get(reason, 0) + count for reason, count in single.dropped.items()}
    row = np.concatenate([*made_rows, np.empty(0, np.intp)])
    drawn = np.concatenate([*made_shapes, np.empty(0, object)])
    order = np.argsort(row, kind="stable")
    return row[order], drawn[order], dropped, findings


def _nothing_near(settings: Context, total: int) -> Finding:
    return Finding(
        "surroundings elsewhere",
        ROLE,
        "warning",
        total,
        f"Nothing of {settings.file} ({settings.kind}) lies within {settings.clip_m:,.0f} m of the parcels, so the map "
        "shows none of it.",
        "Check its crs; if it lies elsewhere, take it out of the project file.",
    )
