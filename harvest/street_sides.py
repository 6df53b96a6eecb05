"""Parcels on the sides of streets, and the sides as a table."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from harvest.clock import Clock
from harvest.estimate import Estimate, Inputs
from harvest.fields.canvass import COMPASS
from harvest.findings import Account
from harvest.layers import Layer, between
from harvest.place.addresses import address_parts
from harvest.place.frontage import Frontage, frontage
from harvest.place.frontage_check import check_frontage
from harvest.place.parity import Parity, check_parity, parity
from harvest.place.plane import Geometries, onto_plane, transformed
from harvest.place.segments import Segments, segments
from harvest.plan.side_sums import side_sums
from harvest.project import Settings

LEFT, RIGHT = "L", "R"
NO_STREET_NAME = "a street without a name"
STREET_END = "its end"


@dataclass(frozen=True)
class OnStreets:
    """Where the parcels of a town stand.

    ``on``: stretches of street [k], ``segment_id`` [k] their ids. ``row`` [m]: positions in the parcel table of those
    that were placed; ``found``, ``numbers`` (house numbers) and ``parity`` go with them.
    """

    on: Segments
    segment_id: NDArray[np.object_]
    row: NDArray[np.intp]
    found: Frontage
    numbers: pd.Series
    parity: Parity

    def side_names(self) -> NDArray[np.object_]:
        """The id of the side that each placed parcel stands on [m]; None where it stands on none."""
        names = _at(self.segment_id, self.found.segment)
        sides = zip(names, self.found.side > 0, strict=True)
        return np.array(
            [None if name is None else f"{name} {LEFT if left else RIGHT}" for name, left in sides], object
        )


def _at(texts: NDArray[np.object_], place: NDArray[np.intp]) -> NDArray[np.object_]:
    """Those of ``texts`` [k] at ``place`` [m]; None where it is -1."""
    return np.asarray([*texts, None], dtype=object)[place]


def on_streets(
    found: Estimate, inputs: Inputs, settings: Settings, clock: Clock
) -> tuple[Estimate, OnStreets | None]:
    """``found`` with the street and the side that each parcel stands on; None where the project has no streets.

    Single units stand where their site does. Common ground around pads stands nowhere: nobody lives on it.
    """
    if inputs.streets is None or settings.streets is None:
        return found, None
    with clock.step("streets"):
        on = _cut(inputs.streets, found, settings)
    parcels = found.parcels
    with clock.step("parcels on streets"):
        row = np.flatnonzero(~(parcels["is_unit"] | parcels["is_common"]).to_numpy(dtype=bool))
        mine = parcels.iloc[row]
        parts = address_parts(mine["address"]).reset_index(drop=True)
        stands = frontage(onto_plane(mine, found.plane), parts["street"], on, settings.streets)
        kinds = parity(
            parts["number"],
            stands.segment,
            stands.side,
            share=settings.streets.parity_share,
            least=settings.streets.parity_least,
        )
        placed = OnStreets(
            on, _segment_ids(on, inputs.streets.frame["street_id"]), row, stands, parts["number"], kinds
        )
        ids = mine["parcel_id"].to_numpy(dtype=object)
        told = (
            *on.findings,
            *check_frontage(stands, ids, on, settings.streets),
            *check_parity(kinds, ids, settings.streets.parity_share),
        )
    account = Account(
        "parcels on streets",
        len(parcels),
        int((stands.segment >= 0).sum()),
        dropped={
            "single units and common ground": len(parcels) - len(row),
            "on no street": int((stands.segment < 0).sum()),
        },
    )
    table = _with_texts(
        parcels, row, {"street": _at(on.name, stands.segment), "side_id": placed.side_names()}
    )
    return (
        replace(
            found,
            parcels=table,
            findings=(*found.findings, *told),
            accounts=(*found.accounts, inputs.streets.account.then(on.account), account),
        ),
        placed,
    )


def _cut(streets: Layer, found: Estimate, settings: Settings) -> Segments:
    """The streets in the plane, cut at junctions."""
    assert settings.streets is not None
    frame = streets.frame
    return segments(
        onto_plane(frame, found.plane),
        frame["street_id"].to_numpy(dtype=object),
        frame["name"],
        frame["no_crossing"].to_numpy(dtype=bool),
        snap_m=settings.streets.snap_m,
        longest_m=settings.streets.longest_m,
        level=frame["level"].to_numpy(dtype=np.int64),
    )


def _segment_ids(on: Segments, street_id: pd.Series) -> NDArray[np.object_]:
    """Ids of the stretches [k]: the street's own, and the number of the stretch along it where it was cut."""
    line = pd.Series(on.line)
    number = (line.groupby(line).cumcount() + 1).astype("str")
    own = street_id.iloc[on.line].reset_index(drop=True)
    return np.asarray(own.mask(line.duplicated(keep=False), own + "." + number), dtype=object)


def _with_texts(
    parcels: gpd.GeoDataFrame, row: NDArray[np.intp], texts: dict[str, NDArray[np.object_]]
) -> gpd.GeoDataFrame:
    """``parcels`` with ``texts`` [m] in their rows; single units have those of their site."""
    columns = {}
    for name, values in texts.items():
        column = np.full(len(parcels), None, dtype=object)
        column[row] = values
        series = pd.Series(pd.array(column, dtype="str"), index=parcels.index)
        of_site = pd.Series(series.to_numpy(), index=parcels["parcel_id"].to_numpy())
        columns[name] = series.fillna(parcels["site_id"].map(of_site).astype("str"))
    return parcels.assign(**columns)


def sides_table(found: Estimate, placed: OnStreets, settings: Settings) -> gpd.GeoDataFrame:
    """The sides of streets that have parcels, with the columns of the register but ``round``; rows by id.

    The parcels of ``found`` have their worth; single units and common ground, which hold no litres, count nowhere.
    """
    parcels = found.parcels.iloc[placed.row].reset_index(drop=True)
    on, stands = placed.on, placed.found
    letters = placed.side_names()
    known = pd.DataFrame(
        {"side_id": letters, "segment": stands.segment, "side": stands.side, "number": placed.numbers}
    ).assign(parity=placed.parity.found)
    known = known[known["segment"] >= 0]
    each = known.drop_duplicates("side_id").sort_values("side_id").set_index("side_id")
    length = pd.Series(on.length_m[each["segment"]], index=each.index)
    sums = side_sums(parcels, length, settings.rounds).set_index("side_id")
    segment = each["segment"].to_numpy()
    text = {
        "street": on.name[segment],
        "stretch": _stretches(on)[segment],
        "side": _compass(on.geometry[segment], each["side"].to_numpy()),
        "numbers": _numbers(known).reindex(each.index).to_numpy(dtype=object),
    }
    back = between(found.plane, parcels.crs)
    frame = sums.assign(
        **{name: pd.array(values, dtype="str") for name, values in text.items()},
        no_crossing=on.no_crossing[segment],
    ).reset_index()
    return gpd.GeoDataFrame(frame, geometry=transformed(on.geometry[segment], back), crs=parcels.crs)


def _numbers(known: pd.DataFrame) -> pd.Series:
    """Lowest and highest house number of each side, and of which kind they are; NA without a number."""
    by_side = known.dropna(subset=["number"]).groupby("side_id")
    ends = by_side["number"].agg(["min", "max"]).astype("str")
    kind = by_side["parity"].first()
    span = ends["min"].where(ends["min"] == ends["max"], ends["min"] + " to " + ends["max"])
    return span.where(~kind.isin(["odd", "even"]), span + ", " + kind)


def _compass(lines: Geometries, side: NDArray[np.int8]) -> NDArray[np.object_]:
    """On which side of ``lines`` [s; plane, m] by the compass a ``side`` [s] lies: 1 left of the line, -1 right."""
    first, last = (shapely.get_coordinates(shapely.get_point(lines, at)) for at in (0, -1))
    east, north = (last - first).T
    away_east, away_north = -north * side, east * side
    quarter = np.rint(np.degrees(np.arctan2(away_east, away_north)) / 90).astype(int) % 4
    return np.asarray(np.array(COMPASS, dtype=object)[quarter])


def _stretches(on: Segments) -> NDArray[np.object_]:
    """Between which streets each stretch lies [k], such as "Elm Street to Oak Road"."""
    names = np.where(pd.isna(on.name), NO_STREET_NAME, on.name.astype(object))
    own = np.where(on.street >= 0, on.street, -2 - np.arange(len(on)))
    meeting: dict[int, list[tuple[str, int]]] = {}
    for node, name, street in zip(
        np.concatenate([on.node_from, on.node_to]).tolist(),
        [*names, *names],
        np.concatenate([own, own]).tolist(),
        strict=True,
    ):
        meeting.setdefault(node, []).append((name, street))

    def crossing(node: int, street: int) -> str:
        others = sorted({name for name, other in meeting[node] if other != street})
        named = [name for name in others if name != NO_STREET_NAME]
        return (named or others or [STREET_END])[0]

    texts = [
        f"{crossing(one, street)} to {crossing(other, street)}"
        for one, other, street in zip(on.node_from.tolist(), on.node_to.tolist(), own.tolist(), strict=True)
    ]
    return np.array(texts, dtype=object)
