"""The register: every field declared fully, every table checked when it is handed over."""

from __future__ import annotations

import pandas as pd
import pytest

from harvest.errors import FieldError
from harvest.fields import CONTEXT, PARCELS, PUBLIC, SIDES, TABLES, Field, Table
from harvest.fields.register import register, unit_of_name


def every_field() -> list[tuple[str, Field]]:
    return [(f"{table.name}.{field.name}", field) for table in TABLES.values() for field in table.fields]


@pytest.mark.parametrize(
    ("name", "field"), every_field(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_every_field_is_declared_fully(name: str, field: Field) -> None:
    assert field.label, name
    assert field.meaning.endswith("."), name
    if field.dtype in ("float", "integer"):
        assert field.unit == (unit_of_name(field.name) or "1"), name
        assert field.minimum is not None or name == "parcels.rank_score"


def test_a_quantity_without_a_unit_cannot_be_declared() -> None:
    with pytest.raises(FieldError, match="the name says 'L'"):
        Field("storm_l", "float", "Storm", "One storm.")
    with pytest.raises(FieldError, match="unit is 'm²'"):
        Field("roof", "float", "Roof", "A roof.", unit="m²")


def test_what_names_people_is_never_published() -> None:
    of_no_home = {f"{table.name}.{name}" for table in (CONTEXT, PUBLIC) for name in table.names}
    published = {name for name, field in every_field() if field.published} - of_no_home
    for private in ("parcel_id", "address", "roof_id", "reason", "geometry", "status"):
        assert not [name for name in published if name.endswith(f".{private}")]


def test_the_public_edition_is_made_of_published_fields_only() -> None:
    """Of parcels and sides only what may be published; the line of a street is in the town's own street layer."""
    assert all(field.published for field in PUBLIC.fields)
    known = [field for table in (PARCELS, SIDES) for field in table.fields]
    private = {field.name for field in known} - {field.name for field in known if field.published}
    assert set(PUBLIC.names) & private == {"geometry"}


TABLE = Table(
    "things",
    "Things",
    "For this test.",
    ("id",),
    (
        Field("id", "string", "Id", "Its id."),
        Field("area_m2", "float", "Area", "Its area.", unit="m²", minimum=0, maximum=10, nullable=True),
        Field("colour", "string", "Colour", "Its colour.", nullable=True, allowed=("red", "blue")),
    ),
)


def things(**columns: list) -> pd.DataFrame:
    plain = {"area_m2": [1.0, None], "id": ["a", "b"], "colour": ["red", None]}
    return pd.DataFrame({**plain, **columns}).astype({"id": "str", "colour": "str"})


def test_a_table_comes_out_in_register_order() -> None:
    assert list(TABLE.checked(things()).columns) == ["id", "area_m2", "colour"]


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"area_m2": [-1.0, 2.0]}, "area_m2 is below 0"),
        ({"area_m2": [11.0, 2.0]}, "area_m2 is above 10"),
        ({"area_m2": ["1", "2"]}, "not float"),
        ({"id": ["a", "a"]}, "id repeats"),
        ({"id": ["a", None]}, "id is missing"),
        ({"colour": ["green", None]}, "is none of"),
        ({"extra": [1, 2]}, "not in register"),
    ],
)
def test_a_table_that_breaks_its_register_cannot_leave(columns: dict[str, list], message: str) -> None:
    with pytest.raises(FieldError, match=message):
        TABLE.checked(things(**columns))
    with pytest.raises(FieldError, match="missing"):
        TABLE.checked(things().drop(columns="colour"))


def test_a_table_is_registered_once() -> None:
    with pytest.raises(FieldError, match="twice"):
        register([TABLE, TABLE])
