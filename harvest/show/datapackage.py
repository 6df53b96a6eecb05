"""The data dictionary for programs: a Data Package (version 2) of everything in the result folder.

The CSV tables are described field by field with a Table Schema made from the register; every other file
stands there with its size and SHA-256. ``run.json`` is left out, since it lists this file in its turn, and
so is ``timing.json``, which differs from run to run.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from harvest.errors import OutputError
from harvest.fields import PARCELS, ROOFS, ROUNDS, SIDES, STOPS, VISITS, Field, Table
from harvest.result import RUN_FILE, Result
from harvest.show.present import tables_of
from harvest.show.rows import heading, plain_fields
from harvest.show.words.filling import fill
from harvest.show.words.tables import TABLE_WORDS

DATA_PACKAGE = "datapackage.json"
NOT_DESCRIBED = (RUN_FILE, "timing.json", DATA_PACKAGE)
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
SCHEMA_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
TYPES = {"string": "string", "float": "number", "integer": "integer", "boolean": "boolean"}
POINTERS = (
    (PARCELS, "site_id", PARCELS),
    (PARCELS, "side_id", SIDES),
    (PARCELS, "round", ROUNDS),
    (ROOFS, "parcel_id", PARCELS),
    (SIDES, "round", ROUNDS),
    (STOPS, "round", ROUNDS),
    (STOPS, "parcel_id", PARCELS),
    (STOPS, "side_id", SIDES),
    (VISITS, "parcel_id", PARCELS),
)
"""Columns that hold the key of a row in another table, or in their own. The sides in what changed are not among
them: a side that is gone stands there too."""

MEDIA_TYPES = {
    "csv": "text/csv",
    "gpkg": "application/geopackage+sqlite3",
    "html": "text/html",
    "json": "application/json",
    "parquet": "application/vnd.apache.parquet",
    "pdf": "application/pdf",
    "png": "image/png",
    "svg": "image/svg+xml",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def write_datapackage(result: Result, folder: Path) -> None:
    """Write ``datapackage.json`` on all files that stand in ``folder`` by now.

    Raises :class:`OutputError` when it can't be written.
    """
    paths = (one.relative_to(folder) for one in folder.rglob("*") if one.is_file())
    names = sorted(path.as_posix() for path in paths if not path.name.startswith("."))
    tables = {f"{table.name}.csv": table for table in tables_of(result).values()}
    described = [name for name in tables if name in names]
    written = frozenset(tables[name].name for name in described)
    others = [name for name in names if name not in tables and name not in NOT_DESCRIBED]
    package = {
        "$schema": PROFILE,
        "name": "harvest-potential",
        "title": fill(TABLE_WORDS["package_title"], town=result.run.get("town", "")),
        "description": TABLE_WORDS["package_meaning"],
        "resources": [
            *(_table_resource(tables[name], folder / name, written) for name in described),
            *(_file_resource(name, folder / name) for name in others),
        ],
    }
    text = json.dumps(package, ensure_ascii=False, indent=2) + "\n"
    try:
        (folder / DATA_PACKAGE).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(
            f"{folder / DATA_PACKAGE} can't be written ({error.strerror}); make room or choose another "
            "folder, then run again."
        ) from None


def _table_resource(table: Table, path: Path, written: frozenset[str]) -> dict[str, Any]:
    return {
        "name": table.name,
        "type": "table",
        **_file(path.name, path),
        "encoding": "utf-8",
        "title": table.title,
        "description": fill(TABLE_WORDS["package_apostrophe"], meaning=table.meaning),
        "schema": _table_schema(table, written),
    }


def _file_resource(name: str, path: Path) -> dict[str, Any]:
    return {"name": name.lower().replace("/", "."), **_file(name, path)}


def _file(name: str, path: Path) -> dict[str, Any]:
    """What is said of any file: where it is, what it is, its size and its hash."""
    kind = path.suffix.removeprefix(".").lower()
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    told = {"path": name, "format": kind, "mediatype": MEDIA_TYPES.get(kind, "application/octet-stream")}
    return {**told, "bytes": path.stat().st_size, "hash": f"sha256:{digest}"}


def _table_schema(table: Table, written: frozenset[str]) -> dict[str, Any]:
    """What ``table`` keeps to; it points to tables that are ``written`` too, and to no other."""
    schema: dict[str, Any] = {
        "$schema": SCHEMA_PROFILE,
        "fields": [_field(one) for one in plain_fields(table)],
        "missingValues": [""],
    }
    if table.key:
        whole = not any(table.field(name).nullable for name in table.key)
        schema |= {"primaryKey": list(table.key)} if whole else {"uniqueKeys": [list(table.key)]}
    pointers = [
        _pointer(name, table, other)
        for start, name, other in POINTERS
        if start.name == table.name and name in table.names and other.name in written
    ]
    return schema | ({"foreignKeys": pointers} if pointers else {})


def _pointer(name: str, table: Table, other: Table) -> dict[str, Any]:
    reference: dict[str, Any] = {"fields": list(other.key)}
    if other.name != table.name:
        reference["resource"] = other.name
    return {"fields": [name], "reference": reference}


def _field(field: Field) -> dict[str, Any]:
    told: dict[str, Any] = {
        "name": field.name,
        "title": heading(field),
        "type": TYPES[field.dtype],
        "description": field.meaning,
    }
    if field.unit is not None:
        told["unit"] = field.unit
    bounds = {"minimum": field.minimum, "maximum": field.maximum, "enum": list(field.allowed) or None}
    constraints: dict[str, Any] = {"required": True} if not field.nullable else {}
    constraints |= {name: bound for name, bound in bounds.items() if bound is not None}
    return told | ({"constraints": constraints} if constraints else {})
