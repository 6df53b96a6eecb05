"""What the still figure shows, worked out from the result: shapes in a plane, their classes, and every text.

The plane is the run's own, equal-area and centred on the town, so that north is up and lengths are true there;
the parcels' own coordinates may be turned by several degrees.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from harvest.fields.parcels import COMMON_GROUND, UNIT
from harvest.result import Result
from harvest.show.card_texts import one_line
from harvest.show.classes import class_colours, class_numbers, quantile_breaks
from harvest.show.figures import read_unit, shown
from harvest.show.measures import COLOURED, classes_of
from harvest.show.streets import WORTH_A_MINUTE, best_streets
from harvest.show.town import made_up_days, town_figures
from harvest.show.words.cards import day_told
from harvest.show.words.figure import said

BEST = 10
LONGEST_TOWN = 60
LONGEST_STREET = 30
LONGEST_FILE = 40
MOST_FILES = 6
CLEAR = 0.06
"""Numbers stand this far apart, as a share of the town's longer side, where they can."""

ALONG = (0.5, 0.25, 0.75)
"""Where along a side a number may stand, best first."""

DIGITS = 2
LEVELS = ("runoff_l_yr", "capturable_l_yr", "yield_l_yr")

GROUNDS = {
    "water": (
        "water",
        "river",
        "lake",
        "pond",
        "sea",
        "ocean",
        "stream",
        "creek",
        "harbor",
        "harbour",
        "bay",
    ),
    "green": (
        "park",
        "green",
        "wood",
        "forest",
        "garden",
        "cemetery",
        "field",
        "open space",
        "grass",
        "marsh",
    ),
    "street": ("street", "road", "lane", "path"),
}
"""What a kind of surroundings is drawn as, by a word in it; everything else is ``other``."""

Shapes = NDArray[np.object_]


@dataclass(frozen=True)
class Number:
    """The number of one of the best streets, and where it stands [m in the plane]."""

    number: int
    x: float
    y: float


@dataclass(frozen=True)
class Scene:
    """Everything on a figure.

    ``shapes`` are parcels, those that lie under others first, or street sides (lines) where ``streets``;
    ``classes`` has one number each, as ``mapdata.Classes`` numbers them, and ``left`` tells of each line whether it
    is the left side. ``ground`` are parcels under street sides. ``best`` are the lines of the best streets and
    ``names`` those streets in order. ``legend`` has a text for each class from the lowest, ``nil`` and ``missing``
    are those of the others; ``levels`` are the town's totals as label and figure.
    """

    streets: bool
    shapes: Shapes
    classes: NDArray[np.int64]
    colours: tuple[str, ...]
    view: tuple[float, float, float, float]
    units: str
    left: NDArray[np.bool_]
    ground: Shapes
    surroundings: dict[str, Shapes]
    best: Shapes
    numbers: list[Number]
    names: list[str]
    title: str
    under: str
    heading: str
    legend: list[str]
    nil: str
    missing: str
    levels_heading: str
    levels: list[tuple[str, str]]
    caution: str
    source: str


def scene(result: Result, whole_streets: bool = False) -> Scene | None:
    """What there is to draw of ``result``: street sides by worth where it has any, else parcels by capturable
    volume; None where no parcel has an outline.

    With ``whole_streets`` all sides of a street get the street's worth, and those with too few homes none, for
    paper that may be handed out.
    """
    parcels = _in_plane(result, "parcels", ["parcel_id", "status", COLOURED, "geometry"]).sort_values(
        "parcel_id"
    )
    # Units of stacked parcels lie under the site that holds their litres.
    parcels = parcels[~(parcels.geometry.isna() | parcels.geometry.is_empty | parcels["status"].eq(UNIT))]
    if parcels.empty:
        return None
    units, town = result.run["units"], one_line(str(result.run["town"]), LONGEST_TOWN)
    west, south, east, north = (float(one) for one in parcels.total_bounds)
    shared: dict[str, Any] = {
        "view": (west, south, east, north),
        "units": units,
        "surroundings": _surroundings(result),
        "levels_heading": said("levels"),
        "levels": _levels(result),
        "caution": said("caution"),
        "source": _source(result),
    }
    if result.has("sides"):
        return _of_sides(result, parcels.geometry.to_numpy(), town, shared, whole_streets)
    classes = classes_of(parcels, units)
    above = ~parcels["status"].eq(COMMON_GROUND).to_numpy()
    order = np.lexsort((np.arange(len(parcels)), classes.numbers, above))
    unit, _ = read_unit(units, "L/yr")
    return Scene(
        streets=False,
        shapes=parcels.geometry.to_numpy()[order],
        classes=classes.numbers[order],
        colours=classes.colours,
        left=np.zeros(0, dtype=bool),
        ground=np.zeros(0, dtype=object),
        best=np.zeros(0, dtype=object),
        numbers=[],
        names=[],
        title=said("title_parcels", town=town),
        under=_under_parcels(result),
        heading=said("legend_parcels", unit=unit),
        legend=class_texts(classes.breaks),
        nil=said("legend_nil"),
        missing=said("legend_missing"),
        **shared,
    )


def _of_sides(
    result: Result, ground: Shapes, town: str, shared: dict[str, Any], whole_streets: bool
) -> Scene:
    columns = ["side_id", "street", "district", "worth_l_yr", WORTH_A_MINUTE, "geometry"]
    sides = _in_plane(result, "sides", columns).sort_values("side_id").reset_index(drop=True)
    sides = sides[~(sides.geometry.isna() | sides.geometry.is_empty)]
    if len(sides):
        ends = np.array([shared["view"], sides.total_bounds])
        shared["view"] = tuple(float(one) for one in (*ends[:, :2].min(axis=0), *ends[:, 2:].max(axis=0)))
    # Litres a year that a minute wins: the unit is that of a year's litres, the minute stands in the heading.
    unit, converted = read_unit(shared["units"], "L/yr")
    streets, _ = best_streets(result)
    per_minute = sides[WORTH_A_MINUTE].to_numpy(dtype=float, na_value=np.nan)
    if whole_streets:
        per_minute = np.append(streets[WORTH_A_MINUTE].to_numpy(dtype=float), np.nan)[_row_of(sides, streets)]
    worth = converted(1.0) * per_minute
    breaks = quantile_breaks(np.where(worth > 0, worth, np.nan))
    rows = streets.head(BEST)
    of_row = _row_of(sides, rows)
    return Scene(
        streets=True,
        shapes=sides.geometry.to_numpy(),
        classes=class_numbers(worth, breaks),
        colours=class_colours(len(breaks) + 1),
        left=sides["side_id"].str.endswith("L").to_numpy(dtype=bool),
        ground=ground,
        best=sides.geometry.to_numpy()[of_row >= 0],
        numbers=_numbers(sides, of_row, len(rows), shared["view"]),
        names=_names(rows),
        title=said("title_streets", town=town),
        under=said("under_streets"),
        heading=said("legend_streets", unit=unit),
        legend=class_texts(breaks),
        nil=said("legend_nil_streets"),
        missing=said("legend_few" if whole_streets else "legend_missing"),
        **shared,
    )


def _in_plane(result: Result, name: str, columns: list[str]) -> gpd.GeoDataFrame:
    frame = result.table(name, columns)
    assert isinstance(frame, gpd.GeoDataFrame)
    return frame.to_crs(result.run["plane"])


def _surroundings(result: Result) -> dict[str, Shapes]:
    """Surroundings by what they are drawn as, in the order in which they are drawn; points are left out."""
    if not result.has("context"):
        return {}
    frame = _in_plane(result, "context", ["kind", "geometry"])
    return by_ground(frame[shapely.get_dimensions(frame.geometry.to_numpy()) > 0])


def by_ground(frame: gpd.GeoDataFrame) -> dict[str, Shapes]:
    """The shapes of ``frame`` by what its column ``kind`` is drawn as, in the order in which they are drawn."""
    ground = frame["kind"].map(ground_of)
    found = {
        name: frame.geometry.to_numpy()[ground.eq(name)] for name in ("other", "green", "water", "street")
    }
    return {name: shapes for name, shapes in found.items() if len(shapes)}


def ground_of(kind: str) -> str:
    """What a ``kind`` of surroundings, as the project file calls it, is drawn as."""
    words = kind.casefold()
    return next((name for name, signs in GROUNDS.items() if any(sign in words for sign in signs)), "other")


def _row_of(sides: pd.DataFrame, rows: pd.DataFrame) -> NDArray[np.int64]:
    """Which of ``rows`` each side belongs to; -1 for none."""
    places = zip(rows["street"], rows["district"].fillna(""), strict=True)
    known = {place: number for number, place in enumerate(places)}
    mine = zip(sides["street"], sides["district"].fillna(""), strict=True)
    return np.array([known.get(place, -1) for place in mine], dtype=np.int64)


def _numbers(
    sides: gpd.GeoDataFrame, of_row: NDArray[np.int64], count: int, view: tuple[float, float, float, float]
) -> list[Number]:
    """A place for the number of each street: on its most valuable side that has one clear of the others."""
    lines = _longest(sides.geometry)
    worth = sides["worth_l_yr"].to_numpy(dtype=float, na_value=0.0)
    clear = CLEAR * max(view[2] - view[0], view[3] - view[1])
    placed: list[Number] = []
    for row in range(count):
        mine = np.flatnonzero(of_row == row)
        mine = mine[np.argsort(-worth[mine], kind="stable")]
        spots = shapely.get_coordinates(
            shapely.line_interpolate_point(
                np.repeat(lines[mine], len(ALONG)), ALONG * len(mine), normalized=True
            )
        )
        others = np.array([(one.x, one.y) for one in placed]).reshape(-1, 1, 2)
        away = np.hypot(*(others - spots).transpose(2, 0, 1)).min(axis=0, initial=np.inf)
        free = np.flatnonzero(away >= clear)
        x, y = spots[free[0] if len(free) else np.argmax(away)]
        placed.append(Number(row + 1, float(x), float(y)))
    return placed


def _longest(lines: gpd.GeoSeries) -> Shapes:
    """The longest part of each line."""
    return np.array(
        [max(shapely.get_parts(line), key=lambda part: part.length) for line in lines], dtype=object
    )


def _names(rows: pd.DataFrame) -> list[str]:
    """Streets by name, with the district where a name stands twice among them."""
    twice = rows["street"].duplicated(keep=False)
    return [
        said("street", street=one_line(street, LONGEST_STREET), district=one_line(district, LONGEST_STREET))
        if again and isinstance(district, str)
        else one_line(street, LONGEST_STREET)
        for street, district, again in zip(rows["street"], rows["district"], twice, strict=True)
    ]


def _levels(result: Result) -> list[tuple[str, str]]:
    litres = {name: one.value for name, one in town_figures(result).items()}
    return levels_told(litres, result.run["units"])


def levels_told(litres: Mapping[str, float | None], units: str) -> list[tuple[str, str]]:
    """The levels of water that ``litres`` [L] holds by name, as label and figure."""
    known = [name for name in LEVELS if name in litres]
    return [(said(f"level_{name}"), shown(litres[name], "L", units, DIGITS)) for name in known]


def class_texts(breaks: Sequence[float]) -> list[str]:
    """A text for each class, lowest first; the unit stands in the legend's heading."""
    if not breaks:
        return [said("legend_any")]
    told = [f"{one:,.15g}" for one in breaks]
    between = [said("legend_between", low=low, high=high) for low, high in pairwise(told)]
    return [said("legend_under", high=told[0]), *between, said("legend_over", low=told[-1])]


def _under_parcels(result: Result) -> str:
    settings = {one["setting"]: one["value"] for one in result.run["settings"]}
    first, last = settings["season.first"], settings["season.last"]
    if (first, last) == ("01-01", "12-31"):
        return said("under_parcels_year")
    units = result.run["units"]
    return said("under_parcels", first=day_told(first, units), last=day_told(last, units))


def _source(result: Result) -> str:
    """Files, dates of the data, and the program; the day of the run only where the run tells it."""
    run = result.run
    files = list(dict.fromkeys(one_line(str(one["file"]), LONGEST_FILE) for one in run["inputs"]))
    told = ", ".join(files[:MOST_FILES])
    if len(files) > MOST_FILES:
        told = said("more_files", files=told, count=len(files) - MOST_FILES)
    return " ".join([*([said("source", files=told)] if files else []), dates_told(run)])


def dates_told(run: Mapping[str, Any]) -> str:
    """Of when the data are, and which program worked them out; names no file."""
    settings = {one["setting"]: one["value"] for one in run["settings"]}
    parts = []
    if settings.get("footprints.imagery_year") is not None:
        parts.append(said("source_imagery", year=settings["footprints.imagery_year"]))
    years = (run.get("weather") or {}).get("years")
    if made_up_days(run):
        parts.append(said("source_made_up"))
    elif years:
        parts.append(said("source_gauge", first=min(years), last=max(years)))
    if run.get("day"):
        parts.append(said("source_run", day=one_line(str(run["day"]), LONGEST_FILE)))
    parts.append(said("made_with", program=run["program"], version=run["version"]))
    return " ".join(parts)
