"""The GeoPackage, read back with sqlite3 and pyogrio, and its styles, worked out by a reader of our own."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pyogrio
import pytest
from pyproj import CRS
from table_results import HOSTILE, PARCELS_CRS, ROOFS_CRS, parcels_frame, written_result

from harvest.fields import TABLES
from harvest.result import Result
from harvest.show.classes import CLASS_COLOURS
from harvest.show.mapdata import classes_of
from harvest.show.rows import heading, plain_fields
from harvest.show.style import parcels_sld, roofs_sld
from harvest.show.tables import write_tables
from harvest.units import L_PER_GALLON

SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
RULE_ORDER = ["Name", "Title", "Filter", "PolygonSymbolizer"]
"""OGC 02-070, Styled Layer Descriptor 1.0.0, element Rule: its parts stand in this order."""


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    made = written_result(tmp_path_factory.mktemp("gpkg") / "result", town="<&]]>\x01{{ 6*7 }}")
    write_tables(made, made.folder, ("gpkg",), 1000)
    return made


@pytest.fixture
def path(result: Result) -> Path:
    return result.folder / "harvest.gpkg"


@pytest.fixture
def query(path: Path) -> Iterator[Callable[[str], list[tuple[Any, ...]]]]:
    with closing(sqlite3.connect(path)) as file:
        yield lambda text: file.execute(text).fetchall()


def test_it_is_whole_and_registers_its_tables(
    path: Path, query: Callable[[str], list[tuple[Any, ...]]]
) -> None:
    # OGC 12-128, GeoPackage Encoding Standard, "File Integrity" and "Contents" (requirements from memory).
    assert query("PRAGMA integrity_check") == [("ok",)]
    assert query("PRAGMA foreign_key_check") == []
    contents = query("select table_name, data_type, identifier, last_change from gpkg_contents")
    assert contents == [
        ("parcels", "features", "Parcels", "2000-01-01T00:00:00.000Z"),
        ("roofs", "features", "Roofs", "2000-01-01T00:00:00.000Z"),
        ("findings", "attributes", "Findings", "2000-01-01T00:00:00.000Z"),
        ("layer_styles", "attributes", "Layer styles", "2000-01-01T00:00:00.000Z"),
    ]
    assert [(name, kind) for name, kind in pyogrio.list_layers(path)] == [
        ("parcels", "MultiPolygon"),
        ("roofs", "MultiPolygon"),
        ("findings", None),
        ("layer_styles", None),
    ]
    assert (
        not path.with_name("harvest.gpkg-journal").exists()
        and not path.with_name("harvest.gpkg-wal").exists()
    )


@pytest.mark.parametrize("name", ["parcels", "roofs", "findings"])
def test_types_are_those_of_the_register(path: Path, name: str) -> None:
    info = pyogrio.read_info(path, layer=name)
    kinds = {"string": "OFTString", "float": "OFTReal", "integer": "OFTInteger64", "boolean": "OFTInteger"}
    fields = plain_fields(TABLES[name])
    assert info["fields"].tolist() == [one.name for one in fields]
    assert info["ogr_types"] == [kinds[one.dtype] for one in fields]
    assert info["ogr_subtypes"] == ["OFSTBoolean" if one.dtype == "boolean" else "OFSTNone" for one in fields]


@pytest.mark.parametrize("name", ["parcels", "roofs"])
def test_every_value_and_outline_reads_back(result: Result, path: Path, name: str) -> None:
    stored, read = result.table(name), pyogrio.read_dataframe(path, layer=name)
    assert read.crs == CRS(PARCELS_CRS if name == "parcels" else ROOFS_CRS)
    assert read.geometry.geom_equals(stored.geometry, align=False).all()
    for one in plain_fields(TABLES[name]):
        assert read[one.name].isna().tolist() == stored[one.name].isna().tolist()
        for found, value in zip(read[one.name].dropna(), stored[one.name].dropna(), strict=True):
            assert found == (value.replace("\x00", "␀") if one.dtype == "string" else value)


@pytest.mark.parametrize(
    "crs",
    [
        "+proj=tmerc +lat_0=41 +lon_0=-58 +k=0.99996 +x_0=500000 +y_0=0 +ellps=clrk66 +units=ft +no_defs",
        "+proj=utm +zone=21 +ellps=intl +towgs84=-87,-98,-121,0,0,0,0 +units=m +no_defs",
        "EPSG:4326",
        "OGC:CRS84",
        "EPSG:2249",
    ],
)
def test_any_coordinate_system_comes_back(tmp_path: Path, crs: str) -> None:
    parcels = parcels_frame(("1 Quay",)).set_crs(crs, allow_override=True)
    made = written_result(tmp_path / "result", parcels)
    write_tables(made, made.folder, ("gpkg",), 1000)
    read = CRS(pyogrio.read_info(made.folder / "harvest.gpkg", layer="parcels")["crs"])
    assert read.equals(CRS(crs), ignore_axis_order=True)
    assert read.axis_info[0].unit_conversion_factor == CRS(crs).axis_info[0].unit_conversion_factor


def test_columns_carry_their_meaning(query: Callable[[str], list[tuple[Any, ...]]]) -> None:
    told = {
        (table, column): (name, meaning)
        for table, column, name, meaning in query(
            "select table_name, column_name, name, description from gpkg_data_columns"
        )
    }
    for table in TABLES.values():
        for one in plain_fields(table):
            assert told[table.name, one.name] == (heading(one), one.meaning)


def test_styles_stand_where_a_gis_looks(
    result: Result, query: Callable[[str], list[tuple[Any, ...]]]
) -> None:
    styles = query(
        "select f_table_name, f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, update_time "
        "from layer_styles"
    )
    figures = result.table("parcels", ["capturable_l_yr"])
    assert styles == [
        ("parcels", "geom", "parcels", None, parcels_sld(figures, "metric"), 1, None),
        ("roofs", "geom", "roofs", None, roofs_sld(), 1, None),
    ]
    columns = query("select table_name, column_name from gpkg_geometry_columns")
    assert columns == [("parcels", "geom"), ("roofs", "geom")]


def test_gdal_keeps_the_clock_it_had(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result", parcels_frame(("1 Quay",)))
    for before in ("2011-11-11T00:00:00.000Z", None):
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
        write_tables(made, made.folder, ("gpkg",), 1000)
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before


def test_without_findings_the_table_is_there(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result", parcels_frame(("1 Quay",)), findings=0)
    write_tables(made, made.folder, ("gpkg",), 1000)
    read = pyogrio.read_dataframe(made.folder / "harvest.gpkg", layer="findings")
    assert len(read) == 0 and list(read.columns) == list(TABLES["findings"].names)


def rules_of(text: str) -> list[ET.Element]:
    root = ET.fromstring(text)
    assert (root.tag, root.get("version")) == (f"{SLD}StyledLayerDescriptor", "1.0.0")
    return root.findall(f"{SLD}NamedLayer/{SLD}UserStyle/{SLD}FeatureTypeStyle/{SLD}Rule")


def passes(test: ET.Element, value: float | None) -> bool:
    """Whether ``value`` passes a filter (OGC 02-059, Filter Encoding 1.0.0), a missing one only where asked for."""
    kind = test.tag.removeprefix(OGC)
    if kind in ("Filter", "And"):
        return all(passes(one, value) for one in test)
    assert test.findtext(f"{OGC}PropertyName") == "capturable_l_yr"
    if kind == "PropertyIsNull":
        return value is None
    literal = float(test.findtext(f"{OGC}Literal") or "")
    compared = {
        "PropertyIsEqualTo": lambda: value == literal,
        "PropertyIsGreaterThan": lambda: value > literal,
        "PropertyIsGreaterThanOrEqualTo": lambda: value >= literal,
        "PropertyIsLessThan": lambda: value < literal,
    }
    return value is not None and compared[kind]()


def fill_of(rule: ET.Element) -> str | None:
    return rule.findtext(f"{SLD}PolygonSymbolizer/{SLD}Fill/{SLD}CssParameter[@name='fill']")


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("kind", ["skewed", "steps", "few", "all zero", "all missing", "one"])
def test_each_parcel_gets_the_colour_of_the_map(kind: str, units: str) -> None:
    draws = np.random.default_rng(5).lognormal(10, 1.2, 500)
    draws[:40], draws[40:60] = 0.0, np.nan
    figures = {
        "skewed": draws,
        "steps": np.arange(1.0, 1001.0),
        "few": np.array([100.0, 100.0, 2000.0, np.nan, 0.0]),
        "all zero": np.zeros(3),
        "all missing": np.full(3, np.nan),
        "one": np.array([5.0]),
    }[kind]
    parcels = pd.DataFrame({"capturable_l_yr": pd.array(figures, dtype="Float64")})
    parcels["capturable_l_yr"] = parcels["capturable_l_yr"].where(~np.isnan(figures))
    on_map = classes_of(parcels, units)
    rules = rules_of(parcels_sld(parcels, units))
    for value, number in zip(figures, on_map.numbers, strict=True):
        chosen = [one for one in rules if passes(one[2], None if np.isnan(value) else float(value))]
        assert len(chosen) == 1
        wanted = {-1: None, 0: "#ffffff"}.get(int(number)) if number < 1 else on_map.colours[number - 1]
        assert fill_of(chosen[0]) == wanted


def test_bounds_are_round_in_the_units_people_read() -> None:
    parcels = pd.DataFrame({"capturable_l_yr": pd.array(np.arange(1.0, 10_002.0), dtype="Float64")})
    metric, us = (rules_of(parcels_sld(parcels, units)) for units in ("metric", "us"))
    assert [fill_of(one) for one in metric[:5]] == list(CLASS_COLOURS)
    assert [one.findtext(f"{SLD}Title", "")[:15] for one in metric[:2]] == [
        "under 2,000 L a",
        "2,000 to 4,000 ",
    ]
    # 2,000 L are 528.3 gal, shown as 530 gal; the layer holds litres, so the filter says 530 gal in litres.
    assert us[0].findtext(f"{SLD}Title", "").startswith("under 530 gal")
    literals = [float(one.text or "") for one in us[0].iter(f"{OGC}Literal")]
    assert literals == pytest.approx([0, 530 * L_PER_GALLON], rel=1e-12)


def test_rules_are_in_the_order_that_the_standard_asks_for(result: Result) -> None:
    for text in (parcels_sld(result.table("parcels", ["capturable_l_yr"]), "us"), roofs_sld()):
        for rule in rules_of(text):
            parts = [part.tag.split("}")[1] for part in rule]
            assert parts == [part for part in RULE_ORDER if part in parts]
            assert [part.tag.split("}")[1] for part in rule[-1]] == ["Fill", "Stroke"]


def test_no_text_from_the_data_is_in_a_style(query: Callable[[str], list[tuple[Any, ...]]]) -> None:
    for (text,) in query("select styleSLD from layer_styles"):
        assert "6*7" not in text and "<script" not in text and "]]>" not in text
        assert not [one for one in HOSTILE if len(one) > 3 and one in text]
        ET.fromstring(text.encode("utf-8"))
