"""Buildings from an OpenStreetMap extract: closed ways and multipolygons that carry the key building."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from harvest.project.outputs import Limits
from harvest.read.columns import nearest
from harvest.read.crs import Bounds
from harvest.read.features import Description, Features, Part
from harvest.read.files import InputFile
from harvest.read.vector import read_features

BUILDINGS = "building IS NOT NULL AND building <> 'no'"
ID_COLUMNS = ("osm_id", "osm_way_id")
OTHER = "other_tags"
ADDRESS_TAGS = ("addr:housenumber", "addr:street", "addr:city", "addr:postcode")


def read_buildings(
    file: InputFile,
    about: Description,
    named: Mapping[str, Sequence[str]],
    limits: Limits,
    box: Bounds | None,
) -> tuple[Features, pd.Series]:
    """The buildings with the tags ``named`` by setting, and their ids, such as ``way/123`` by default.

    A tag may be one of the layer's columns or any other key that some building carries.
    """
    tags = [name for names in named.values() for name in names if name not in ID_COLUMNS]
    own = [name for name in dict.fromkeys(tags) if name in about.columns]
    features = read_features(file, about, [*own, *ID_COLUMNS, OTHER], limits, Part(box, BUILDINGS))
    raw = features.columns
    frame = raw[own].copy()
    for name in tags:
        if name not in frame:
            frame[name] = tag(raw[OTHER], name)
            if frame[name].isna().all():
                there = sorted({*_keys(raw[OTHER]), *about.columns} - {*ID_COLUMNS, OTHER})
                raise file.refused(f"has no building with the tag {name!r}{nearest(name, there)}")
    column = named["id"][0] if named["id"] else ID_COLUMNS[0]
    ids = _element_ids(raw) if column in ID_COLUMNS else frame[column]
    return replace(features, columns=frame), ids


def with_tags(raw: pd.DataFrame) -> pd.DataFrame:
    """The columns of some buildings, with the address tags that any of them carries as columns too."""
    frame = raw.drop(columns=[*ID_COLUMNS, OTHER])
    for name in ADDRESS_TAGS:
        if name not in frame and (found := tag(raw[OTHER], name)).notna().any():
            frame[name] = found
    return frame


def _element_ids(raw: pd.DataFrame) -> pd.Series:
    relation, way = raw["osm_id"].astype("str"), raw["osm_way_id"].astype("str")
    return ("way/" + way).fillna("relation/" + relation)


def tag(others: pd.Series, key: str) -> pd.Series:
    """The value of ``key`` in texts such as ``"a"=>"1","b"=>"2"``, NA where it is not set."""
    quoted = re.escape(key.replace("\\", "\\\\").replace('"', '\\"'))
    found = others.astype("str").str.extract(rf'(?:^|,)"{quoted}"=>"((?:[^"\\]|\\.)*)"', expand=False)
    return found.str.replace(r"\\(.)", r"\1", regex=True)


def _keys(others: pd.Series) -> set[str]:
    """Every key that stands in ``others``."""
    return set(others.astype("str").str.extractall(r'(?:^|,)"((?:[^"\\]|\\.)*)"=>')[0])
