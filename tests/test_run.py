"""The main job on the sample: litres conserved, order of no account, the same bytes, an account of every row."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from conftest import SAMPLE
from exactextract import exact_extract
from pyproj import Geod, Transformer

from harvest.clock import Clock
from harvest.errors import OutputError, ProjectError
from harvest.estimate import Estimate, estimate
from harvest.fields import TABLES
from harvest.parcel_rows import shared_addresses
from harvest.place.plane import onto_plane, transformed
from harvest.project import read_project
from harvest.result import Result
from harvest.run import read_inputs, run, worked_out


def estimated(project: Path) -> Estimate:
    """Litres of roofs and parcels, without barrels, ranks and rounds."""
    opened = read_project(project)
    return estimate(read_inputs(opened, Clock()), opened.settings, Clock())


def all_worked_out(project: Path) -> Estimate:
    opened = read_project(project)
    return worked_out(read_inputs(opened, Clock()), opened.settings, Clock())[0]


def rewritten(project: Path, old: str, new: str) -> Path:
    text = project.read_text(encoding="utf-8")
    assert old in text
    project.write_text(text.replace(old, new), encoding="utf-8")
    return project


def bytes_of(folder: Path) -> dict[str, bytes]:
    """What every file in ``folder`` holds, those in folders of its own too."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# what leaves the program


def test_litres_are_conserved_from_roofs_to_parcels(sample_result: Result) -> None:
    """Parcels and unplaced roofs together shed what all roofs shed, to 1e-9."""
    parcels, roofs = sample_result.table("parcels"), sample_result.table("roofs")
    lost = roofs[roofs["parcel_id"].isna()]
    assert len(lost) > 0
    for name in ("catchment_area_m2", "runoff_l_yr", "capturable_l_yr", "storm_l"):
        assert parcels[name].sum() + lost[name].sum() == pytest.approx(roofs[name].sum(), rel=1e-9)
        assert parcels[name].sum() > 0


def test_roof_areas_agree_with_the_ellipsoid(sample_result: Result) -> None:
    """pyproj.Geod, an independent library, gives the same roof areas to 1e-5."""
    roofs = sample_result.table("roofs").drop_duplicates("roof_id")
    geod = Geod(ellps="WGS84")
    outlines = shapely.orient_polygons(roofs.geometry.to_crs(4326).to_numpy())
    geodesic = [abs(geod.geometry_area_perimeter(outline)[0]) for outline in outlines]
    assert roofs["roof_area_m2"].to_numpy() == pytest.approx(np.array(geodesic), rel=1e-5)


def test_rain_on_every_roof_equals_an_independent_library(sample_result: Result) -> None:
    """exactextract on the sample's own grid file gives the same rain on each roof to 1e-9."""
    roofs = sample_result.table("roofs").drop_duplicates("roof_id").reset_index(drop=True)
    plane = sample_result.run["plane"]
    with rasterio.open(SAMPLE / "rain_monthly.tif") as grid:
        crs = grid.crs
        scale = grid.scales[0]
    in_plane = onto_plane(roofs, plane)
    to_grid = Transformer.from_crs(plane, crs.to_wkt(), always_xy=True)
    frame = gpd.GeoDataFrame(geometry=transformed(in_plane, to_grid), crs=crs.to_wkt())
    means = exact_extract(
        SAMPLE / "rain_monthly.tif", frame, "mean", output="pandas", strategy="raster-sequential"
    ).sum(axis=1)
    unscaled = 1.0 if means.mean() < 4000 else scale
    assert roofs["rain_mm_yr"].to_numpy() == pytest.approx(means.to_numpy() * unscaled, rel=1e-9)
    assert sample_result.run["roofs_across_grid_cells"] > 20


def test_roofs_go_where_they_truly_belong(sample_result: Result) -> None:
    """The generator knows each roof's parcel; single-parcel roofs that are no duplicates must go there."""
    from make_town import build_town

    town = build_town()
    truth = town.truth[town.truth["duplicate_of"].isna()]
    one = truth.groupby("roof_id").filter(lambda rows: len(rows) == 1).dropna(subset=["parcel_id"])
    ours = sample_result.table("roofs", ["roof_id", "parcel_id", "placement"])
    both = one.merge(ours, on="roof_id", suffixes=("_true", ""))
    assert len(both) > 1800
    assert (both["parcel_id"] == both["parcel_id_true"]).mean() > 0.995


def test_every_row_is_accounted_for(sample_result: Result) -> None:
    ledger = sample_result.run["ledger"]
    footprints, parcels, roofs = ledger["footprints"], ledger["parcels"], ledger["roofs"]
    with_parts = pd.read_csv(sample_result.folder / "roofs.csv", dtype=str)
    assert footprints["rows_in"] == len(gpd.read_file(SAMPLE / "footprints.gpkg"))
    assert footprints["rows_out"] == with_parts["roof_id"].nunique() == roofs["rows_in"]
    assert roofs["rows_out"] == len(with_parts)
    assert parcels["rows_in"] == len(gpd.read_file(SAMPLE / "parcels.zip"))
    assert parcels["rows_out"] == len(sample_result.table("parcels"))
    for account in ledger.values():
        came = account["rows_in"] + sum(account["added"].values())
        assert came == account["rows_out"] + sum(account["dropped"].values())


def test_statuses_of_the_sample(sample_result: Result) -> None:
    """Every kind of parcel that the sample is made to hold is found again."""
    statuses = sample_result.run["totals"]["statuses"]
    kinds = {
        "ranked",
        "association",
        "unit of association",
        "common ground",
        "no footprint, check",
        "no roof",
        "excluded",
    }
    assert kinds <= set(statuses)
    parcels = sample_result.table("parcels")
    units = parcels[parcels["status"] == "unit of association"]
    assert units[["catchment_area_m2", "runoff_l_yr", "capturable_l_yr", "door_count"]].isna().all().all()
    sites = parcels[parcels["status"] == "association"]
    assert set(units["site_id"]) == set(sites["parcel_id"])
    assert sites["door_count"].sum() == len(units)
    late = parcels[parcels["status"] == "no footprint, check"]
    assert late["capturable_l_yr"].isna().all()
    bare = parcels[parcels["status"] == "no roof"]
    assert (bare["capturable_l_yr"] == 0).all()
    excluded = parcels[parcels["status"] == "excluded"]
    assert excluded["rank"].isna().all()
    assert excluded["reason"].notna().all()
    for name in ("homes", "large roofs"):
        ranks = parcels.loc[parcels["list"] == name, "rank"].sort_values()
        assert ranks.tolist() == list(range(1, len(ranks) + 1))


@pytest.mark.parametrize(
    ("addresses", "shared"),
    [
        (["12 Oak Road Unit 3", None, "12 Oak Road Unit 14"], "12 Oak Road"),
        (["12 Oak Road", "14 Oak Road"], None),
        (["12 Oak Road", "12 Elm Road"], None),
        (["12 Oak Road Apt 1", "12 OAK RD #2", "12 Oak Rd."], "12 Oak Road"),
        (["37-12 Oak Road Rm 1", "37-12 Oak Road Rm 2"], "37-12 Oak Road"),
        (["12 Oak Road, Pellwick", "12 Oak Road, Pellwick"], "12 Oak Road, Pellwick"),
        (["Harbour Court 1", "Harbour Court 2"], "Harbour Court"),
        (["Eichenweg 12a Flat 1", "EICHENWEG 12a Flat 2"], "Eichenweg 12A"),
        (["Unit 1, 12 Oak Road", "Unit 2, 12 Oak Road"], "12 Oak Road"),
        ([None, None], None),
    ],
)
def test_a_site_has_what_all_its_addresses_share(addresses: list[str | None], shared: str | None) -> None:
    units = pd.Series([*addresses, "1 Pine Row"], index=range(5, 6 + len(addresses)), dtype="str")
    site = pd.Series([7] * len(addresses) + [9], index=units.index)
    found = shared_addresses(units, site)
    assert found.fillna("-").to_dict() == {7: shared or "-", 9: "1 Pine Row"}


def test_the_known_offset_is_measured_but_too_small_to_report(sample_result: Result) -> None:
    """The sample's footprints are moved by 0.32 m east and 0.24 m south; 0.4 m is below the limit of 0.5 m."""
    found = sample_result.run["offset"]
    assert (found["east_m"], found["north_m"]) == pytest.approx((0.32, -0.24), abs=0.06)
    assert "offset between layers" not in set(sample_result.table("findings")["check"])


def test_result_tables_match_the_register(sample_result: Result) -> None:
    for name in ("parcels", "roofs", "findings"):
        table = sample_result.table(name)
        assert list(TABLES[name].checked(table).columns) == list(TABLES[name].names)


def test_result_folder_holds_what_it_lists(sample_result: Result) -> None:
    present = {entry.name for entry in sample_result.folder.iterdir()}
    assert present == set(sample_result.run["files"])
    assert {
        "parcels.csv",
        "parcels.xlsx",
        "harvest.gpkg",
        "parcels.parquet",
        "roofs.csv",
        "roofs.parquet",
    } <= present
    assert {"datapackage.json", "findings.csv", "run.json", "timing.json", "map.html"} <= present


def test_parcels_are_geoparquet_1_1_with_covering(sample_result: Result) -> None:
    import pyarrow.parquet as pq

    meta = json.loads(pq.read_schema(sample_result.folder / "parcels.parquet").metadata[b"geo"])
    assert meta["version"] == "1.1.0"
    assert "covering" in meta["columns"]["geometry"]


def test_run_record_names_inputs_and_settings(sample_result: Result) -> None:
    run_record = sample_result.run
    by_role = {one["role"]: one for one in run_record["inputs"]}
    assert set(by_role) == {
        "footprints",
        "parcels",
        "rainfall",
        "gauge",
        "temperature",
        "streets",
        "visits",
        "districts",
        "context",
    }
    digest = hashlib.sha256((SAMPLE / "footprints.gpkg").read_bytes()).hexdigest()
    assert by_role["footprints"]["sha256"] == digest
    assert run_record["totals"]["effective_coefficient"] == pytest.approx(0.80)
    assert any(one["from"] == "default" for one in run_record["settings"])


def test_the_map_and_the_table_tell_every_finding(sample_result: Result) -> None:
    """Those of the writers too, such as letters that lack an address."""
    found = sample_result.table("findings")
    table = pd.read_csv(sample_result.folder / "findings.csv")
    page = (sample_result.folder / "map.html").read_text(encoding="utf-8")
    values = json.loads(re.search(r'id="page-values"[^>]*>(.*?)</script>', page, re.DOTALL)[1])
    assert "no address for a letter" in set(found["check"])
    assert table["message"].tolist() == found["message"].tolist()
    assert sorted(one["message"] for one in values["findings"]) == sorted(found["message"])


def test_batches_give_the_same_rows_as_the_table(sample_result: Result) -> None:
    whole = sample_result.table("roofs", ["roof_id", "storm_l"])
    pieces = list(sample_result.batches("roofs", ["roof_id", "storm_l"], rows=500))
    assert len(pieces) > 3
    joined = pd.concat(pieces, ignore_index=True)
    assert joined["roof_id"].tolist() == whole["roof_id"].tolist()
    assert joined["storm_l"].tolist() == whole["storm_l"].tolist()


# same input, same answer


def test_same_input_gives_the_same_bytes(sample_result: Result, tmp_path: Path) -> None:
    again = run(read_project(SAMPLE / "pellwick.toml"), tmp_path / "again")
    one, other = (bytes_of(result.folder) for result in (sample_result, again))
    assert one.keys() == other.keys() and "public/map.html" in one
    assert [name for name in one if one[name] != other[name]] == ["timing.json"]


def test_shuffled_and_reprojected_input_gives_the_same_figures(
    sample_result: Result, sample_copy: Path
) -> None:
    folder = sample_copy.parent
    footprints = gpd.read_file(folder / "footprints.gpkg").sample(frac=1, random_state=5)
    footprints.to_crs(4326).to_file(folder / "footprints.gpkg", layer="footprints")
    parcels = gpd.read_file(folder / "parcels.zip")[::-1]
    parcels.to_crs(3857).to_parquet(folder / "parcels.parquet")
    other = all_worked_out(rewritten(sample_copy, "parcels.zip", "parcels.parquet"))
    for name, keys in (("parcels", ["parcel_id"]), ("roofs", ["roof_id", "parcel_id"])):
        one, two = sample_result.table(name), getattr(other, name)
        assert one[keys].equals(two[keys])
        for field in (field for field in TABLES[name].fields if field.name in one):
            if field.dtype == "float":
                assert two[field.name].to_numpy(float) == pytest.approx(
                    one[field.name].to_numpy(float), rel=1e-6, abs=1e-6, nan_ok=True
                )
            elif field.dtype != "geometry":
                assert one[field.name].astype("str").equals(two[field.name].astype("str")), field.name


# what stops a run, and what does not


def test_yearly_grid_and_season_need_monthly_shares(sample_copy: Path) -> None:
    path = sample_copy.parent / "rain_monthly.tif"
    with rasterio.open(path) as grid:
        values = grid.read().astype("float64").sum(axis=0) * grid.scales[0]
        profile = {**grid.profile, "count": 1, "dtype": "float64"}
    with rasterio.open(path, "w", **profile) as year:
        year.write(values, 1)
    rewritten(sample_copy, 'file = "rain_monthly.tif"', 'file = "rain_monthly.tif"\nunit = "mm"')
    with pytest.raises(ProjectError, match="monthly_shares"):
        estimated(sample_copy)
    shares = "monthly_shares = [0, 0, 0, 0.5, 0, 0, 0, 0, 0, 0.5, 0, 0]"
    found = estimated(rewritten(sample_copy, 'last = "10-31"', f'last = "10-31"\n{shares}'))
    rows = found.roofs
    # half of the year's rain falls in April, of which 16 of 30 days are in season, and half in October
    assert rows["season_rain_mm_yr"].to_numpy() == pytest.approx(
        rows["rain_mm_yr"].to_numpy() * (0.5 * 16 / 30 + 0.5), rel=1e-9
    )


def test_a_whole_year_where_it_freezes_is_a_warning(sample_copy: Path) -> None:
    """Without a season barrels would be counted through frost; without temperatures that can only be a note."""
    project = rewritten(sample_copy, "[season]", '[season]\nfirst = "01-01"\nlast = "12-31"\n[unused]')
    text = project.read_text(encoding="utf-8")
    start = text.index("[unused]")
    project.write_text(text[:start] + text[text.index("[tariff]") :], encoding="utf-8")
    told = {one.check: one for one in read_inputs(read_project(project), Clock()).findings}
    assert told["whole year"].severity == "warning"
    assert "frost" in told["whole year"].message
    mild = rewritten(project, "[temperature]", "[garden]\nweekly_mm = 25.0\n[unused]")
    text = mild.read_text(encoding="utf-8")
    start = text.index("[unused]")
    mild.write_text(text[:start] + text[text.index("[season]") :], encoding="utf-8")
    told = {one.check: one for one in read_inputs(read_project(mild), Clock()).findings}
    assert told["whole year"].severity == "note"


def test_roofs_without_parcels_stand_for_themselves(sample_copy: Path) -> None:
    text = sample_copy.read_text(encoding="utf-8")
    keep = [part for part in text.split("\n[") if not part.startswith(("parcels]", "[exclude]]", "ranking]"))]
    sample_copy.write_text("\n[".join(keep), encoding="utf-8")
    found = estimated(sample_copy)
    assert len(found.parcels) == found.roofs["roof_id"].nunique()
    assert (found.roofs["parcel_id"] == found.roofs["roof_id"]).all()
    assert found.parcels["runoff_l_yr"].sum() == pytest.approx(found.roofs["runoff_l_yr"].sum(), rel=1e-12)


def test_grid_that_ends_within_the_town_leaves_missing_and_never_zero(sample_copy: Path) -> None:
    path = sample_copy.parent / "rain_monthly.tif"
    with rasterio.open(path, "r+") as grid:
        values = grid.read()
        values[:, :, values.shape[2] // 2 :] = grid.nodata
        grid.write(values)
    found = estimated(sample_copy)
    bare = found.roofs["rain_cover"] == 0
    assert 0 < bare.sum() < len(found.roofs)
    assert found.roofs.loc[bare, ["rain_mm_yr", "runoff_l_yr", "capturable_l_yr"]].isna().all().all()
    status = found.parcels.set_index("parcel_id")["status"]
    assert (status == "no rain figure").sum() > 100
    assert {"roofs without rain", "roofs partly without rain"} & {one.check for one in found.findings}


def test_small_roofs_shed_but_count_as_capturable_only_when_marked(sample_result: Result) -> None:
    roofs = sample_result.table("roofs")
    small = roofs[roofs["roof_area_m2"] < 20]
    assert len(small) > 50
    assert (small["runoff_l_yr"] > 0).all()
    assert (small.loc[~small["has_gutter"], "capturable_l_yr"] == 0).all()
    large = roofs[roofs["roof_area_m2"] >= 20]
    assert (large["capturable_l_yr"] > 0).all()


def test_wetting_is_taken_off_once(sample_copy: Path) -> None:
    """enHealth (2010), App. B: with 24 mm of wetting a roof sheds area × (rain - 24) × coefficient."""
    plain = estimated(sample_copy)
    text = sample_copy.read_text(encoding="utf-8")
    sample_copy.write_text(text + "\n[losses]\nwetting_mm_yr = 24.0\n", encoding="utf-8")
    wet = estimated(sample_copy)
    rows = wet.roofs
    assert rows["runoff_l_yr"].to_numpy() == pytest.approx(
        (rows["catchment_area_m2"] * (rows["rain_mm_yr"] - 24) * 0.8).to_numpy(), rel=1e-9
    )
    assert (wet.roofs["capturable_l_yr"] <= plain.roofs["capturable_l_yr"]).all()


def test_a_failed_run_leaves_the_last_good_result(
    sample_result: Result, lean_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = read_project(lean_copy)
    good = lean_copy.parent / "results"
    shutil.copytree(sample_result.folder, good)
    before = bytes_of(good)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("harvest.run.write_map", full)
    with pytest.raises(OutputError, match="disk is full"):
        run(project)
    assert bytes_of(good) == before


def test_inputs_are_never_changed(sample_before: dict[str, bytes], sample_result: Result) -> None:
    assert {path.name: path.read_bytes() for path in SAMPLE.iterdir() if path.is_file()} == sample_before
    assert {one["file"] for one in sample_result.run["inputs"]} <= sample_before.keys()
