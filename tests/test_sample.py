"""The invented town: its files hold what its README says, and what it calls true fits its geometry."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from conftest import SAMPLE
from make_town import ISLAND_FEET, Town, build_town, write_town
from pandas.testing import assert_frame_equal

UTM = 32621


def on_ground(town: Town) -> tuple[gpd.GeoSeries, gpd.GeoSeries]:
    """Parcels by id and roofs by id in UTM, the roofs without their steady offset."""
    parcels = town.parcels.to_crs(UTM).set_index("parcel_id").geometry
    roofs = town.footprints.set_index(town.footprints["bldg_no"].astype(str)).geometry
    return parcels, roofs.translate(-town.offset_m[0], -town.offset_m[1])


def test_counts(footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> None:
    assert 1350 <= len(parcels) <= 1450
    assert 2200 <= len(footprints) <= 2400
    assert parcels["parcel_id"].is_unique and footprints["bldg_no"].is_unique
    kinds = footprints["kind"].value_counts()
    assert kinds["house"] > 900 and kinds["shed"] > 400 and kinds["garage"] > 300
    assert {"school", "industrial", "public", "shop", "row house", "townhouse", "apartments"} <= set(
        kinds.index
    )
    assert footprints.loc[footprints["kind"] == "shed"].area.max() < 20
    assert len(gpd.read_file(SAMPLE / "wards.fgb")) == 3


def test_lots_and_houses_have_the_size_of_real_ones(
    footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame
) -> None:
    lots = parcels.to_crs(UTM).area.groupby(parcels["land_use"])
    single, row = lots.quantile([0.05, 0.95])["single family"], lots.quantile([0.05, 0.95])["row house"]
    assert single.loc[0.05] > 400 and single.loc[0.95] < 900
    assert row.loc[0.05] > 150 and row.loc[0.95] < 230
    houses = footprints.loc[footprints["kind"] == "house"].area.quantile([0.05, 0.95])
    assert houses.loc[0.05] > 90 and houses.loc[0.95] < 180


def test_files_hold_what_the_script_makes(tmp_path: Path, town: Town) -> None:
    """By content, since the bytes of some formats also depend on the libraries' versions."""
    made = write_town(town, tmp_path)
    assert {path.suffix for path in made.values()} == {".tif", ".gpkg", ".zip", ".geojson", ".fgb", ".csv"}
    for path in made.values():
        kept = SAMPLE / path.name
        if path.suffix == ".csv":
            assert_frame_equal(pd.read_csv(path), pd.read_csv(kept))
        elif path.suffix == ".tif":
            with rasterio.open(path) as new, rasterio.open(kept) as old:
                assert new.profile == old.profile and np.array_equal(new.read(), old.read())
        else:
            new, old = gpd.read_file(path), gpd.read_file(kept)
            assert new.crs == old.crs
            assert_frame_equal(
                pd.DataFrame(new.drop(columns="geometry")), pd.DataFrame(old.drop(columns="geometry"))
            )
            least = 2e-7 if old.crs.is_geographic else 0.002
            assert shapely.equals_exact(new.geometry.to_numpy(), old.geometry.to_numpy(), least).all(), (
                path.name
            )


def test_same_town_same_bytes(tmp_path: Path, town: Town) -> None:
    first, second = write_town(town, tmp_path / "first"), write_town(town, tmp_path / "second")
    for role in first:
        assert first[role].read_bytes() == second[role].read_bytes(), role


def test_same_seed_same_town_other_seed_other_town(town: Town) -> None:
    again, other = build_town(), build_town(seed=8)
    for name in ("parcels", "footprints", "truth", "streets", "wards", "gauge", "drainage_reports", "visits"):
        assert_frame_equal(pd.DataFrame(getattr(town, name)), pd.DataFrame(getattr(again, name)))
    assert np.array_equal(town.rain.tenths, again.rain.tenths)
    assert not town.footprints.geometry.iloc[:100].geom_equals(other.footprints.geometry.iloc[:100]).any()


def test_size() -> None:
    data = [path for path in SAMPLE.iterdir() if path.is_file()]
    assert sum(path.stat().st_size for path in data) < 4_000_000


def test_layers_come_in_different_coordinates(
    footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame
) -> None:
    streets = gpd.read_file(SAMPLE / "streets.geojson")
    assert footprints.crs.to_epsg() == UTM and streets.crs.to_epsg() == 4326
    assert parcels.crs.to_epsg() is None
    assert parcels.crs.axis_info[0].unit_name == "US survey foot"
    with rasterio.open(SAMPLE / "rain_monthly.tif") as grid:
        assert grid.crs.to_epsg() == 4326
    west, south, east, north = parcels.to_crs(4326).total_bounds
    assert -58.1 < west < -58.0 < east < -57.95 and 40.95 < south < 41.0 < north < 41.02


def test_the_shapefile_keeps_the_place(town: Town, parcels: gpd.GeoDataFrame) -> None:
    written = parcels.set_index("parcel_id").to_crs(UTM).geometry
    meant = town.parcels.set_index("parcel_id").to_crs(UTM).geometry
    assert town.parcels.crs == ISLAND_FEET
    assert shapely.hausdorff_distance(written.to_numpy(), meant[written.index].to_numpy()).max() < 0.001


def test_steady_offset(town: Town, footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> None:
    """Townhouses fill their parcels, so the files themselves show by how much the layers differ."""
    houses = footprints[footprints["kind"] == "townhouse"]
    owned = town.truth.groupby("roof_id")["parcel_id"].agg(list)
    ground = parcels.to_crs(UTM).set_index("parcel_id").geometry
    for number, shape in zip(houses["bldg_no"], houses.geometry, strict=True):
        land = shapely.union_all(ground[owned[str(number)]].to_numpy(), grid_size=0.001)
        east, north = shape.centroid.x - land.centroid.x, shape.centroid.y - land.centroid.y
        assert town.offset_m == (0.32, -0.24)
        assert (east, north) == pytest.approx((0.32, -0.24), abs=0.02)


def test_bow_tie(town: Town, footprints: gpd.GeoDataFrame) -> None:
    broken = footprints.loc[~footprints.is_valid, "bldg_no"].astype(str).tolist()
    assert broken == town.quirks["bow_tie"] and len(broken) == 1
    assert "Self-intersection" in shapely.is_valid_reason(footprints.geometry[~footprints.is_valid].iloc[0])


def test_duplicates_lie_on_their_first_capture(town: Town, footprints: gpd.GeoDataFrame) -> None:
    shapes = footprints.set_index(footprints["bldg_no"].astype(str)).geometry
    pairs = town.truth.dropna(subset="duplicate_of")
    assert sorted(pairs["roof_id"]) == town.quirks["duplicates"] and len(pairs) == 30
    copies, firsts = shapes[pairs["roof_id"]].to_numpy(), shapes[pairs["duplicate_of"]].to_numpy()
    on = shapely.area(shapely.intersection(copies, firsts)) / shapely.area(copies)
    assert on.min() > 0.85 and on.max() < 0.99
    assert shapely.union_all(shapely.centroid(copies)).convex_hull.length < 700


def test_few_small_overlaps_and_no_others(town: Town) -> None:
    _, roofs = on_ground(town)
    roofs = roofs.drop(town.quirks["duplicates"] + town.quirks["bow_tie"])
    shapes = roofs.to_numpy()
    one, two = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    one, two = one[one < two], two[one < two]
    over = shapely.area(shapely.intersection(shapes[one], shapes[two])) / shapely.area(shapes[two])
    assert sorted(roofs.index[two[over > 0.001]]) == sorted(town.quirks["overlapping"])
    assert len(town.quirks["overlapping"]) == 6 and over.max() < 0.25


def test_parcels_of_two_parts(town: Town, parcels: gpd.GeoDataFrame) -> None:
    parts = shapely.get_num_geometries(parcels.geometry.to_numpy())
    assert parcels.loc[parts > 1, "parcel_id"].tolist() == sorted(town.quirks["two_parts"])
    assert (parts > 1).sum() == 2 and parts.max() == 2


def test_addresses(town: Town, parcels: gpd.GeoDataFrame) -> None:
    missing = parcels["address"].isna()
    assert sorted(parcels.loc[missing, "parcel_id"]) == sorted(town.quirks["no_address"])
    assert 0.02 < missing.mean() < 0.03
    known = parcels.loc[~missing, "address"]
    assert known.is_unique and known.str.fullmatch(r"\d+ [A-Z][a-z]+( [A-Z][a-z]+)+( Unit \d+)?").all()


def test_odd_and_even_numbers_face_each_other(parcels: gpd.GeoDataFrame) -> None:
    """On each street, all the odd numbers lie on one side of the line from its lowest to its highest number."""
    ground = parcels.to_crs(UTM)
    number = ground["address"].str.extract(r"^(\d+) ")[0].astype(float)
    street = ground["address"].str.replace(r"^\d+ ", "", regex=True)
    close = street.str.endswith(("Close", "Court"), na=False)
    points = shapely.get_coordinates(shapely.centroid(ground.geometry.to_numpy()))
    for _, rows in ground[close].groupby(street[close]):
        even = (number[rows.index] % 2 == 0).to_numpy()
        xy = points[rows.index] - points[rows.index].mean(axis=0)
        axis = np.linalg.svd(xy)[2][0]
        side = xy @ np.array([-axis[1], axis[0]])
        assert len(np.unique(np.sign(side[even]))) == len(np.unique(np.sign(side[~even]))) == 1
        assert np.sign(side[even][0]) != np.sign(side[~even][0])


def test_ids_begin_with_zeros(parcels: gpd.GeoDataFrame) -> None:
    assert parcels["parcel_id"].str.fullmatch(r"00\d{5}").all()


def test_stacked_parcels_are_identical(parcels: gpd.GeoDataFrame) -> None:
    units = parcels[parcels["land_use"] == "condominium"]
    stacks = units.groupby(units.geometry.to_wkb(hex=True))
    assert stacks.size().min() >= 6 and len(stacks) >= 4
    assert stacks["parcel_id"].min().is_unique
    ordinary = parcels[parcels["land_use"] != "condominium"]
    assert ordinary.geometry.to_wkb(hex=True).is_unique


def test_townhouses_stand_inside_common_ground(parcels: gpd.GeoDataFrame) -> None:
    ground = parcels.set_index("land_use").geometry
    common = ground["common land"]
    assert ground["townhouse"].within(shapely.buffer(common, 0.05)).all() and len(ground["townhouse"]) >= 20


def test_street_after_the_imagery_has_no_roofs(
    town: Town, footprints: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame
) -> None:
    late = parcels[parcels["built_year"] == 2025].to_crs(UTM)
    assert 12 <= len(late) <= 20
    assert sorted(late["parcel_id"]) == sorted(town.quirks["after_imagery"])
    assert len(late["address"].dropna().str.replace(r"^\d+ ", "", regex=True).unique()) == 1
    land = shapely.buffer(shapely.union_all(late.geometry.to_numpy()), -1.0)
    assert not footprints.intersects(land).any()


def test_vacant_lots_have_no_roof_and_homes_have_one(town: Town) -> None:
    owned = town.parcels["parcel_id"].isin(town.truth["parcel_id"])
    use = town.parcels["land_use"]
    assert not owned[use.isin(["vacant", "common land"])].any() and (use == "vacant").sum() > 30
    late = town.parcels["parcel_id"].isin(town.quirks["after_imagery"])
    assert owned[use.isin(["single family", "two family", "row house", "townhouse"]) & ~late].all()


def test_truth_fits_the_geometry(town: Town) -> None:
    parcels, roofs = on_ground(town)
    whole = town.truth[town.truth["share"] == 1].dropna(subset="parcel_id")
    whole = whole[~whole["roof_id"].isin(town.quirks["bow_tie"])]
    roof, parcel = roofs[whole["roof_id"]].to_numpy(), parcels[whole["parcel_id"]].to_numpy()
    inside = shapely.area(shapely.intersection(roof, parcel)) / shapely.area(roof)
    assert inside.min() > 0.95
    assert town.truth.groupby("roof_id")["share"].sum().to_numpy() == pytest.approx(1.0)
    assert set(town.truth["roof_id"]) == set(roofs.index)


def test_truth_of_shared_roofs_is_the_part_on_each_parcel(town: Town) -> None:
    parcels, roofs = on_ground(town)
    shared = town.truth[(town.truth["share"] < 1)]
    stacked = shared["parcel_id"].isin(town.quirks["stacked"])
    spans = shared[~stacked]
    roof, parcel = roofs[spans["roof_id"]].to_numpy(), parcels[spans["parcel_id"]].to_numpy()
    part = shapely.area(shapely.intersection(roof, parcel)) / shapely.area(roof)
    assert part == pytest.approx(spans["share"].to_numpy(), abs=0.002)
    assert spans["roof_id"].nunique() > 20
    units = shared[stacked].groupby("roof_id")["share"]
    assert (units.max() - units.min() < 1e-12).all() and (units.size() >= 6).all()


def test_boat_sheds_stand_on_no_parcel(town: Town) -> None:
    parcels, roofs = on_ground(town)
    alone = town.truth.loc[town.truth["parcel_id"].isna(), "roof_id"].tolist()
    assert alone == town.quirks["on_no_parcel"] and len(alone) == 7
    assert not roofs[alone].intersects(shapely.union_all(parcels.to_numpy())).any()


def test_each_parcel_lies_in_one_ward(parcels: gpd.GeoDataFrame) -> None:
    wards = gpd.read_file(SAMPLE / "wards.fgb")
    points = gpd.GeoDataFrame(geometry=parcels.to_crs(wards.crs).representative_point())
    joined = points.sjoin(wards, predicate="within")
    assert len(joined) == len(parcels) and joined.index.is_unique
    assert joined["name"].value_counts().min() > 300


def test_addresses_name_streets_that_exist(parcels: gpd.GeoDataFrame) -> None:
    streets = gpd.read_file(SAMPLE / "streets.geojson").to_crs(UTM)
    named = streets.dropna(subset="name")
    assert 1 <= streets["name"].isna().sum() <= 6
    known = parcels.dropna(subset="address").to_crs(UTM)
    street = known["address"].str.replace(r"^\d+ | Unit \d+$", "", regex=True)
    assert street.isin(named["name"]).mean() > 0.98
    lines = named.dissolve("name").geometry
    here = street.isin(lines.index)
    away = known[here].geometry.distance(
        gpd.GeoSeries(lines[street[here]].to_numpy(), known.index[here], crs=UTM)
    )
    assert away.median() < 9 and away.max() < 25


def test_streets_meet_end_to_end() -> None:
    lines = gpd.read_file(SAMPLE / "streets.geojson").to_crs(UTM).geometry.to_numpy()
    assert shapely.STRtree(lines).query(lines, predicate="crosses").size == 0
    ends = shapely.points(shapely.get_coordinates(shapely.boundary(lines)))
    meeting = np.bincount(shapely.STRtree(ends).query(ends, predicate="dwithin", distance=0.05)[0])
    assert (meeting >= 3).mean() > 0.8
    loose = ends[meeting == 1]
    near = np.bincount(shapely.STRtree(lines).query(loose, predicate="dwithin", distance=2.0)[0])
    assert (near == 1).all()


@pytest.mark.parametrize("size", [50, 137, 2_000])
def test_plain_town_has_one_house_a_lot(size: int, tmp_path: Path) -> None:
    plain = build_town(size, seed=3, quirks=False)
    assert len(plain.parcels) == len(plain.footprints) == len(plain.truth) == size
    assert plain.streets is None and plain.visits is None and not plain.quirks
    parcels, roofs = on_ground(plain)
    assert roofs[plain.truth["roof_id"]].within(parcels[plain.truth["parcel_id"]], align=False).all()
    made = write_town(plain, tmp_path, formats="geoparquet")
    assert sorted(made) == ["footprints", "parcels", "rainfall"]
    assert len(gpd.read_parquet(made["parcels"])) == size


def test_a_larger_town() -> None:
    large = build_town(20_000)
    assert len(large.parcels) == pytest.approx(20_000, rel=0.02) and large.parcels["parcel_id"].is_unique
    assert large.parcels["address"].dropna().is_unique
    assert len(large.footprints) > 28_000
    assert (large.parcels["land_use"] == "school").sum() > 5
    parcels, roofs = on_ground(large)
    whole = large.truth[large.truth["share"] == 1].dropna(subset="parcel_id")
    roof, parcel = roofs[whole["roof_id"]].to_numpy(), parcels[whole["parcel_id"]].to_numpy()
    good = shapely.is_valid(roof)
    inside = shapely.area(shapely.intersection(roof[good], parcel[good])) / shapely.area(roof[good])
    assert inside.min() > 0.95 and (~good).sum() == 1


@pytest.mark.parametrize(("size", "quirks"), [(10, False), (300, True)])
def test_too_small_a_town_is_refused(size: int, quirks: bool) -> None:
    with pytest.raises(ValueError, match="at least"):
        build_town(size, quirks=quirks)
