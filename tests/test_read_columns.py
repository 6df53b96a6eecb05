"""Ids, texts, counts, years, marks and exclusions, as they come in real files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from harvest.errors import LayerError
from harvest.project.ranking import Exclude
from harvest.read.columns import texts
from tests.layers_made import checks, footprints, parcels, squares, written


def ids_of(folder: Path, ids: Any, name: str = "a.parquet") -> list[str]:
    written(squares(len(ids), pid=ids), folder, name)
    return parcels(folder, name, id="pid").frame["parcel_id"].tolist()


def test_ids_keep_leading_zeros(tmp_path: Path) -> None:
    assert ids_of(tmp_path, ["007", "7", "0007", "A-7"]) == ["007", "7", "0007", "A-7"]


def test_numbers_stored_as_floats_lose_their_point(tmp_path: Path) -> None:
    assert ids_of(tmp_path, [123.0, 7.0, 1e15, 2.5]) == ["123", "7", "1000000000000000", "2.5"]


def test_ids_of_mixed_types_in_a_geojson(tmp_path: Path) -> None:
    """A JSON layer whose ids are texts in some rows and numbers in others."""
    written(squares(3).to_crs(4326), tmp_path, "a.geojson")
    text = (tmp_path / "a.geojson").read_text().replace('"0002"', "2").replace('"0003"', "3.0")
    (tmp_path / "a.geojson").write_text(text)
    ids = parcels(tmp_path, "a.geojson", id="pid").frame["parcel_id"].tolist()
    assert ids[:2] == ["0001", "2"]
    assert ids[2] in ("3", "3.0")


def test_ids_are_stripped(tmp_path: Path) -> None:
    assert ids_of(tmp_path, [" 12 ", "13\t", "14"]) == ["12", "13", "14"]


@pytest.mark.parametrize("name", ["a.parquet", "a.gpkg", "a.shp", "a.fgb"])
def test_repeated_ids_are_kept_and_told(tmp_path: Path, name: str) -> None:
    ids = ["a", "b", "a", "a~2", "a", "b"]
    frame = squares(6, pid=ids)
    frame.to_file(tmp_path / name, SPATIAL_INDEX="NO") if name == "a.fgb" else written(frame, tmp_path, name)
    layer = parcels(tmp_path, name, id="pid")
    assert layer.frame["parcel_id"].tolist() == ["a", "b", "a~3", "a~2", "a~4", "b~2"]
    assert layer.account.rows_out == 6
    assert checks(layer) == {"id repeated": 2}
    assert layer.findings[0].first == ("a", "b")


def test_missing_ids_are_called_by_their_row(tmp_path: Path) -> None:
    written(squares(5, pid=["a", None, "", "nan", "row 2"]), tmp_path, "a.parquet")
    layer = parcels(tmp_path, "a.parquet", id="pid")
    assert layer.frame["parcel_id"].tolist() == ["a", "row 2", "row 3", "row 4", "row 2~2"]
    assert checks(layer) == {"id missing": 3, "id repeated": 1}


@pytest.mark.parametrize("name", ["a.parquet", "a.gpkg", "a.shp", "a.geojson", "a.fgb"])
def test_id_column_that_does_not_exist(tmp_path: Path, name: str) -> None:
    written(squares(3, PARCEL_ID=["a", "b", "c"], USE=["x", "y", "z"]), tmp_path, name)
    with pytest.raises(LayerError, match=r"no column 'parcel' \(id in the project file\)"):
        parcels(tmp_path, name, id="parcel")
    with pytest.raises(LayerError, match="did you mean 'PARCEL_ID'"):
        parcels(tmp_path, name, id="parcelid")
    with pytest.raises(LayerError, match="there are PARCEL_ID, USE"):
        parcels(tmp_path, name, id="zzz")


@pytest.mark.parametrize(
    ("key", "read"),
    [
        ("kind", footprints),
        ("gutter", footprints),
        ("land_use", parcels),
        ("doors", parcels),
        ("built_year", parcels),
    ],
)
def test_other_columns_that_do_not_exist(tmp_path: Path, key: str, read: Any) -> None:
    written(squares(), tmp_path)
    with pytest.raises(LayerError, match=rf"no column 'nope' \({key} in the project file\)"):
        read(tmp_path, "parcels.gpkg", **{key: "nope"})


def test_one_of_several_address_columns_does_not_exist(tmp_path: Path) -> None:
    written(squares(2, number=["1", "2"], street=["A", "B"]), tmp_path)
    with pytest.raises(LayerError, match=r"no column 'stret'.*did you mean 'street'"):
        parcels(tmp_path, "parcels.gpkg", address=["number", "stret"])


def test_address_from_several_columns(tmp_path: Path) -> None:
    columns = {
        "number": [12.0, np.nan, 7.0, np.nan],
        "street": [" Quay  Row", "Hill Lane", None, None],
        "unit": ["2", "", "B", "nan"],
    }
    written(squares(4, **columns), tmp_path, "a.parquet")
    layer = parcels(tmp_path, "a.parquet", address=["number", "street", "unit"])
    assert layer.frame["address"].fillna("-").tolist() == ["12 Quay Row 2", "Hill Lane", "7 B", "-"]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (["a ", "", "nan", "NaN", None, "<Null>"], ["a", None, None, None, None, None]),
        ([1, 2, -3], ["1", "2", "-3"]),
        ([1.0, 2.5, np.nan, np.inf], ["1", "2.5", None, "inf"]),
        ([True, False, True], ["true", "false", "true"]),
        (pd.array([1, None], dtype="Int64"), ["1", None]),
        (pd.array([True, None], dtype="boolean"), ["true", None]),
        (pd.Categorical(["x", "y", None, "x"]), ["x", "y", None, "x"]),
        (pd.to_datetime(["2024-03-05", None]), ["2024-03-05 00:00:00", None]),
        (pd.Series(["a", 7, 7.0, b"caf\xc3\xa9", None], dtype=object), ["a", "7", "7", "café", None]),
    ],
)
def test_texts(values: Any, expected: list[str | None]) -> None:
    found = texts(pd.Series(values))
    assert found.dtype == "str"
    assert [None if pd.isna(one) else one for one in found] == expected


def test_door_counts(tmp_path: Path) -> None:
    written(squares(6, units=["2", "", "-1", "two", "2.5", "0"]), tmp_path, "a.parquet")
    layer = parcels(tmp_path, "a.parquet", doors="units")
    assert layer.frame["door_count"].tolist() == [2, 1, 1, 1, 1, 0]
    assert layer.frame["door_count"].dtype == "Int64"
    assert checks(layer) == {"door count unfit": 3}
    assert layer.findings[0].first == ("row 3", "row 4", "row 5")
    assert "'-1', 'two', '2.5'" in layer.findings[0].message


def test_door_counts_as_numbers(tmp_path: Path) -> None:
    written(squares(4, units=[2.0, np.nan, -4.0, 1e300]), tmp_path, "a.parquet")
    layer = parcels(tmp_path, "a.parquet", doors="units")
    assert layer.frame["door_count"].tolist() == [2, 1, 1, 1]
    assert checks(layer) == {"door count unfit": 2}
    written(squares(3, units=[2, -4, 0]), tmp_path, "b.parquet")
    layer = parcels(tmp_path, "b.parquet", doors="units")
    assert layer.frame["door_count"].tolist() == [2, 1, 0]
    assert checks(layer) == {"door count unfit": 1}


def test_built_years(tmp_path: Path) -> None:
    written(squares(6, built=["1987", "0", "", "c. 1900", "87", "2021.0"]), tmp_path, "a.parquet")
    layer = parcels(tmp_path, "a.parquet", built_year="built")
    years = layer.frame["built_year"]
    assert years.dtype == "Int64"
    assert years.fillna(-1).tolist() == [1987, -1, -1, -1, -1, 2021]
    assert checks(layer) == {"built year unfit": 2}


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (["Yes", "no", "Y", "f", "", "TRUE"], [True, False, True, False, None, True]),
        ([1, 0, 1, 0, 1, 1], [True, False, True, False, True, True]),
        ([1.0, 0.0, np.nan, 1.0, 0.0, 0.0], [True, False, None, True, False, False]),
        ([True, False, True, False, True, True], [True, False, True, False, True, True]),
    ],
)
def test_gutter_marks(tmp_path: Path, values: list[Any], expected: list[bool | None]) -> None:
    written(squares(6, gutter=values), tmp_path, "a.parquet")
    layer = footprints(tmp_path, "a.parquet", gutter="gutter")
    found = layer.frame["gutter"]
    assert found.dtype == "boolean"
    assert [None if pd.isna(one) else bool(one) for one in found] == expected
    assert layer.findings == ()


def test_gutter_marks_that_mean_nothing(tmp_path: Path) -> None:
    written(squares(3, gutter=["yes", "maybe", "7"]), tmp_path, "a.parquet")
    layer = footprints(tmp_path, "a.parquet", gutter="gutter")
    assert checks(layer) == {"gutter mark unknown": 2}
    assert layer.findings[0].first == ("row 2", "row 3")
    assert layer.frame["gutter"].isna().tolist() == [False, True, True]


def excluded(folder: Path, *rules: Exclude, **columns: Any) -> Any:
    columns = columns or {"pid": ["01", "02", "02", "03"], "use": [5, 5, 7, 8]}
    written(squares(4, **columns), folder, "a.parquet")
    return parcels(folder, "a.parquet", list(rules), id="pid")


def test_exclusions_by_id_and_by_column_the_first_one_counts(tmp_path: Path) -> None:
    layer = excluded(
        tmp_path,
        Exclude(reason="historic", parcels=["02"]),
        Exclude(reason="industry", column="use", values=["5", " 8"]),
    )
    reasons = layer.frame["exclusion_reason"]
    assert reasons.dtype == "str"
    assert reasons.tolist() == ["industry", "historic", "historic", "industry"]
    assert layer.frame["parcel_id"].tolist() == ["01", "02", "02~2", "03"]
    assert checks(layer) == {"id repeated": 1}


def test_exclusion_that_meets_nothing(tmp_path: Path) -> None:
    layer = excluded(
        tmp_path,
        Exclude(reason="church", column="use", values=["church"]),
        Exclude(reason="gone", parcels=["1"]),
        Exclude(reason="some", parcels=["01", "99"]),
    )
    assert layer.frame["exclusion_reason"].isna().tolist() == [False, True, True, True]
    by_check = [(one.check, one.first) for one in layer.findings if one.check.startswith("exclusion")]
    assert by_check == [
        ("exclusion meets nothing", ("church",)),
        ("exclusion meets nothing", ("1",)),
        ("exclusion names unknown parcels", ("99",)),
    ]


def test_exclusion_by_a_column_that_does_not_exist(tmp_path: Path) -> None:
    with pytest.raises(LayerError, match=r"no column 'usage' \(\[\[exclude\]\] column.*did you mean 'use'"):
        excluded(tmp_path, Exclude(reason="industry", column="usage", values=["5"]))


def test_same_column_for_several_settings(tmp_path: Path) -> None:
    written(squares(2, pid=["1", "2"]), tmp_path)
    frame = parcels(tmp_path, "parcels.gpkg", id="pid", address=["pid", "pid"], land_use="pid").frame
    assert frame["address"].tolist() == ["1 1", "2 2"]
    assert frame["land_use"].tolist() == ["1", "2"]
