"""Which streets of the layer an address's street name can mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.place.street_names import name_parts, normal_name

Positions = NDArray[np.intp]


@dataclass(frozen=True)
class Named:
    """Street names of addresses held against those of a layer.

    ``code`` [n]: number of the name in each address, -1 for none. ``keys``: sorted ``code * streets + street`` for
    each name and each street of the layer that it can mean.
    """

    code: Positions
    keys: NDArray[np.int64]
    streets: int

    def agrees(self, address: Positions, street: Positions) -> NDArray[np.bool_]:
        """Whether ``street`` [k; -1 unnamed] can be the one in ``address`` [k; position]."""
        code = self.code[address]
        key = code.astype(np.int64) * self.streets + street
        at = np.minimum(np.searchsorted(self.keys, key), max(len(self.keys) - 1, 0))
        same = self.keys[at] == key if len(self.keys) else np.zeros(len(key), dtype=bool)
        return np.asarray((code >= 0) & (street >= 0) & same)

    @property
    def in_layer(self) -> NDArray[np.bool_]:
        """Whether the layer has a street that each address can mean [n]."""
        return np.isin(self.code, self.keys // max(self.streets, 1)) & (self.code >= 0)

    def told(self, near: Positions) -> NDArray[np.str_]:
        """What became of each name [n], given which addresses have a street ``near`` that agrees [k; positions].

        "no name"; "agrees" with the one street of that name; agrees, but can mean "several" of the layer; stands
        "elsewhere" in the layer; is "unknown" there.
        """
        found = np.where(self.code >= 0, "unknown", "no name").astype("<U9")
        found[self.in_layer] = "elsewhere"
        found[near] = "agrees"
        meanings = np.bincount(self.keys // max(self.streets, 1), minlength=self.code.max(initial=-1) + 1)
        several = np.append(meanings, 0)[self.code] > 1
        found[several & (found == "agrees")] = "several"
        return found


def named(streets: pd.Series, layer: tuple[str, ...]) -> Named:
    """The names ``streets`` [n; text] of addresses held against ``layer``, names made alike.

    A name means the street that bears it whole; if there is none, those that differ only in a kind or a compass
    point that one of the two leaves out: "Oak" or "N Oak St" for "oak street".
    """
    code, unique = pd.factorize(normal_name(streets))
    names, there = pd.Series(unique, dtype="str"), pd.Series(layer, dtype="str")
    whole = pd.Index(there).get_indexer(names)
    means = [np.column_stack([np.flatnonzero(whole >= 0), whole[whole >= 0]])]
    ours, theirs = name_parts(names[whole < 0]), name_parts(there)
    ours["name"], theirs["street"] = ours.index, theirs.index
    pairs = ours[ours["core"] != ""].merge(theirs, on="core")
    fits = pd.Series(True, index=pairs.index)
    for part in ("kind", "compass"):
        one, other = pairs[f"{part}_x"], pairs[f"{part}_y"]
        fits &= (one == other) | (one == "") | (other == "")
    means.append(pairs.loc[fits, ["name", "street"]].to_numpy(dtype=np.int64))
    found = np.concatenate(means).astype(np.int64)
    return Named(code.astype(np.intp), np.sort(found[:, 0] * len(layer) + found[:, 1]), len(layer))
