"""A layer from its file to rows, and on to clean polygons: what footprints, parcels and districts have in common."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from harvest.errors import LayerError
from harvest.findings import Account, Finding
from harvest.layers import Extent, Layer, Source, crs_text
from harvest.project.inputs import VectorFile
from harvest.project.outputs import Limits
from harvest.read import columns, osm, shapes, vector
from harvest.read.archive import unpacked
from harvest.read.crs import around, check_coordinates, settled_crs
from harvest.read.features import Features, Part
from harvest.read.files import VECTOR_FORMS, Form, InputFile, admitted

OUTSIDE = "outside the clip"


@dataclass(frozen=True)
class Rows:
    """The usable rows of a polygon layer: ids and polygons [n], the raw columns of the same rows.

    ``raw_ids`` are the ids before repeated ones were told apart.
    """

    file: InputFile
    ids: pd.Series
    raw_ids: pd.Series
    polygons: NDArray[np.object_]
    raw: pd.DataFrame
    crs: CRS
    account: Account
    findings: list[Finding]
    sources: tuple[Source, ...]

    def layer(self, id_name: str, own: Mapping[str, pd.Series], findings: Sequence[Finding]) -> Layer:
        """The layer with column ``id_name`` first, then ``own`` columns, then the geometry."""
        frame = gpd.GeoDataFrame({id_name: self.ids, **own}, geometry=self.polygons, crs=self.crs)
        return Layer(frame, self.account, (*self.findings, *findings), self.sources)


@dataclass(frozen=True)
class RawRows:
    """The rows of a layer as they stand in its file: ``ids`` [n] told apart, ``raw_ids`` [n] as they were."""

    file: InputFile
    features: Features
    ids: pd.Series
    raw_ids: pd.Series
    crs: CRS
    findings: list[Finding]

    @property
    def outside(self) -> int:
        """How many rows of the file lie outside the clip."""
        return self.features.total - len(self.features.rows)

    @property
    def sources(self) -> tuple[Source, ...]:
        """The file as it was read."""
        return self.file.sources(self.features.total, crs_text(self.crs))


def read_raw(
    role: str,
    settings: VectorFile,
    folder: Path,
    limits: Limits,
    wanted: Mapping[str, Sequence[str]],
    near: Sequence[Extent] = (),
    forms: Sequence[Form] = VECTOR_FORMS,
) -> RawRows:
    """The rows of the layer that ``settings`` name, relative to ``folder``, in one of ``forms``.

    ``wanted`` are the columns to read besides the id, by the setting that names them. Rows farther than
    ``clip_m`` from all of ``near`` are left out when both are given. Raises :class:`LayerError`.
    """
    file = admitted(role, settings.file, folder, forms, LayerError)
    with unpacked(file, settings.layer, limits) as plain:
        about = vector.described(plain, settings.layer if file.form != "zip file" else None, limits)
        if about.geometry_type in (None, "None"):
            raise file.refused("has no geometry; give a layer of polygons.")
        crs, findings = settled_crs(file, about.crs, settings.crs)
        box = around(near, settings.clip_m, crs)
        named = {"id": [settings.id] if settings.id else [], **wanted}
        if file.form == "OpenStreetMap extract":
            features, raw_id = osm.read_buildings(plain, about, named, limits, box)
        else:
            there = [*about.columns, *([about.row_column] if about.row_column else [])]
            columns.check_columns(file, named, there)
            names = [name for some in named.values() for name in some]
            features = vector.read_features(plain, about, names, limits, Part(box))
            raw_id = features.columns[settings.id] if settings.id else None
    if features.total == 0:
        raise file.refused("holds no features; give a layer that does.")
    ids, raw_ids, told = columns.ids(raw_id, features.rows, role)
    findings += [*_told(role, settings, near, features), *told]
    return RawRows(file, features, ids, raw_ids, crs, findings)


def read_rows(
    role: str,
    settings: VectorFile,
    folder: Path,
    limits: Limits,
    wanted: Mapping[str, Sequence[str]],
    near: Extent | None = None,
    forms: Sequence[Form] = VECTOR_FORMS,
) -> Rows:
    """The clean rows of the layer of polygons that ``settings`` name; all else is as in :func:`read_raw`."""
    raw = read_raw(role, settings, folder, limits, wanted, [] if near is None else [near], forms)
    file, features, ids = raw.file, raw.features, raw.ids
    if len(features.rows) == 0:
        raise file.refused(
            f"has none of its {raw.outside} features within clip_m of the parcels; check its crs."
        )
    made = shapes.cleaned(file, features.geometry, features.unreadable, ids)
    if not made.kept.any():
        raise file.refused(f"has no usable polygon among {len(ids)} features; open it in a GIS and look.")
    return Rows(
        file,
        ids[made.kept].reset_index(drop=True),
        raw.raw_ids[made.kept].reset_index(drop=True),
        made.polygons,
        features.columns[made.kept].reset_index(drop=True),
        raw.crs,
        Account(role, features.total, int(made.kept.sum()), dropped={OUTSIDE: raw.outside, **made.dropped}),
        [*raw.findings, *made.findings, *_check_place(file, made.polygons, raw.crs)],
        raw.sources,
    )


def _told(role: str, settings: VectorFile, near: Sequence[Extent], features: Features) -> list[Finding]:
    found = []
    if settings.clip_m is not None and not near:
        found.append(
            Finding(
                "clip not applied",
                role,
                "warning",
                1,
                f"clip_m is set for {role}, but there are no parcels to measure from; all of it was read.",
                f"Remove clip_m from [{role}].",
            )
        )
    if features.reencoded:
        found.append(
            Finding.of(
                "text encoding guessed",
                role,
                "note",
                features.reencoded,
                f"Texts in {settings.file} are not encoded as the file says; they were read as Western European.",
                "Look at a name with an accent; if it is wrong, export the file as UTF-8.",
            )
        )
    return found


def _check_place(file: InputFile, polygons: NDArray[np.object_], crs: CRS) -> list[Finding]:
    west, south, east, north = (float(edge) for edge in shapely.total_bounds(polygons))
    return check_coordinates(file, crs, (west, south, east, north), float(np.median(shapely.area(polygons))))
