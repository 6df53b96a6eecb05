"""The Data Package: what it says of each file is true, and the CSV tables keep to what it says of them."""

from __future__ import annotations

import csv
import hashlib
import json
import re
from pathlib import Path
from typing import Any

import pytest
from table_results import parcels_frame, written_result

from harvest.errors import OutputError
from harvest.fields import TABLES
from harvest.result import Result
from harvest.show.datapackage import write_datapackage
from harvest.show.present import tables_of
from harvest.show.rows import plain_fields
from harvest.show.tables import write_tables

HASH = re.compile(r"^([^:]+:[a-fA-F0-9]+|[a-fA-F0-9]{32}|)$")
"""Data Package profile 2.0, property ``hash`` of a resource."""


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("package") / "result"
    made = written_result(folder, town='<b>"Pellwick"</b>', extras=True)
    write_tables(made, made.folder, ("csv", "xlsx", "gpkg"), 1000)
    (made.folder / "timing.json").write_text("{}")
    (made.folder / "map.html").write_text("<!doctype html>")
    write_datapackage(made, made.folder)
    return made


@pytest.fixture(scope="module")
def package(result: Result) -> dict[str, Any]:
    told: dict[str, Any] = json.loads((result.folder / "datapackage.json").read_text(encoding="utf-8"))
    return told


def test_it_names_every_file_but_those_that_change(package: dict[str, Any]) -> None:
    # Data Package 2.0: resources is required; a resource has a name, unique, and a path relative to the package.
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    paths = [one["path"] for one in package["resources"]]
    others = [*(f"{name}.parquet" for name in TABLES), "harvest.gpkg", "map.html", "parcels.xlsx"]
    assert paths == [*(f"{name}.csv" for name in TABLES), *sorted(others)]
    names = [one["name"] for one in package["resources"]]
    assert len(set(names)) == len(names) and all(re.fullmatch(r"[a-z0-9._-]+", name) for name in names)
    assert package["title"].endswith('<b>"Pellwick"</b>')


def test_sizes_and_hashes_are_true(result: Result, package: dict[str, Any]) -> None:
    for one in package["resources"]:
        content = (result.folder / one["path"]).read_bytes()
        assert one["bytes"] == len(content)
        assert HASH.match(one["hash"]) and one["hash"] == "sha256:" + hashlib.sha256(content).hexdigest()
        assert re.fullmatch(r"(.+)/(.+)", one["mediatype"])
        assert one["format"] == one["path"].rsplit(".")[-1]


def casts(cell: str, kind: str) -> Any:
    """A cell by the rules of Table Schema 2.0, "Field Types"."""
    if kind == "boolean":
        return {"true": True, "True": True, "TRUE": True, "1": True, "false": False, "False": False}[cell]
    return {"string": str, "number": float, "integer": int}[kind](cell)


@pytest.mark.parametrize("name", list(TABLES))
def test_tables_keep_to_their_schema(result: Result, package: dict[str, Any], name: str) -> None:
    (resource,) = (one for one in package["resources"] if one["name"] == name)
    assert (resource["type"], resource["encoding"]) == ("table", "utf-8")
    schema = resource["schema"]
    assert schema["missingValues"] == [""]
    with (result.folder / resource["path"]).open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file, strict=True))
    assert rows[0] == [one["name"] for one in schema["fields"]]
    for one, column in zip(schema["fields"], zip(*rows[1:], strict=True), strict=True):
        limits = one.get("constraints", {})
        assert not (limits.get("required") and "" in column)
        for value in (casts(cell, one["type"]) for cell in column if cell):
            assert value >= limits.get("minimum", value) and value <= limits.get("maximum", value)
            assert value in limits.get("enum", [value])


@pytest.mark.parametrize("name", list(TABLES))
def test_fields_are_those_of_the_register(result: Result, package: dict[str, Any], name: str) -> None:
    (resource,) = (one for one in package["resources"] if one["name"] == name)
    for told, one in zip(resource["schema"]["fields"], plain_fields(tables_of(result)[name]), strict=True):
        limits = told.get("constraints", {})
        assert (told["name"], told["description"], told.get("unit")) == (one.name, one.meaning, one.unit)
        assert told["title"].startswith(one.label)
        assert limits.get("required", False) is not one.nullable
        assert (limits.get("minimum"), limits.get("maximum")) == (one.minimum, one.maximum)
        assert tuple(limits.get("enum", ())) == one.allowed


def test_keys_are_told_where_they_hold(package: dict[str, Any]) -> None:
    # Table Schema 2.0: fields of a primaryKey can't be null; uniqueKeys leave rows with a null out.
    schemas = {one["name"]: one["schema"] for one in package["resources"] if "schema" in one}
    assert schemas["parcels"]["primaryKey"] == ["parcel_id"] and "uniqueKeys" not in schemas["parcels"]
    assert (
        schemas["roofs"]["uniqueKeys"] == [["roof_id", "parcel_id"]] and "primaryKey" not in schemas["roofs"]
    )
    assert "primaryKey" not in schemas["findings"] and "uniqueKeys" not in schemas["findings"]


def test_every_pointer_finds_its_row(result: Result, package: dict[str, Any]) -> None:
    # Table Schema 2.0: fields of a foreignKey are a list; a table that points to itself names no resource.
    schemas = {one["name"]: one["schema"] for one in package["resources"] if "schema" in one}
    found = {
        (name, *one["fields"], one["reference"].get("resource", name), *one["reference"]["fields"])
        for name, schema in schemas.items()
        for one in schema.get("foreignKeys", [])
    }
    assert found == {
        ("parcels", "side_id", "sides", "side_id"),
        ("parcels", "round", "rounds", "round"),
        ("roofs", "parcel_id", "parcels", "parcel_id"),
        ("sides", "round", "rounds", "round"),
        ("stops", "round", "rounds", "round"),
        ("stops", "parcel_id", "parcels", "parcel_id"),
        ("stops", "side_id", "sides", "side_id"),
        ("visits", "parcel_id", "parcels", "parcel_id"),
    } | {("parcels", "site_id", "parcels", "parcel_id")}
    assert "resource" not in next(
        one["reference"] for one in schemas["parcels"]["foreignKeys"] if one["fields"] == ["site_id"]
    )
    for name, column, other, key in found:
        assert schemas[other]["primaryKey"] == [key]
        cells = {}
        for table, field in ((name, column), (other, key)):
            with (result.folder / f"{table}.csv").open(encoding="utf-8-sig", newline="") as file:
                cells[table, field] = {row[field] for row in csv.DictReader(file, strict=True)} - {""}
        assert cells[name, column] <= cells[other, key]


def test_it_points_to_no_table_that_is_not_there(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result", parcels_frame(("1 Quay",)))
    write_tables(made, made.folder, ("csv",), 1000)
    write_datapackage(made, made.folder)
    told = json.loads((made.folder / "datapackage.json").read_text(encoding="utf-8"))
    schemas = {one["name"]: one["schema"] for one in told["resources"] if "schema" in one}
    pointers = {name: schema.get("foreignKeys") for name, schema in schemas.items()}
    assert set(pointers) == {"parcels", "roofs", "findings"} and pointers["findings"] is None
    assert [one["reference"] for one in pointers["roofs"]] == [
        {"fields": ["parcel_id"], "resource": "parcels"}
    ]
    assert [one["fields"] for one in pointers["parcels"]] == [["site_id"]]


def test_tables_not_written_are_not_described(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result", parcels_frame(("1 Quay",)))
    write_tables(made, made.folder, (), 1000)
    write_datapackage(made, made.folder)
    told = json.loads((made.folder / "datapackage.json").read_text(encoding="utf-8"))
    assert [one["path"] for one in told["resources"] if "schema" in one] == ["findings.csv"]


def test_writing_it_again_changes_nothing(result: Result) -> None:
    before = (result.folder / "datapackage.json").read_bytes()
    write_datapackage(result, result.folder)
    assert (result.folder / "datapackage.json").read_bytes() == before


def test_a_package_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result", parcels_frame(("1 Quay",)))
    (made.folder / "datapackage.json").mkdir()
    with pytest.raises(OutputError, match=r"datapackage\.json can't be written"):
        write_datapackage(made, made.folder)
