"""Street names made alike, and addresses taken apart.

Forms of addresses are common practice, collected from memory: no published list is followed.
"""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harvest.place.addresses import address_parts
from harvest.place.named_streets import named
from harvest.place.street_names import name_parts, normal_name
from harvest.place.street_words import KINDS, TYPES

ALIKE = [
    ("North Main Street", "N. Main St", "n main street", "NORTH  MAIN  STR"),
    ("Saint Johns Road", "St Johns Rd", "St. John's Road", "ST JOHN’S RD."),
    ("Johns Street", "Johns St", "John's St."),
    ("First Avenue", "1st Ave", "1ST AV", "1 Avenue"),
    ("Twenty-Second Street", "22nd St", "22 STREET"),
    ("Main Street North", "Main St N", "Main St. No."),
    ("Northwest 5th Court", "N.W. 5 Ct", "NW Fifth Court", "North-West 5th Ct"),
    ("Mount Vernon Boulevard", "Mt Vernon Blvd", "Mt. Vernon Bd"),
    ("Östra Gatan", "Ostra gatan", "ÖSTRA GATAN"),
    ("O'Brien Lane", "OBrien Ln", "O’Brien La".replace(" La", " Ln")),
    ("Avenue Saint-Laurent", "Av. St Laurent", "AVE ST-LAURENT"),
    ("Hauptstraße", "Hauptstr.", "HAUPTSTRASSE"),
    ("Old Saint Marys Way", "Old St Marys Wy"),
    ("Doctor Elm Drive", "Dr Elm Dr"),
]
APART = [
    ("E Street", "East Street"),
    ("Avenue E", "Avenue East"),
    ("Oak Street", "Oak Avenue"),
    ("North Main Street", "South Main Street"),
    ("1st Street", "11th Street"),
    ("Saint Street", "Street"),
]


@pytest.mark.parametrize("forms", ALIKE, ids=lambda forms: forms[0])
def test_forms_of_one_name(forms: tuple[str, ...]) -> None:
    assert len(set(normal_name(pd.Series(forms)))) == 1, normal_name(pd.Series(forms)).tolist()


@pytest.mark.parametrize("forms", APART, ids=lambda forms: forms[0])
def test_names_that_differ(forms: tuple[str, str]) -> None:
    assert normal_name(pd.Series(forms)).nunique() == 2


def test_no_name() -> None:
    names = pd.Series([None, "", "  ", "Unnamed", "N/A", "Oak"], index=[7, 5, 3, 2, 1, 0], dtype="str")
    made = normal_name(names)
    assert made.isna().tolist() == [True] * 5 + [False]
    assert made.index.tolist() == names.index.tolist()
    assert normal_name(pd.Series([], dtype="str")).empty


def test_a_name_made_alike_stays_as_it_is() -> None:
    names = pd.Series([one for forms in (*ALIKE, *APART) for one in forms])
    once = normal_name(names)
    pd.testing.assert_series_equal(normal_name(once), once)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.text(max_size=30), max_size=20))
def test_each_name_stands_for_itself(texts: list[str]) -> None:
    names = pd.Series(texts, dtype="str")
    made = normal_name(names)
    pd.testing.assert_series_equal(normal_name(names[::-1])[::-1], made)
    pd.testing.assert_series_equal(normal_name(names[:1]), made[:1])


def test_every_short_form_at_the_end_means_its_word() -> None:
    short = pd.Series([f"Quince {one}" for one in TYPES])
    full = pd.Series([f"Quince {one}" for one in TYPES.values()])
    assert (normal_name(short) == normal_name(full)).all()
    assert set(TYPES.values()) <= KINDS


def test_parts_of_names() -> None:
    names = pd.Series(
        ["N Main St", "Main St N", "North Street", "E Main", "Rue Grimaldi", "Broadway", "Av de la Costa"]
    )
    parts = name_parts(normal_name(names)).agg("|".join, axis=1)
    assert parts.tolist() == [
        "main|street|north", "main|street|north", "north|street|", "main||east", "grimaldi|rue|", "broadway||",
        "de la costa|avenue|",
    ]  # fmt: skip


def test_what_a_name_can_mean() -> None:
    """A street that bears the name whole goes before those that only may."""
    layer = ("elm avenue", "elm street", "north oak street", "oak street")
    names = pd.Series(["Oak St", "Elm", "Oak", "N Oak", "Elm Rd", None, "Ash"], dtype="str")
    said = named(names, layer)
    means = [[layer[s] for s in range(4) if said.agrees(*_at(n, s))[0]] for n in range(7)]
    assert means == [
        ["oak street"], ["elm avenue", "elm street"], ["north oak street", "oak street"],
        ["north oak street", "oak street"], [], [], [],
    ]  # fmt: skip
    assert said.in_layer.tolist() == [True, True, True, True, False, False, False]
    assert not named(names, ()).in_layer.any()


def _at(name: int, street: int) -> tuple[pd.Index, pd.Index]:
    return pd.Index([name]).to_numpy(), pd.Index([street]).to_numpy()


ADDRESSES = {
    "12 Oak Street": (12, None, None, "Oak Street", None),
    "12A Oak Street": (12, None, "A", "Oak Street", None),
    "12 A Oak Street": (12, None, "A", "Oak Street", None),
    "12-A Oak St": (12, None, "A", "Oak St", None),
    "12 E Oak Street": (12, None, None, "E Oak Street", None),
    "12 C Street": (12, None, None, "C Street", None),
    "12-14 Oak St": (12, 14, None, "Oak St", None),
    "12 – 14 Oak St": (12, 14, None, "Oak St", None),
    "12 & 14 Oak St": (12, 14, None, "Oak St", None),
    "12A-12C Oak St": (12, None, "A", "Oak St", None),
    "1201-03 Oak St": (1201, 1203, None, "Oak St", None),
    "37-12 45th Street": (3712, None, None, "45th Street", None),
    "8-02 Main St": (802, None, None, "Main St", None),
    "12½ Oak St": (12, None, "½", "Oak St", None),
    "12 1/2 Oak St": (12, None, "½", "Oak St", None),
    "12 bis Rue Grimaldi": (12, None, "BIS", "Rue Grimaldi", None),
    "Oak Street": (None, None, None, "Oak Street", None),
    "1st Street": (None, None, None, "1st Street", None),
    "2 1st Street": (2, None, None, "1st Street", None),
    "350 5 AVENUE": (350, None, None, "5 AVENUE", None),
    "0 Oak Street": (None, None, None, "Oak Street", None),
    "0012  Oak   St": (12, None, None, "Oak St", None),
    "No. 12 Oak St": (12, None, None, "Oak St", None),
    "12": (12, None, None, None, None),
    "Oak Road 12": (12, None, None, "Oak Road", None),
    "Oak Road 12A": (12, None, "A", "Oak Road", None),
    "Oak Road 12-14": (12, 14, None, "Oak Road", None),
    "Koivutie 12 A 5": (12, None, "A", "Koivutie", "5"),
    "21st Street 12": (12, None, None, "21st Street", None),
    "Route 9": (None, None, None, "Route 9", None),
    "12 Route 9": (12, None, None, "Route 9", None),
    "12, Oak Road, Town": (12, None, None, "Oak Road", None),
    "Oak Road, 12": (12, None, None, "Oak Road", None),
    "Rue Grimaldi, 98000 Monaco": (None, None, None, "Rue Grimaldi", None),
    "Oak Road, Dublin 4": (None, None, None, "Oak Road", None),
    "Mill House, 12 Oak Road": (12, None, None, "Oak Road", None),
    "Kaivopiha, Mannerheimintie 3": (3, None, None, "Mannerheimintie", None),
    "Flat 3, 12 Oak Road": (12, None, None, "Oak Road", "3"),
    "12B Oak Street, Unit 3, Pellwick": (12, None, "B", "Oak Street", "3"),
    "12 Oak Street Unit 3": (12, None, None, "Oak Street", "3"),
    "12 Oak Street #3": (12, None, None, "Oak Street", "3"),
    "12 Oak St. Apt 3B": (12, None, None, "Oak St", "3B"),
    "9 Row Unit A": (9, None, None, "Row", "A"),
    "12 Oak St Rear": (12, None, None, "Oak St", "Rear"),
    "12 Rue Ste Anne": (12, None, None, "Rue Ste Anne", None),
    "": (None, None, None, None, None),
}  # fmt: skip


def test_addresses_taken_apart() -> None:
    parts = address_parts(pd.Series(list(ADDRESSES), dtype="str"))
    plain = parts.astype(object).where(parts.notna(), None)
    found = dict(zip(ADDRESSES, plain.itertuples(index=False, name=None), strict=True))
    assert found == ADDRESSES
    assert parts.dtypes.astype(str).tolist() == ["Int64", "Int64", "str", "str", "str"]


def test_addresses_keep_their_index_and_missing_ones_stay_missing() -> None:
    addresses = pd.Series(["3 Oak Rd", None, "1 Oak Rd", "3 Oak Rd"], index=["d", "a", "c", "b"], dtype="str")
    parts = address_parts(addresses)
    assert parts.index.tolist() == ["d", "a", "c", "b"]
    assert parts["number"].fillna(-1).tolist() == [3, -1, 1, 3]
    assert parts.loc["a"].isna().all()
    assert address_parts(addresses[:0]).empty


def test_columns_joined_by_the_reader_are_parsed_as_one() -> None:
    """Number, letter and street in three columns reach us as "12 A Oak Street"."""
    assert address_parts(pd.Series(["12 A Oak Street"]))["suffix"].tolist() == ["A"]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.text(max_size=40), max_size=20))
def test_no_text_stops_the_parser(texts: list[str]) -> None:
    parts = address_parts(pd.Series(texts, dtype="str"))
    assert len(parts) == len(texts)
    assert (parts["number"].dropna() > 0).all()
    assert (parts["number_to"] > parts["number"]).dropna().all()


def test_long_text_is_parsed_quickly() -> None:
    assert len(address_parts(pd.Series(["12 " + "a b " * 50_000, "9" * 100_000, "a1 " * 50_000]))) == 3
