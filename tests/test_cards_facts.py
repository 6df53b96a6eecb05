"""What a door card says and draws, from figures that are round by design."""

from __future__ import annotations

import re
from dataclasses import asdict, fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from card_result import BARREL_FIGURES, FIGURES, house, lot, parcel, result_in, roofs_of

from harvest.fields.parcels import NO_FOOTPRINT, NO_ROOF, RANKED, STATUSES, UNIT
from harvest.show.card import Card, Deck, deck
from harvest.show.card_drawing import HEIGHT, WIDTH, Ring, drawing
from harvest.show.card_texts import one_line
from harvest.show.words.cards import CARD_WORDS, CARE, CAUTIONS, CHECKS, told
from harvest.units import M_PER_FOOT


def texts_of(value: Any) -> list[str]:
    """Every text inside ``value``."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [text for one in value.values() for text in texts_of(one)]
    return [text for one in value for text in texts_of(one)] if isinstance(value, list | tuple) else []


def plain(value: Any) -> Any:
    """``value`` with ordinary blanks in all its texts for those at which a line must not break."""
    if isinstance(value, str):
        return value.replace("\u00a0", " ")
    if isinstance(value, list | tuple):
        return type(value)(plain(one) for one in value)
    if isinstance(value, dict):
        return {name: plain(one) for name, one in value.items()}
    if is_dataclass(value):
        return type(value)(**{one.name: plain(getattr(value, one.name)) for one in fields(value)})
    return value


def only(folder: Path, units: str = "us", days: str = "daily gauge", **changed: Any) -> tuple[Deck, Card]:
    """The deck of one parcel with ``changed`` figures, and its card."""
    made = deck(
        result_in(folder, [parcel(0, "H1", "12 Alder Street", **changed)], units=units, days=days), ["H1"]
    )
    return plain(made), plain(made.cards[0])


def test_a_card_in_us_units(tmp_path: Path) -> None:
    made, card = only(tmp_path)
    assert made.over == "What your roof and a rain barrel could do, Pellwick"
    assert made.paper == "us-letter"
    assert (card.address, card.parcel, card.notes) == ("12 Alder Street", "Parcel H1", [])
    assert [(one.label, one.figure, one.share) for one in card.levels] == [
        ("Sheds", "20,000 gal", 1.0),
        ("Capturable", "9,000 gal", 0.45),
        ("Used", "200 gal", 0.01),
    ]
    assert card.levels[1].means == "of that, off guttered roofs, April 15 to October 31"
    assert card.levels[2].means == "of that, given to the garden by 1 barrel"
    assert card.ranges == [
        ("Used, how sure:", "150 to 260 gal a year. It hangs most on how often people draw."),
        ("Used, by weather:", "140 gal in a poor year, 250 gal in a good one."),
    ]
    storm, barrels, garden = card.parts
    assert (storm.figure, storm.means) == (
        "120 gal",
        "reach one downspout, of 500 gal off the whole roof, when 1 in of rain falls",
    )
    assert storm.lines[0].startswith(
        "An empty 55 gal barrel there is full after about 12 minutes of steady rain at"
    )
    assert "does not prevent flooding" in storm.lines[0]
    assert "takes less than 1% of the first inch" in storm.lines[1]
    assert (barrels.figure, barrels.means) == ("1 barrel", "of 55 gal, filled about 7 times a year")
    assert "has 3 downspouts, and 2 can take a barrel" in barrels.lines[0]
    assert "Each drains about 460 ft²" in barrels.lines[0]
    assert barrels.lines[1:] == ["One more barrel would add about 30 gal a year."]
    assert (garden.figure, garden.means) == ("12 of 15 weeks", "of watering are served in full")
    assert "a garden of 150 ft², watered twice a week in 50% of the weeks" in garden.lines[0]
    assert garden.lines[1] == (
        "Saves $1.23 to $2.50 a year on the water bill. Costs about $70, any rebate taken off. "
        "It does not pay back in money."
    )


def test_a_card_in_metric_units(tmp_path: Path) -> None:
    made, card = only(tmp_path, "metric")
    assert made.paper == "a4"
    assert [one.figure for one in card.levels] == ["76,000 L", "34,000 L", "760 L"]
    assert card.levels[1].means == "of that, off guttered roofs, 15 April to 31 October"
    assert "of 208 L, filled" in card.parts[1].means
    assert "about 43 m²" in card.parts[1].lines[0]
    assert "when 25.4 mm of rain falls" in card.parts[0].means
    checks, care, cautions = (items for _, items in made.lists)
    assert any("bears 210 kg" in item for item in checks)
    assert any("1.5 mm" in item for item in care)
    assert any("weighs 210 kg" in item for item in cautions)
    assert not any(unit in text for text in texts_of(asdict(made)) for unit in (" gal", " ft", " lb"))


def test_weight_and_mesh_are_those_of_published_guides(tmp_path: Path) -> None:
    """55 gal at 8.34 lb a gallon are 458.7 lb (Lancaster, Rainwater Harvesting for Drylands, appendix 3);
    1/16-in mesh (Marin/Sonoma Mosquito and Vector Control District); overflow 10 ft from the house (Texas practice
    and Portland's rules, as quoted); briquettes every four to seven weeks (common practice, no source)."""
    made, _ = only(tmp_path)
    checks, care, cautions = (" ".join(items) for _, items in made.lists)
    assert "bears 460 lb for each full barrel" in checks
    assert "10 ft or more from the house" in checks
    assert "mesh of 1/16 in" in care
    assert "four to seven weeks" in care
    assert "weighs 460 lb" in cautions


def test_what_must_stand_on_every_card(tmp_path: Path) -> None:
    made, _ = only(tmp_path)
    checks, care, cautions = (items for _, items in made.lists)
    assert [len(checks), len(care), len(cautions)] == [len(CHECKS), len(CARE), len(CAUTIONS)]
    for word in ("overflow", "basement", "level and firm", "falls away", "asbestos", "downspout"):
        assert word in " ".join(checks)
    for word in ("Never drink", "Never join", "soil, not the leaves", "children", "Local code comes first"):
        assert word in " ".join(cautions)
    assert "does not mean that a home is not eligible" in made.foot[0]
    assert "Roofs as mapped in 2023" in made.foot[1]


@pytest.mark.parametrize("name", [name for name in FIGURES if name != "catchment_area_m2"])
@pytest.mark.parametrize("value", [None, 0])
def test_a_missing_or_zero_figure_never_shows_as_such(tmp_path: Path, name: str, value: object) -> None:
    if value == 0 and isinstance(FIGURES[name], str):
        value = None
    made, _ = only(tmp_path, **{name: value})
    for text in texts_of(asdict(made)):
        assert not {"nan", "NaN", "<NA>", "None", "inf"} & set(
            re.split(r"[ $]", text.replace("None suggested", ""))
        ), text
        assert "{" not in text


def test_without_days_only_the_year_of_use_is_missing(tmp_path: Path) -> None:
    _, card = only(tmp_path, suggested_barrels=None, **dict.fromkeys(BARREL_FIGURES))
    assert [one.figure for one in card.levels] == ["20,000 gal", "9,000 gal", "–"]
    assert card.ranges == []
    assert card.parts[0].figure == "120 gal"
    assert [part.figure for part in card.parts[1:]] == ["–", "–"]


def test_without_a_garden_no_barrel_is_suggested(tmp_path: Path) -> None:
    _, card = only(
        tmp_path, garden_m2=0.0, suggested_barrels=0, **dict.fromkeys(BARREL_FIGURES) | {"yield_l_yr": 0.0}
    )
    assert card.levels[2].figure == "0 gal"
    assert card.parts[1].figure == "None suggested"
    assert "No garden is counted" in card.parts[1].lines[0]
    assert card.parts[2].means == "No garden to serve is counted here."


def test_without_a_gutter_the_storm_is_the_whole_roofs(tmp_path: Path) -> None:
    gone = [
        "barrel_roof_id",
        "storm_downspout_l",
        "fill_min",
        "downspout_count",
        "barrel_places",
        "served_area_m2",
    ]
    _, card = only(tmp_path, suggested_barrels=0, yield_l_yr=0.0, **dict.fromkeys(gone))
    assert card.parts[0].figure == "500 gal"
    assert card.parts[0].means == "run off the whole roof when 1 in of rain falls"
    assert "no roof here counts as having a gutter" in card.parts[1].lines[0]
    assert card.drawing is not None and not any(roof.barrel for roof in card.drawing.roofs)


def test_without_a_price_it_says_so(tmp_path: Path) -> None:
    gone = dict.fromkeys(["saving_low_usd_yr", "saving_high_usd_yr", "payback"])
    _, card = only(tmp_path, **gone)
    assert (
        card.parts[2]
        .lines[1]
        .startswith("Savings are not worked out: no water price was given. Costs about $70")
    )


def test_invented_days_are_marked(tmp_path: Path) -> None:
    _, card = only(tmp_path, days="made up from monthly normals")
    assert card.notes == [CARD_WORDS["note_days"]]
    _, unused = only(tmp_path, days="made up from monthly normals", yield_l_yr=None)
    assert unused.notes == []


@pytest.mark.parametrize("status", sorted(set(STATUSES) - {RANKED, "excluded"}))
def test_every_status_but_ranked_is_told(tmp_path: Path, status: str) -> None:
    _, card = only(tmp_path, status=status)
    assert card.notes == [CARD_WORDS[f"note_{status}"]]


def test_a_gift_and_a_single_figure(tmp_path: Path) -> None:
    _, card = only(tmp_path, net_cost_usd=0.0, saving_low_usd_yr=12.2, saving_high_usd_yr=12.4)
    assert card.parts[2].lines[1].startswith("Saves about $12 a year on the water bill. Costs nothing once")


def test_more_barrels_than_places_stand_side_by_side(tmp_path: Path) -> None:
    _, card = only(
        tmp_path, suggested_barrels=2, barrel_places=1, yield_3_barrels_l_yr=FIGURES["yield_2_barrels_l_yr"]
    )
    assert card.parts[1].figure == "2 barrels"
    assert card.parts[1].lines[1:] == [
        "Barrels beyond that number stand side by side, joined near the bottom.",
        "One more barrel would add next to nothing.",
    ]


def test_what_a_value_holds_is_not_filled_in_again() -> None:
    assert told("title", town="{town} {count}") == "Door cards for {town} {count}"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("  two\r\nlines\t and\u2028more ", "two lines and more"),
        ("zero \x00 byte", "zero ␀ byte"),
        ("turned \u202eback", "turned back"),
        ("x" * 70, "x" * 64 + "…"),
    ],
)
def test_texts_from_outside_stand_on_one_line(text: str, shown: str) -> None:
    assert one_line(text, 64) == shown


def area(rings: list[Ring]) -> float:
    whole = shapely.Polygon()
    for ring in rings:
        whole = whole.symmetric_difference(shapely.Polygon(ring))
    return float(whole.area)


def test_the_drawing_is_to_scale_and_north_up(tmp_path: Path) -> None:
    _, card = only(tmp_path)
    drawn = card.drawing
    assert drawn is not None
    feet = float(drawn.bar_text.removesuffix(" ft"))
    points_a_metre = drawn.bar / (feet * M_PER_FOOT)
    assert area(drawn.parcel) == pytest.approx(800 * points_a_metre**2, rel=2e-3)
    outline = np.array(drawn.parcel[0])
    assert np.ptp(outline[:, 1]) == pytest.approx(2 * np.ptp(outline[:, 0]), rel=2e-3)
    own, shed = (next(one for one in drawn.roofs if one.barrel is kind) for kind in (True, False))
    assert area(own.rings) == pytest.approx(80 * points_a_metre**2, rel=5e-3)
    assert np.mean(shed.rings[0], axis=0)[1] < np.mean(own.rings[0], axis=0)[1], (
        "the shed lies north of the house"
    )
    assert np.mean(shed.rings[0], axis=0)[0] > np.mean(own.rings[0], axis=0)[0], (
        "the shed lies east of the house"
    )
    assert outline.min() >= 0 and (outline.max(axis=0) <= (WIDTH, HEIGHT)).all()


def test_a_divided_roof_is_marked_on_this_parcel_only(tmp_path: Path) -> None:
    rows = [parcel(0, "H1", "1 Row", barrel_roof_id="row"), parcel(1, "H2", "2 Row", barrel_roof_id="row")]
    across = shapely.box(14, 10, 26, 20)
    half = {
        "placement": "divided",
        "parcel_share": 0.5,
        "roof_area_m2": 120.0,
        "geometry": across,
        "roof_id": "row",
    }
    roofs = [roofs_of(rows)[0] | half | {"parcel_id": name} for name in ("H1", "H2")]
    drawn = deck(result_in(tmp_path, rows, roofs), ["H2"]).cards[0].drawing
    assert drawn is not None
    assert {roof.barrel for roof in drawn.roofs} == {True, False}
    mine = next(roof for roof in drawn.roofs if roof.barrel)
    rest = next(roof for roof in drawn.roofs if not roof.barrel)
    assert area(mine.rings) / area(drawn.parcel) == pytest.approx(60 / 800, rel=1e-2)
    assert max(x for x, _ in rest.rings[0]) == pytest.approx(min(x for x, _ in mine.rings[0]), abs=0.2)


def test_a_court_stays_open_and_a_large_parcel_does_not_shrink_its_roof() -> None:
    court = house(0).difference(shapely.box(7, 10, 10, 13))
    drawn = drawing(lot(0), [court], [True], "metric")
    assert drawn is not None
    assert len(drawn.roofs[0].rings) == 2
    farm = drawing(shapely.box(-2_000, -2_000, 2_000, 2_000), [court], [True], "metric")
    assert farm is not None
    assert np.ptp(np.array(farm.roofs[0].rings[0])[:, 0]) > WIDTH / 6


def test_no_roof_and_no_outline_at_all(tmp_path: Path) -> None:
    row = parcel(0, "H1", None, status=NO_ROOF, barrel_roof_id=None)
    drawn = (
        deck(result_in(tmp_path, [row], [roofs_of([row])[0] | {"parcel_id": "elsewhere"}]), ["H1"])
        .cards[0]
        .drawing
    )
    assert drawn is not None and drawn.roofs == []
    assert drawing(shapely.Polygon(), [], [], "us") is None


def test_statuses_without_figures_are_whole_cards(tmp_path: Path) -> None:
    gone = dict.fromkeys([*FIGURES, "barrel_roof_id"])
    for status in (UNIT, NO_FOOTPRINT):
        _, card = only(tmp_path, **gone | {"status": status})
        assert [one.figure for one in card.levels] == ["–", "–", "–"]
        assert [part.figure for part in card.parts] == ["–", "–", "–"]
