"""What tests of the map look at in a page, and what they expect of it: figures worked out from the result's tables."""

from __future__ import annotations

import re
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from browser_pages import Opened
from map_result import PARCEL_CRS, parcels_frame
from playwright.sync_api import Locator

from harvest.show.figures import rounded
from harvest.units import litres_to_gallons, square_metres_to_square_feet

FADED, NIL = "#f4f5f1", "#ffffff"


def settled(opened: Opened) -> None:
    """Wait until every tile of the map is painted."""
    opened.page.wait_for_selector("html[data-ready]:not([data-painting])")


def told(litres: float) -> str:
    return rounded(litres_to_gallons(litres), 3)


def told_page(gallons: float) -> str:
    return "–" if np.isnan(gallons) else rounded(gallons, 3)


def ranked(of_list: str | None = None) -> pd.DataFrame:
    """Ranked parcels, homes first, each list in its order."""
    frame = parcels_frame()
    frame = frame[frame["rank"].notna()]
    if of_list is not None:
        frame = frame[frame["list"] == of_list]
    return pd.DataFrame(frame.sort_values(["list", "rank"]))


def named(row: Any) -> str:
    return (
        f"No address (parcel {row.parcel_id})"
        if pd.isna(row.address)
        else re.sub(r"\s+", " ", row.address).strip()
    )


def expected_lines(frame: pd.DataFrame) -> list[list[str]]:
    return [
        [
            str(row.rank),
            named(row),
            told(row.runoff_l_yr),
            told(row.capturable_l_yr),
            told(row.yield_l_yr),
            str(row.suggested_barrels),
            rounded(square_metres_to_square_feet(row.catchment_area_m2), 3),
        ]
        for row in frame.itertuples()
    ]


def lines(opened: Opened, table: str = "table") -> list[list[str]]:
    """Every row of a table as it stands: the text of each cell, of its button where it has one."""
    found = opened.page.eval_on_selector_all(
        f"#{table}-body tr",
        """lines => lines.map(line => [...line.children].map(cell =>
            (cell.querySelector("button") ?? cell).textContent.replace(/\\s+/g, " ").trim()))""",
    )
    return [list(map(str, line)) for line in found]


def sums(opened: Opened) -> dict[str, str]:
    return dict(
        opened.page.eval_on_selector_all(
            "#totals [data-figure]",
            "all => all.map(one => [one.dataset.figure, one.querySelector('.number').textContent])",
        )
    )


def colours_at(opened: Opened, points: gpd.GeoSeries) -> list[str]:
    """What the canvas shows at ``points``, as #rrggbb; empty where no tile is in view."""
    settled(opened)
    degrees = points.to_crs(4326)
    places = [[float(y), float(x)] for x, y in zip(degrees.x, degrees.y, strict=True)]
    return list(
        opened.page.evaluate(
            """places => {
                const map = document.querySelector(".folium-map").getBoundingClientRect();
                const tiles = [...document.querySelectorAll(".parcel-tiles canvas")].map(
                    tile => [tile, tile.getBoundingClientRect()]);
                const copy = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
                return places.map(place => {
                    const at = map_harvest.latLngToContainerPoint(place);
                    const [x, y] = [at.x + map.left, at.y + map.top];
                    const hit = tiles.find(([, box]) =>
                        x >= box.left && x < box.right && y >= box.top && y < box.bottom);
                    if (!hit) return "";
                    const [tile, box] = hit;
                    const [across, down] = [(x - box.left) / box.width, (y - box.top) / box.height];
                    copy.drawImage(
                        tile, Math.floor(across * tile.width), Math.floor(down * tile.height), 1, 1, 0, 0, 1, 1);
                    const pixel = copy.getImageData(0, 0, 1, 1).data;
                    return "#" + [...pixel.slice(0, 3)].map(v => v.toString(16).padStart(2, "0")).join("");
                });
            }""",
            places,
        )
    )


def beside_the_roof(parcels: gpd.GeoDataFrame) -> gpd.GeoSeries:
    """A point 3 m into each lot from its south-west corner, where no roof stands."""
    bounds = parcels.geometry.bounds
    return gpd.GeoSeries(shapely.points(bounds["minx"] + 3, bounds["miny"] + 3), crs=PARCEL_CRS)


def plain_lots() -> gpd.GeoDataFrame:
    """Lots of the grid whose neighbours' roofs do not reach over their corner."""
    parcels = parcels_frame()
    grid = parcels[parcels["parcel_id"].str.startswith("P")]
    return grid[grid["catchment_area_m2"] < 300].reset_index(drop=True)


def figures_in(dialog: Locator) -> dict[str, str]:
    """What the pop-up says of each figure, hidden or not."""
    return dict(
        dialog.locator("dl [data-figure]").evaluate_all(
            "all => all.map(one => [one.dataset.figure, one.querySelector('dd').textContent])"
        )
    )


def opened_at(opened: Opened, parcel: str) -> Locator:
    """The pop-up of the parcel called ``parcel``, found by its number."""
    opened.page.fill("#search", parcel)
    opened.page.press("#search", "Enter")
    return opened.page.locator("[role=dialog]")


def between(low: float, high: float) -> str:
    return f"{told(low)} to {told(high)} gal a year"


def spot_of(opened: Opened, parcel: str, across: float = 3, up: float = 3) -> tuple[float, float]:
    """Where in the window a point lies that is so many metres from the south-west corner of the lot."""
    bounds = parcels_frame().set_index("parcel_id").loc[[parcel]].total_bounds
    point = (
        gpd.GeoSeries([shapely.Point(bounds[0] + across, bounds[1] + up)], crs=PARCEL_CRS)
        .to_crs(4326)
        .iloc[0]
    )
    spot = opened.page.evaluate(
        """place => {
            const map = document.querySelector(".folium-map").getBoundingClientRect();
            const at = map_harvest.latLngToContainerPoint(place);
            return [at.x + map.left, at.y + map.top];
        }""",
        [point.y, point.x],
    )
    return float(spot[0]), float(spot[1])


def click_on(opened: Opened, parcel: str, across: float = 3, up: float = 3) -> None:
    opened.page.mouse.click(*spot_of(opened, parcel, across, up))
