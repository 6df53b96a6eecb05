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
from harvest.show.geopackage import KINDS
from harvest.show.measures import classes_of
from harvest.show.present import tables_of
from harvest.show.rows import heading, plain_fields
from harvest.show.style import parcels_sld, roofs_sld, rounds_sld, sides_sld
from harvest.show.tables import write_tables
from harvest.units import L_PER_GALLON

SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
RULE_ORDER = ["Name", "Title", "Filter", "PolygonSymbolizer", "LineSymbolizer"]
"""OGC 02-070, Styled Layer Descriptor 1.0.0, element Rule: its parts stand in this order."""


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("gpkg") / "result"
    made = written_result(folder, town="<&]]>\x01{{ 6*7 }}", extras=True)
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
    layers = ("parcels", "roofs", "sides", "rounds", "context", "public_cells")
    assert contents == [
        *(
            (
                table.name,
                "features" if table.name in layers else "attributes",
                table.title,
                "2000-01-01T00:00:00.000Z",
            )
            for table in TABLES.values()
        ),
        ("layer_styles", "attributes", "Layer styles", "2000-01-01T00:00:00.000Z"),
    ]
    assert [(name, kind) for name, kind in pyogrio.list_layers(path) if kind is not None] == [
        ("parcels", "MultiPolygon"),
        ("roofs", "MultiPolygon"),
        ("sides", "MultiLineString"),
        ("rounds", "MultiLineString"),
        ("context", "Unknown"),
        ("public_cells", "Unknown"),
    ]
    assert (
        not path.with_name("harvest.gpkg-journal").exists()
        and not path.with_name("harvest.gpkg-wal").exists()
    )


def test_without_optional_tables_there_are_three_and_their_styles(tmp_path: Path) -> None:
    made = written_result(tmp_path / "result")
    write_tables(made, made.folder, ("gpkg",), 1000)
    with closing(sqlite3.connect(made.folder / "harvest.gpkg")) as file:
        names = file.execute("select table_name from gpkg_contents").fetchall()
        styled = file.execute("select f_table_name from layer_styles").fetchall()
    assert sorted(names) == [("findings",), ("layer_styles",), ("parcels",), ("roofs",)]
    assert styled == [("parcels",), ("roofs",)]


def test_every_layer_has_its_type() -> None:
    spatial = {t.name for t in TABLES.values() if any(one.dtype == "geometry" for one in t.fields)}
    assert spatial == set(KINDS)


@pytest.mark.parametrize("name", list(TABLES))
def test_types_are_those_of_the_register(result: Result, path: Path, name: str) -> None:
    info = pyogrio.read_info(path, layer=name)
    kinds = {"string": "OFTString", "float": "OFTReal", "integer": "OFTInteger64", "boolean": "OFTInteger"}
    fields = plain_fields(tables_of(result)[name])
    assert info["fields"].tolist() == [one.name for one in fields]
    assert info["ogr_types"] == [kinds[one.dtype] for one in fields]
    assert info["ogr_subtypes"] == ["OFSTBoolean" if one.dtype == "boolean" else "OFSTNone" for one in fields]


@pytest.mark.parametrize("name", [name for name in TABLES if name != "findings"])
def test_every_value_and_outline_reads_back(result: Result, path: Path, name: str) -> None:
    stored, read = result.table(name), pyogrio.read_dataframe(path, layer=name)
    if "geometry" in stored:
        assert read.crs == CRS(ROOFS_CRS if name == "roofs" else PARCELS_CRS)
        # The second round is walked at one place: a point, and so no line.
        placed = stored.geometry.length.gt(0) | (name == "context")
        assert read.geometry.notna().tolist() == placed.tolist()
        assert read.geometry[placed].geom_equals(stored.geometry[placed], align=False).all()
    for one in plain_fields(tables_of(result)[name]):
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


def test_columns_carry_their_meaning(result: Result, query: Callable[[str], list[tuple[Any, ...]]]) -> None:
    told = {
        (table, column): (name, meaning)
        for table, column, name, meaning in query(
            "select table_name, column_name, name, description from gpkg_data_columns"
        )
    }
    for table in tables_of(result).values():
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
        (
            "sides",
            "geom",
            "sides",
            None,
            sides_sld(result.table("sides", ["worth_l_min"]), "metric"),
            1,
            None,
        ),
        ("rounds", "geom", "rounds", None, rounds_sld(), 1, None),
    ]
    columns = query("select table_name, column_name from gpkg_geometry_columns")
    assert sorted(columns) == [(name, "geom") for name in sorted(KINDS)]


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


def passes(test: ET.Element, value: float | None, name: str = "capturable_l_yr") -> bool:
    """Whether ``value`` passes a filter (OGC 02-059, Filter Encoding 1.0.0), a missing one only where asked for."""
    kind = test.tag.removeprefix(OGC)
    if kind in ("Filter", "And"):
        return all(passes(one, value, name) for one in test)
    assert test.findtext(f"{OGC}PropertyName") == name
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


@pytest.mark.parametrize("units", ["us", "metric"])
def test_sides_are_coloured_by_worth_a_minute(units: str) -> None:
    worth = [*np.arange(1.0, 101.0).tolist(), 0.0, None]
    sides = pd.DataFrame({"worth_l_min": pd.array(worth, dtype="Float64")})
    rules = rules_of(sides_sld(sides, units))
    coloured: dict[str | None, int] = {}
    for value in worth:
        (chosen,) = (one for one in rules if passes(one[2], value, "worth_l_min"))
        strokes = chosen.findall(f"{SLD}LineSymbolizer/{SLD}Stroke")
        colour = strokes[-1].findtext(f"{SLD}CssParameter[@name='stroke']")
        coloured[colour] = coloured.get(colour, 0) + 1
        assert len(strokes) == (2 if value else 1)
    # Five classes of about as many sides, the lightest colour lowest; none and no figure stand apart.
    assert list(coloured)[:5] == list(CLASS_COLOURS) and list(coloured.values())[5:] == [1, 1]
    assert all(15 <= number <= 25 for number in list(coloured.values())[:5])
    first = rules[0].findtext(f"{SLD}Title", "")
    # Quantiles of 1 to 100 L: the first fifth ends at 20.8 L, told as 21 L, which are 5.5 gal.
    assert first == ("under 5.5 gal a minute" if units == "us" else "under 21 L a minute")


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
    areas = (parcels_sld(result.table("parcels", ["capturable_l_yr"]), "us"), roofs_sld())
    lines = (sides_sld(result.table("sides", ["worth_l_min"]), "us"), rounds_sld())
    for text in (*areas, *lines):
        for rule in rules_of(text):
            parts = [part.tag.split("}")[1] for part in rule]
            assert list(dict.fromkeys(parts)) == [part for part in RULE_ORDER if part in parts]
            drawn = [part.tag.split("}")[1] for part in rule[-1]]
            assert drawn == (["Fill", "Stroke"] if text in areas else ["Stroke"])


def test_no_text_from_the_data_is_in_a_style(query: Callable[[str], list[tuple[Any, ...]]]) -> None:
    for (text,) in query("select styleSLD from layer_styles"):
        assert "6*7" not in text and "<script" not in text and "]]>" not in text
        assert not [one for one in HOSTILE if len(one) > 3 and one in text]
        ET.fromstring(text.encode("utf-8"))
