"""Street centrelines from their file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from harvest.errors import LayerError
from harvest.findings import Account, Finding, counted
from harvest.layers import Extent, Layer, crs_text
from harvest.project.outputs import Limits
from harvest.project.streets import Streets
from harvest.read import columns, osm, vector
from harvest.read.archive import unpacked
from harvest.read.crs import Bounds, around, check_coordinates, settled_crs
from harvest.read.features import Description, Features, Part
from harvest.read.files import VECTOR_FORMS, InputFile, admitted
from harvest.read.lines import cleaned

OSM, OSM_LAYER, HIGHWAYS = "OpenStreetMap extract", "lines", "highway IS NOT NULL"
OSM_COLUMNS = {"name": "name", "kind": "highway", "no_crossing": "highway", "level": "layer"}
NO_NAME = (
    "unnamed",
    "unnamed street",
    "unnamed road",
    "no name",
    "noname",
    "unknown",
    "n/a",
    "na",
    "-",
    "tbd",
)
UNDER_GROUND = "under the ground"
DEGREES: Bounds = (-180.0, -90.0, 180.0, 90.0)
METRES: Bounds = (400.0, -1e8, 1e8, 1e8)
APART = 10_000.0
"""A town whose coordinates come no nearer than this to those of degrees holds no degrees."""


def read_streets(settings: Streets, folder: Path, limits: Limits, *near: Extent) -> Layer:
    """Streets as single 2-D lines in the file's CRS and row order.

    The frame has ``street_id`` (text, unique; parts of one line are "id part 1", "id part 2"), ``name`` (text, NA
    for none), ``no_crossing`` (bool), ``level`` (Int64, 0 on the ground) and ``geometry``. Only lines within
    ``clip_m`` of ``near`` (the extents of parcels and footprints) are read, and of those none of the kinds that
    have no doors and none below level 0 (tunnels). ``folder`` is the project's. Raises
    :class:`harvest.errors.LayerError`.
    """
    file = admitted("streets", settings.file, folder, VECTOR_FORMS, LayerError)
    extract = file.form == OSM
    layer = settings.layer or (OSM_LAYER if extract else None)
    with unpacked(file, layer if not extract else None, limits) as plain:
        about = vector.described(plain, None if file.form == "zip file" else layer, limits)
        if about.geometry_type in (None, "None"):
            raise file.refused("has no geometry; give a layer of lines.")
        crs, findings = settled_crs(file, about.crs, settings.crs)
        box = around(near, settings.clip_m, crs)
        named = _named(settings, extract)
        if not extract:
            there = [*about.columns, *([about.row_column] if about.row_column else [])]
            columns.check_columns(file, named, there)
        features, frame = _read(plain, about, named, limits, Part(box, HIGHWAYS if extract else None))
        _check_one_system(file, plain, about, crs, limits, box, features)
    total = features.total
    if total == 0:
        raise file.refused(f"holds no {'streets' if extract else 'features'}; give a layer that does.")
    outside = total - len(features.rows)
    if len(features.rows) == 0:
        raise file.refused(f"has none of its {outside} features within clip_m of the parcels; check its crs.")
    ids, _, told = columns.ids(_ids(frame, named, extract), features.rows, "streets")
    made = cleaned(file, features.geometry, features.unreadable, ids)
    if not len(made.lines):
        raise file.refused(f"has no usable line among {len(ids)} features; open it in a GIS and look.")
    west, south, east, north = (float(edge) for edge in shapely.total_bounds(made.lines))
    findings += [*told, *made.findings, *check_coordinates(file, crs, (west, south, east, north))]
    rows = frame.iloc[made.row].reset_index(drop=True)
    name = _names(columns.joined(rows, named["name"]))
    level = _levels(rows, named["level"])
    without = _without_doors(rows, named["kind"], name, settings).mask(level < 0, UNDER_GROUND)
    kept = without.isna().to_numpy()
    reasons = without.dropna()
    findings += _told(features, settings, reasons, named, name[kept])
    if not kept.any():
        raise file.refused(
            f"holds only lines without doors ({', '.join(sorted(set(reasons))[:5])}); change leave_out in [streets]."
        )
    street_id = _part_ids(ids.iloc[made.row].reset_index(drop=True))
    own = gpd.GeoDataFrame(
        {
            "street_id": street_id[kept],
            "name": name[kept],
            "no_crossing": _no_crossing(rows, named["no_crossing"], settings)[kept],
            "level": level[kept],
        },
        geometry=made.lines[kept],
        crs=crs,
    ).reset_index(drop=True)
    account = Account(
        "streets",
        total,
        len(own),
        added={"parts of lines in several": made.parted},
        dropped={
            "outside the clip": outside,
            **made.dropped,
            **{
                f"no doors: {reason}": int(count)
                for reason, count in reasons.value_counts().sort_index().items()
            },
        },
    )
    return Layer(own, account, tuple(findings), file.sources(total, crs_text(crs)))


def _named(settings: Streets, extract: bool) -> dict[str, Sequence[str]]:
    """The columns wanted, by setting; an extract has its own where the project file names none."""
    said = {key: getattr(settings, key) for key in ("name", "kind", "no_crossing", "level")}
    if extract:
        said = {key: value or OSM_COLUMNS[key] for key, value in said.items()}
    found = {key: [value] if isinstance(value, str) else value or [] for key, value in said.items()}
    return {"id": [settings.id] if settings.id else [], **found}


def _read(
    file: InputFile, about: Description, named: Mapping[str, Sequence[str]], limits: Limits, part: Part
) -> tuple[Features, pd.DataFrame]:
    """The features, and their columns by name; tags of an extract stand in columns or among the others."""
    names = list(dict.fromkeys(name for some in named.values() for name in some))
    if file.form != OSM:
        features = vector.read_features(file, about, names, limits, part)
        return features, features.columns
    own = [name for name in names if name in about.columns]
    features = vector.read_features(file, about, [*dict.fromkeys([*own, "osm_id", osm.OTHER])], limits, part)
    frame = features.columns.copy()
    for name in names:
        if name not in frame:
            frame[name] = osm.tag(frame[osm.OTHER], name)
    return features, frame


def _ids(frame: pd.DataFrame, named: Mapping[str, Sequence[str]], extract: bool) -> pd.Series | None:
    if named["id"]:
        return frame[named["id"][0]]
    return "way/" + frame["osm_id"].astype("str") if extract else None


def _part_ids(ids: pd.Series) -> pd.Series:
    """``ids`` [n] told apart where one line fell into parts."""
    several = ids.duplicated(keep=False)
    part = (ids.groupby(ids).cumcount() + 1).astype("str")
    return ids.mask(several, ids + " part " + part)


def _names(names: pd.Series) -> pd.Series:
    return names.mask(names.str.casefold().isin(NO_NAME))


def _without_doors(frame: pd.DataFrame, kind: Sequence[str], name: pd.Series, settings: Streets) -> pd.Series:
    """For each line [n] the kind for which it is left out, NA for those that stay."""
    if not kind:
        return pd.Series(pd.NA, index=frame.index, dtype="str")
    kinds = columns.texts(frame[kind[0]])
    gone = kinds.isin(settings.leave_out) | (kinds.isin(settings.leave_out_unnamed) & name.isna())
    return kinds.where(gone)


def _no_crossing(frame: pd.DataFrame, column: Sequence[str], settings: Streets) -> NDArray[np.bool_]:
    if not column:
        return np.zeros(len(frame), dtype=bool)
    values = {one.strip().casefold() for one in settings.no_crossing_values}
    return np.asarray(columns.texts(frame[column[0]]).str.casefold().isin(values), dtype=bool)


def _levels(frame: pd.DataFrame, column: Sequence[str]) -> pd.Series:
    if not column:
        return pd.Series(0, index=frame.index, dtype="Int64")
    return columns.whole_numbers(frame[column[0]])[0].fillna(0)


def _told(
    features: Features,
    settings: Streets,
    reasons: pd.Series,
    named: Mapping[str, Sequence[str]],
    name: pd.Series,
) -> list[Finding]:
    found = []
    if features.reencoded:
        found.append(
            Finding.of(
                "text encoding guessed",
                "streets",
                "note",
                features.reencoded,
                f"Texts in {settings.file} are not encoded as the file says; they were read as Western European.",
                "Look at a name with an accent; if it is wrong, export the file as UTF-8.",
            )
        )
    if len(reasons):
        counts = reasons.value_counts().head(4)
        found.append(
            Finding(
                "lines without doors",
                "streets",
                "note",
                len(reasons),
                f"{counted(len(reasons), 'line')} left out as streets without doors, such as "
                f"{', '.join(f'{kind} ({count})' for kind, count in counts.items())}.",
                "Change leave_out, leave_out_unnamed or level in [streets] if people live there.",
                tuple(map(str, counts.index)),
            )
        )
    if not named["name"] or name.isna().all():
        found.append(
            Finding(
                "no street names",
                "streets",
                "warning",
                len(name),
                "No street has a name; parcels are placed on streets by distance alone.",
                "Name the column of street names: name in [streets].",
            )
        )
    return found


def _check_one_system(
    file: InputFile,
    plain: InputFile,
    about: Description,
    crs: CRS,
    limits: Limits,
    box: Bounds | None,
    features: Features,
) -> None:
    """Refuse a layer in which some lines are in degrees and others are not; the clip might hide them."""
    town = box
    if town is None:
        middles = shapely.bounds(features.geometry[~shapely.is_missing(features.geometry)])
        if not len(middles):
            return
        x, y = np.nanmedian(middles[:, [0, 2]]), np.nanmedian(middles[:, [1, 3]])
        town = (x, y, x, y)
    if crs.is_geographic:
        foreign, meant = METRES, "metres or feet of a projected system"
    elif max(town[0], -town[2], town[1], -town[3]) > APART:
        foreign, meant = DEGREES, "degrees"
    else:
        return
    where = HIGHWAYS if file.form == OSM else None
    odd = vector.read_features(plain, about, [], limits, Part(foreign, where, most=1))
    if len(odd.rows):
        raise file.refused(
            f"holds lines in two coordinate systems: from row {odd.rows[0]} on some are in {meant}, unlike the "
            f"others ({crs.name}); export all of them in one."
        )
