"""Areas in the program's plane, held to geodesic areas and to published polygons."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod, Transformer

from harvest.errors import LayerError
from harvest.layers import Extent
from harvest.place.plane import (
    bounds_wgs84,
    check_extent,
    check_together,
    local_plane,
    onto_plane,
    transformed,
)

GEOD = Geod(ellps="WGS84")


def along_geodesics(lons: list[float], lats: list[float], steps: int) -> tuple[list[float], list[float]]:
    """The ring with ``steps`` points put in along each geodesic edge."""
    x, y = [], []
    for i in range(len(lons)):
        j = (i + 1) % len(lons)
        x.append(lons[i])
        y.append(lats[i])
        for lon, lat in GEOD.npts(lons[i], lats[i], lons[j], lats[j], steps):
            x.append(lon)
            y.append(lat)
    return x, y


ANTARCTICA = [
    *((-74, -72.9), (-102, -71.9), (-102, -74.9), (-131, -74.3), (-163, -77.5), (163, -77.4), (172, -71.7)),
    *((140, -65.9), (113, -65.7), (88, -66.6), (59, -66.9), (25, -69.8), (-4, -70.0), (-14, -71.0)),
    *((-33, -77.3), (-46, -77.9), (-61, -74.7)),
]
PUBLISHED = {
    # pyproj, docstring of Geod.polygon_area_perimeter: Antarctica
    "Antarctica": (
        [lon for lon, _ in ANTARCTICA],
        [lat for _, lat in ANTARCTICA],
        13376856682207.4,
        0.2,
    ),
    # GeographicLib's Python tests, Planimeter0: diamond on the equator
    "diamond": ([-1, 0, 1, 0], [0, -1, 0, 1], 24619419146.0, 1.0),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_geodesic_polygons(name: str) -> None:
    """The geodesic reference gives the published area, and our plane agrees with it to 1e-5."""
    lons, lats, area, tolerance = PUBLISHED[name]
    assert abs(GEOD.polygon_area_perimeter(lons, lats)[0]) == pytest.approx(area, abs=tolerance)
    x, y = along_geodesics(lons, lats, 200)
    plane = local_plane((-180, -90, 180, -60) if name == "Antarctica" else (-1, -1, 1, 1))
    px, py = Transformer.from_crs(4326, plane, always_xy=True).transform(x, y)
    assert shapely.area(shapely.Polygon(zip(px, py, strict=True))) == pytest.approx(area, rel=1e-5)


def test_published_polygon_with_a_hole() -> None:
    """pyproj, docstring of Geod.geometry_area_perimeter: 944,373,881,400 m² with the hole taken off."""
    shell, hole = [(1, 1), (10, 1), (10, 10), (1, 10)], [(1, 2), (3, 4), (5, 2)]
    area, _ = GEOD.geometry_area_perimeter(shapely.Polygon(shell, [hole]))
    assert abs(area) == pytest.approx(944373881400, abs=1)
    rings = [along_geodesics(*map(list, zip(*ring, strict=True)), 200) for ring in (shell, hole)]
    whole = shapely.Polygon(list(zip(*rings[0], strict=True)), [list(zip(*rings[1], strict=True))])
    plane = onto_plane(gpd.GeoDataFrame(geometry=[whole], crs=4326), local_plane((1, 1, 10, 10)))
    assert shapely.area(plane)[0] == pytest.approx(944373881400, rel=1e-5)


def square(lon: float, lat: float, side_m: float = 20.0) -> shapely.Polygon:
    """A square of ``side_m`` centred on a place, sides along the compass, in degrees."""
    near = CRS.from_proj4(f"+proj=laea +lat_0={lat} +lon_0={lon} +datum=WGS84")
    half = side_m / 2
    box = np.array([shapely.box(-half, -half, half, half)], dtype=object)
    return transformed(box, Transformer.from_crs(4326, near, always_xy=True), inverse=True)[0]


@pytest.mark.parametrize("lat", [-41.0, 0.0, 30.0, 45.0, 60.0])
@pytest.mark.parametrize("aside_km", [0, 20, 140])
def test_plane_agrees_with_the_ellipsoid(lat: float, aside_km: float) -> None:
    """Roof-sized areas anywhere in a wide town equal geodesic areas (pyproj.Geod) to 1e-5."""
    lon = 10 + aside_km / (111.3 * np.cos(np.radians(lat)))
    roof = square(lon, lat)
    geodesic = abs(GEOD.geometry_area_perimeter(roof)[0])
    plane = onto_plane(
        gpd.GeoDataFrame(geometry=[roof], crs=4326), local_plane((9.9, lat - 0.1, 10.1, lat + 0.1))
    )
    assert shapely.area(plane)[0] == pytest.approx(geodesic, rel=1e-5)


@pytest.mark.parametrize(("lat", "ratio"), [(30, 1.338), (40, 1.706), (45, 2.000), (60, 3.987)])
def test_web_mercator_would_be_wrong(lat: float, ratio: float) -> None:
    """Derived with pyproj: EPSG:3857 swells a 20 m square by sec² of latitude; our plane does not care."""
    frame = gpd.GeoDataFrame(geometry=[square(8, lat)], crs=4326).to_crs(3857)
    assert frame.area[0] / 400 == pytest.approx(ratio, abs=0.002)
    plane = local_plane(bounds_wgs84([Extent.of(frame)]))
    assert shapely.area(onto_plane(frame, plane))[0] == pytest.approx(400, rel=1e-5)


@pytest.mark.parametrize("crs", ["EPSG:26986", "EPSG:2249", "EPSG:4269", "EPSG:32619"])
def test_same_area_whatever_the_file_was_in(crs: str) -> None:
    """Metres, US survey feet, degrees, UTM: one roof, one area."""
    frame = gpd.GeoDataFrame(geometry=[square(-71.5, 42.0)], crs=4326).to_crs(crs)
    plane = local_plane(bounds_wgs84([Extent.of(frame)]))
    assert shapely.area(onto_plane(frame, plane))[0] == pytest.approx(400, rel=1e-6)


def test_plane_across_the_180th_meridian() -> None:
    east = gpd.GeoDataFrame(geometry=[square(179.9, -17)], crs=4326)
    west = gpd.GeoDataFrame(geometry=[square(-179.9, -17)], crs=4326)
    bounds = bounds_wgs84([Extent.of(east), Extent.of(west.to_crs(32701))])
    plane = local_plane(bounds)
    apart = [shapely.centroid(onto_plane(frame, plane))[0].x for frame in (east, west)]
    assert apart == pytest.approx([-10_600, 10_600], rel=0.02)


def test_wide_extent_is_a_finding() -> None:
    assert check_extent((-72, 42, -71.5, 42.3)) == []
    (found,) = check_extent((-72, 42, -67, 42.3))
    assert found.severity == "warning"
    assert "km" in found.message


def test_layers_in_different_places_stop_the_run() -> None:
    here = gpd.GeoDataFrame(geometry=[square(-71.5, 42.0)], crs=4326)
    swapped = gpd.GeoDataFrame(
        geometry=[shapely.transform(square(-71.5, 42.0), lambda xy: xy[:, ::-1])], crs=4326
    )
    with pytest.raises(LayerError, match="swapped"):
        check_together(Extent.of(swapped), Extent.of(here))
    elsewhere = gpd.GeoDataFrame(geometry=[square(12.0, 42.0)], crs=4326)
    with pytest.raises(LayerError, match="do not overlap"):
        check_together(Extent.of(elsewhere), Extent.of(here))
