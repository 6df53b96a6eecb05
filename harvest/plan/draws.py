"""Every uncertain input drawn anew, many times over, for each roof.

An error that all roofs share is drawn once a draw for all of them, one that a block shares once for the block, and
a roof's own once for the roof. A random number depends on the seed, the input, the draw and the text of the id, and
on nothing else, so another order of rows, another cut into parts, or another roof beside it changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.project.doubt import Doubt
from harvest.project.money import Costs

Floats = NDArray[np.float64]
Keys = NDArray[np.uint64]
Level = Literal["all roofs", "block", "roof"]

CHUNK_VALUES = 1 << 18
"""Draws times rows worked on at once: small enough for a processor's cache."""


@dataclass(frozen=True)
class Input:
    """An input that is not known exactly: who shares its error, what to call it, and how far it may be off.

    ``middle`` is the figure the run used (1 for a factor). Half the draws lie below it and half above, each side
    thinning out evenly to nothing at ``low`` and ``high``; where both sides are as long, that is the triangular
    distribution.
    """

    name: str
    level: Level
    words: str
    low: float
    middle: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.middle <= self.high:
            raise ValueError(f"{self.name}: {self.middle} does not lie between {self.low} and {self.high}")

    def at(self, uniform: Floats) -> Floats:
        """The value below which a share ``uniform`` [any shape; 0 to 1] of the draws lies."""
        way = np.sqrt(2 * np.minimum(uniform, 1 - uniform))
        below, above = self.low - self.middle, self.high - self.middle
        return np.asarray(self.middle + np.where(uniform < 0.5, below, above) * (1 - way))


def inputs(doubt: Doubt, costs: Costs, weeks: float) -> dict[str, Input]:
    """Every uncertain input by name; ``weeks`` [1] is the share of weeks in which people draw, as the run has it.

    The ranges of ``weeks`` and of the share that replaces tap water reach to the figure in use.
    """

    def factor(name: str, level: Level, words: str) -> Input:
        low, high = getattr(doubt, name)
        return Input(name, level, words, low, 1.0, high)

    def value(name: str, words: str, ends: Sequence[float], middle: float) -> Input:
        return Input(name, "all roofs", words, min(ends[0], middle), middle, max(ends[1], middle))

    every = (
        factor("coefficient", "all roofs", "the runoff coefficient"),
        factor("rain", "all roofs", "the rainfall grid"),
        factor("imagery", "all roofs", "the imagery that roofs were drawn from"),
        value("weeks", "how often people draw from their barrels", doubt.weeks, weeks),
        value("replaces_tap", "how much tap water it replaces", doubt.replaces_tap, costs.replaces_tap),
        value("barrel_usd", "what a barrel costs", costs.barrel_range_usd, costs.barrel_usd),
        value("life_years", "how long a barrel lasts", costs.life_range_years, costs.life_years),
        factor("block", "block", "what roofs of a block have in common"),
        factor("footprint", "roof", "the outline of the roof"),
        factor("material", "roof", "the material of the roof"),
        factor("garden", "roof", "the size of the garden"),
    )
    return {one.name: one for one in every}


class Draws:
    """Random values of every input for ``ids`` [n], made in parts and only when asked for.

    ``blocks`` [n] names each roof's block; one that is missing makes a roof its own block. Raises ``ValueError``
    for a missing id, or where ids and blocks differ in number.
    """

    def __init__(
        self, ids: pd.Series, blocks: pd.Series, known: Mapping[str, Input], *, count: int, seed: int
    ) -> None:
        if len(ids) != len(blocks):
            raise ValueError(f"{len(ids)} ids but {len(blocks)} blocks")
        if ids.isna().any():
            raise ValueError("a draw needs an id, and one is missing")
        self.inputs = dict(known)
        self.count = count
        own = _keys(ids)
        lone = blocks.isna().to_numpy()
        block = np.where(lone, _mixed(own), _keys(blocks.mask(lone, "")))
        self._keys: dict[Level, Keys] = {"all roofs": np.zeros(1, np.uint64), "block": block, "roof": own}
        number = np.arange(count, dtype=np.uint64)
        start = _mixed(np.array([seed], dtype=np.uint64))
        names = _keys(pd.Series(list(self.inputs), dtype="str"))
        self._starts = {
            name: _mixed(_mixed(start ^ key) + number) for name, key in zip(known, names, strict=True)
        }
        self._shared = {
            one.name: self._drawn(one, slice(0, 1)) for one in known.values() if one.level == "all roofs"
        }

    def __len__(self) -> int:
        return len(self._keys["roof"])

    def _drawn(self, one: Input, rows: slice) -> Floats:
        keys = self._keys[one.level][rows]
        return one.at(_uniform(self._starts[one.name][:, None] ^ keys[None, :]))

    def values(self, name: str, rows: slice) -> Floats:
        """Draws of input ``name``: [draws, 1] where all roofs share it, else [draws, rows]."""
        one = self.inputs[name]
        return self._shared[name] if one.level == "all roofs" else self._drawn(one, rows)

    def parts(self) -> Iterator[tuple[slice, Factors]]:
        """Consecutive rows, few enough for a processor's cache, each part with its draws."""
        step = max(1, CHUNK_VALUES // self.count)
        for begin in range(0, len(self), step):
            rows = slice(begin, min(begin + step, len(self)))
            yield rows, Factors(self, rows)


class Factors:
    """The draws of a few rows. ``factors[name]`` is drawn at first use, [draws, 1] or [draws, rows]."""

    def __init__(self, draws: Draws, rows: slice) -> None:
        self._draws, self._rows = draws, rows
        self.used: dict[str, Floats] = {}

    def __getitem__(self, name: str) -> Floats:
        if name not in self.used:
            self.used[name] = self._draws.values(name, self._rows)
        return self.used[name]

    @property
    def area(self) -> Floats:
        """Factor on roof area [draws, rows; 1]."""
        return self["imagery"] * self["footprint"]

    @property
    def rain(self) -> Floats:
        """Factor on rain [draws, 1; 1]."""
        return self["rain"]

    @property
    def ratio(self) -> Floats:
        """Factor on the runoff coefficient [draws, rows; 1]."""
        return self["coefficient"] * self["material"] * self["block"]

    @property
    def demand(self) -> Floats:
        """Factor on what the garden asks for [draws, rows; 1]."""
        return self["garden"]

    @property
    def weeks(self) -> Floats:
        """Share of weeks in which people draw [draws, 1; 1], itself and not a factor."""
        return self["weeks"]

    @property
    def replaces_tap(self) -> Floats:
        """Share of the water drawn that replaces tap water [draws, 1; 1], itself and not a factor."""
        return self["replaces_tap"]


def _keys(texts: pd.Series) -> Keys:
    """A 64-bit number for each text, the same on every machine and in every order of rows."""
    return np.asarray(pd.util.hash_array(texts.to_numpy(dtype=object), categorize=False))


def _mixed(keys: Keys) -> Keys:
    """``keys`` scrambled one to one, each bit of the outcome hanging on each bit put in.

    The finalizer of Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators", OOPSLA, with
    the constants of Stafford's thirteenth variant.
    """
    mixed = keys + np.uint64(0x9E3779B97F4A7C15)
    mixed ^= mixed >> np.uint64(30)
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    mixed ^= mixed >> np.uint64(27)
    mixed *= np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    return mixed


def _uniform(keys: Keys) -> Floats:
    """Numbers strictly between 0 and 1 from scrambled ``keys``, 53 bits each."""
    top = _mixed(keys)
    top >>= np.uint64(11)
    return np.asarray((top.astype(np.float64) + 0.5) * 2.0**-53)
