"""Street networks made for tests: small grids, and the invented town's streets with every lot on its true side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from harvest.plan.canvass_time import door_minutes
from harvest.plan.round_graph import StreetSides
from harvest.project.rounds import Rounds


def grid(
    columns: int,
    rows: int,
    seed: int,
    *,
    doors: tuple[int, int] = (2, 9),
    metres: tuple[float, float] = (60.0, 140.0),
    missing: float = 0.1,
    divided: float = 0.1,
    minutes_a_door: float = 2.8,
) -> StreetSides:
    """A grid of streets: some segments missing, some not to be crossed, values that drift from block to block."""
    rng = np.random.default_rng(seed)
    place = np.arange(columns * rows).reshape(rows, columns)
    ends = np.concatenate(
        [
            np.column_stack([place[:, :-1].ravel(), place[:, 1:].ravel()]),
            np.column_stack([place[:-1].ravel(), place[1:].ravel()]),
        ]
    )
    ends = ends[rng.random(len(ends)) >= missing]
    count = len(ends)
    number = rng.integers(*doors, (count, 2))
    x, y = (ends % columns).mean(axis=1), (ends // columns).mean(axis=1)
    drift = 1 + 0.5 * np.sin(x / 1.7 + rng.uniform(0, 6)) * np.cos(y / 2.3 + rng.uniform(0, 6))
    value = number * drift[:, None] * rng.uniform(20, 80, (count, 2))
    return StreetSides.of(
        [f"s{i:04d}" for i in range(count)],
        ends[:, 0],
        ends[:, 1],
        rng.uniform(*metres, count),
        rng.random(count) < divided,
        number,
        value,
        number * minutes_a_door,
    )


@dataclass(frozen=True)
class TownStreets:
    """Columns that :meth:`StreetSides.of` takes, and one row a door: its segment (row), side, place and value."""

    columns: dict[str, Any]
    doors: pd.DataFrame

    @property
    def sides(self) -> StreetSides:
        """The network."""
        return StreetSides.of(**self.columns)


def town_streets(parcels: int, seed: int, rounds: Rounds) -> TownStreets:
    """The streets of an invented town of ``parcels`` houses, each on the side of its street that it was laid out on.

    A door is worth what barrels there may deliver, times the chances: a share of what its roof sheds that gardens
    use up by and by, larger lots having larger roofs and gardens, with habits that differ from quarter to quarter
    and from door to door. Figures are made up; only their spread matters here.
    """
    import town_ground
    import town_plan
    from town_streets import HALF_CLOSE_M, HALF_STREET_M

    plan = town_plan.lay_out(parcels, seed, plain=True)
    names = town_ground.street_names(plan, seed)
    lines = town_ground.streets_on(plan, names, seed)
    lots, flat = plan.lots, plan.lines.reset_index(drop=True)
    ends = np.array([np.concatenate([line.coords[0], line.coords[-1]]) for line in flat.geometry])
    upright = np.abs(ends[:, 0] - ends[:, 2]) < 1e-6
    low = np.where(upright, ends[:, [1, 3]].min(axis=1), ends[:, [0, 2]].min(axis=1))
    high = np.where(upright, ends[:, [1, 3]].max(axis=1), ends[:, [0, 2]].max(axis=1))
    middle = (lots["a0"] + lots["a1"]).to_numpy() / 2
    across = np.round(np.where(upright, ends[:, 0], ends[:, 1]) * 100).astype(np.int64)
    pieces = pd.DataFrame(
        {"across": across, "axis": upright.astype(int), "low": low, "high": high, "segment": flat.index}
    )
    half = np.where(lots["street"].map(plan.kinds) == "close", HALF_CLOSE_M, HALF_STREET_M)
    line = lots["front"] + np.sign(lots["front"] - lots["back"]) * half
    door = pd.DataFrame(
        {
            "across": np.round(line * 100).astype(np.int64),
            "axis": lots["axis"],
            "middle": middle,
            "lot": lots.index,
        }
    )
    ordered, keys = door.sort_values("middle", kind="stable"), ["across", "axis"]
    before = pd.merge_asof(
        ordered, pieces.sort_values("low", kind="stable"), left_on="middle", right_on="low", by=keys
    )
    after = pd.merge_asof(
        ordered,
        pieces.sort_values("low", kind="stable"),
        left_on="middle",
        right_on="low",
        by=keys,
        direction="forward",
    )
    joined = before.fillna(after).sort_values(
        "lot", kind="stable"
    )  # a few lots stand beyond the end of a close
    if joined["segment"].isna().any() or (joined["middle"] > joined["high"] + 30).any():
        raise ValueError("a lot lies on no segment of its street")
    joined["middle"] = joined["middle"].clip(joined["low"], joined["high"])
    segment = joined["segment"].to_numpy(dtype=np.int64)
    rng = np.random.default_rng([seed, 11])
    backwards = np.where(upright, ends[:, 1] > ends[:, 3], ends[:, 0] > ends[:, 2])[segment]
    along = np.where(backwards, joined["high"] - joined["middle"], joined["middle"] - joined["low"])
    length = lines.length.to_numpy()
    doors = pd.DataFrame(
        {
            "segment": segment,
            "side": lots["even"].to_numpy().astype(np.int64),
            "along_m": along * (length / (high - low))[segment],
            "value": _worth(plan, middle, rng) * rounds.answer * rounds.join * 0.6,
        }
    )
    number = np.zeros((len(lines), 2), dtype=np.int64)
    value = np.zeros((len(lines), 2))
    np.add.at(number, (doors["segment"], doors["side"]), 1)
    np.add.at(value, (doors["segment"], doors["side"]), doors["value"])
    points = np.round(ends.reshape(-1, 2), 2)
    _, node = np.unique(points, axis=0, return_inverse=True)
    return TownStreets(
        {
            "segment_id": [f"s{i:05d}" for i in range(len(lines))],
            "node_from": node.ravel()[0::2],
            "node_to": node.ravel()[1::2],
            "length_m": length,
            "no_crossing": (lines["type"] == "main").to_numpy(),
            "doors": number,
            "value": value,
            "minutes": number * float(door_minutes(rounds.answer, rounds)),
            "street": [names[i] for i in flat["street"]],
        },
        doors,
    )


def _worth(plan: Any, middle: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Litres used in a year behind each door [n; L/yr], made up as :func:`town_streets` says."""
    lots = plan.lots
    width = (lots["a1"] - lots["a0"]).to_numpy()
    depth = np.abs(lots["front"] - lots["back"]).to_numpy()
    roof = np.clip(0.28 * width * depth, 60, 320) * rng.uniform(0.7, 1.3, len(lots))
    upright = (lots["axis"] == 1).to_numpy()
    x = np.where(upright, lots["front"], middle) / 700.0
    y = np.where(upright, middle, lots["front"]) / 700.0
    habit = np.zeros(len(lots))
    for _ in range(6):
        angle, phase, wave = rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi), rng.uniform(0.5, 2.5)
        habit += np.sin(wave * (np.cos(angle) * x + np.sin(angle) * y) + phase) / 6
    garden = rng.uniform(4, 14, len(lots)) * np.exp(0.8 * habit)
    supply, demand = roof * 700 * 0.8 * 0.5, garden * 420
    return np.asarray(supply * demand / (supply + demand))
