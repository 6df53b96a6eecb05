"""Which parcel a row of the office's files means: by id, else by its address, and never by a guess.

What a spreadsheet does to ids (1.23E+12, leading zeros gone) can't be undone from the id alone, so such a row goes by
its address where that is one parcel's; else it is set aside, with the parcels that look most like it.
"""

from __future__ import annotations

import difflib
import re
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from decimal import Decimal
from itertools import islice

import pandas as pd

from harvest.fields.outreach import UNMATCHED
from harvest.findings import Finding, Severity

BY_ID, BY_ADDRESS, BY_NUMBER, BY_SUCCESSOR = (
    "id",
    "address",
    "number without its zeros",
    "parcel it became part of",
)

NO_PLACE = "no parcel and no address"
ROUNDED = "a spreadsheet has rounded the parcel's id, so its digits are lost; write it as text"
NO_ZEROS = "the parcel's id has lost its leading zeros; write it as text"
NO_PARCEL = "no parcel has this id"
NO_ADDRESS = "no parcel has this address"
SEVERAL = "several parcels have this address; give the parcel's id"
CONTRADICTED = "the id and the address are two parcels"
DIVIDED = "the parcel was split; say which part is meant"

NEAR = 3
SHORTLIST = 40
"""So many parcels on either side of an id, in order, and so many that share words of an address, are compared."""

LONGEST_ID = 60
"""No id has more digits than this."""

COMMON = 1_000
"""A word that so many addresses share, such as street, tells none of them."""

_ROUNDED = r"[+-]?\d(?:[.,]\d+)?e[+]?\d+"
_WORD = re.compile(r"\w+")


def matched(
    rows: pd.DataFrame,
    parcels: pd.DataFrame,
    row_keys: pd.Series,
    parcel_keys: pd.Series,
    *,
    successors: Mapping[str, Sequence[str]] | None = None,
    restore_zeros: bool = False,
) -> pd.DataFrame:
    """The parcel of each of ``rows`` [n], on their index: ``parcel_id`` (NA where none), ``matched_by``, ``reason``
    (text, "" where there is a parcel) and ``candidates`` (text, the nearest parcels where there is none).

    ``rows`` have ``parcel`` and ``address`` as they were written ("" where nothing was). ``parcels`` [m] have
    ``parcel_id`` (unique) and ``address``. ``row_keys`` [n] and ``parcel_keys`` [m] are the addresses in one
    normal form, "" or NA where there is none. ``successors`` name, for parcels that were split or merged, what they
    became. With ``restore_zeros`` an id that lost its zeros counts where one parcel only has that number and the
    address does not gainsay it.
    """
    ids = pd.Index(parcels["parcel_id"])
    written = rows["parcel"].astype("str")
    became = {old: tuple(new) for old, new in (successors or {}).items() if old not in ids}
    heir = written.map({old: new[0] for old, new in became.items() if len(new) == 1}).astype("str")
    divided = written.isin([old for old, new in became.items() if len(new) > 1])
    by_id = _found(heir.fillna(written), parcels["parcel_id"], parcels["parcel_id"])
    by_id = by_id.fillna(_found(_squeezed(written), _squeezed(parcels["parcel_id"]), parcels["parcel_id"]))
    number = _found(_number(written), _number(parcels["parcel_id"]), parcels["parcel_id"])
    rounded = written.str.fullmatch(_ROUNDED, flags=re.IGNORECASE)
    bare = by_id.isna() & written.str.fullmatch(r"\d+") & _number(written).isin(_number(parcels["parcel_id"]))
    number = number.where(bare)

    keys = row_keys.fillna("").astype("str")
    there = parcel_keys.fillna("").astype("str")
    by_address = _found(keys, there, parcels["parcel_id"])
    several = (keys != "") & keys.isin(there[there.duplicated() & (there != "")])
    meant = by_id.fillna(number)
    same = pd.Series(keys.to_numpy() == _at(there, ids, meant), index=rows.index) & meant.notna()
    gainsaid = meant.notna() & (by_address.notna() & (by_address != meant) | several & ~same)

    parcel = by_id.fillna(by_address)
    how = pd.Series(BY_ID, index=rows.index, dtype="str").mask(heir.notna(), BY_SUCCESSOR)
    how = how.mask(by_id.isna(), BY_ADDRESS)
    if restore_zeros:
        restored = parcel.isna() & number.notna()
        parcel, how = parcel.fillna(number), how.mask(restored, BY_NUMBER)
    parcel = parcel.mask(gainsaid)
    reason = _reasons(
        parcel, written, keys, rounded=rounded, bare=bare, divided=divided, several=several, gainsaid=gainsaid
    )
    lost = rows.index[parcel.isna()]
    near = _Near(parcels if len(lost) else parcels.head(0), there if len(lost) else there.head(0))
    candidates = {}
    for row in lost:
        known = [*became[written[row]]] if divided[row] else [meant[row], by_address[row]]
        id_of_no_use = rounded[row] and keys[row] != ""
        candidates[row] = near.told(
            [one for one in known if isinstance(one, str)], "" if id_of_no_use else written[row], keys[row]
        )
    return pd.DataFrame(
        {
            "parcel_id": parcel,
            "matched_by": how.where(parcel.notna()),
            "reason": reason,
            "candidates": pd.Series(candidates, index=rows.index, dtype="str").fillna(""),
        }
    )


def _found(wanted: pd.Series, names: pd.Series, ids: pd.Series) -> pd.Series:
    """The one of ``ids`` [m] whose name [m] is ``wanted`` [n]; NA where none or several are."""
    known = pd.Series(ids.to_numpy(), index=names.to_numpy(), dtype="str")
    known = known[~known.index.duplicated(keep=False) & (known.index != "") & known.index.notna()]
    return wanted.map(known).astype("str")


def _squeezed(ids: pd.Series) -> pd.Series:
    """Ids without case, spaces, hyphens, and the point that makes a number of 123."""
    plain = ids.astype("str").str.casefold().str.replace(r"[\s\-]+", "", regex=True)
    return plain.str.replace(r"^(\d+)\.0+$", r"\1", regex=True)


def _number(ids: pd.Series) -> pd.Series:
    """Ids of nothing but digits as numbers without leading zeros, "" for others."""
    digits = ids.astype("str").where(ids.astype("str").str.fullmatch(r"\d+"), "")
    return digits.str.lstrip("0")


def _at(keys: pd.Series, ids: pd.Index, wanted: pd.Series) -> object:
    """The key of each parcel ``wanted``, "" where there is none."""
    return pd.Series(keys.to_numpy(), index=ids).reindex(wanted).fillna("").to_numpy()


def _reasons(parcel: pd.Series, written: pd.Series, keys: pd.Series, **where: pd.Series) -> pd.Series:
    """Why there is no parcel [n; text, "" where there is one]; the last that applies is told."""
    reason = pd.Series(NO_PARCEL, index=parcel.index, dtype="str")
    reason = reason.mask(keys != "", NO_ADDRESS)
    reason = reason.mask(where["bare"], NO_ZEROS).mask(where["rounded"], ROUNDED)
    reason = reason.mask((written == "") & (keys == ""), NO_PLACE)
    reason = reason.mask(where["several"], SEVERAL)
    reason = reason.mask(where["divided"], DIVIDED).mask(where["gainsaid"], CONTRADICTED)
    return reason.where(parcel.isna(), "")


class _Near:
    """Finds the parcels that look most like what was written, few comparisons each."""

    def __init__(self, parcels: pd.DataFrame, keys: pd.Series) -> None:
        self._address = dict(zip(parcels["parcel_id"], parcels["address"].fillna(""), strict=True))
        self._by_key: dict[str, list[str]] = {}
        for key, one in zip(keys, parcels["parcel_id"], strict=True):
            self._by_key.setdefault(key, []).append(one)
        self._forward = sorted(self._address)
        self._backward = sorted(one[::-1] for one in self._address)
        self._words: dict[str, list[str]] = {}
        for key in self._by_key:
            for word in dict.fromkeys(_WORD.findall(key)):
                self._words.setdefault(word, []).append(key)
        self._told: dict[tuple[str, str], str] = {}

    def told(self, known: list[str], written: str, key: str) -> str:
        """The nearest parcels with their addresses, parted by semicolons; ``known`` ones before all others."""
        if (written, key) not in self._told or known:
            found = [*known, *self._by_address(key), *self._by_id(written)]
            ids = list(dict.fromkeys(found))[: max(NEAR, len(known))]
            self._told[written, key] = "; ".join(
                f"{one} ({self._address[one]})" if self._address.get(one) else one for one in ids
            )
        return self._told[written, key]

    def _by_id(self, written: str) -> list[str]:
        """Ids that begin or end alike, best first; of a number rounded by a spreadsheet, those that round to it."""
        if not re.search(r"\d", written):
            return []
        if re.fullmatch(_ROUNDED, written, flags=re.IGNORECASE):
            return self._rounding_to(Decimal(written.replace(",", ".")))
        at, back = bisect_left(self._forward, written), bisect_left(self._backward, written[::-1])
        short = [
            *self._forward[max(0, at - SHORTLIST) : at + SHORTLIST],
            *(one[::-1] for one in self._backward[max(0, back - SHORTLIST) : back + SHORTLIST]),
        ]
        return difflib.get_close_matches(written, list(dict.fromkeys(short)), n=NEAR, cutoff=0.5)

    def _rounding_to(self, number: Decimal) -> list[str]:
        """Ids of digits alone that a spreadsheet shows as ``number``, the first few in order."""
        if number.adjusted() > LONGEST_ID:
            return []
        half = Decimal(5).scaleb(int(number.as_tuple().exponent) - 1)
        low, high = str(int(number - half)), str(int(number + half))
        ahead = islice(self._forward, bisect_left(self._forward, low), bisect_right(self._forward, high))
        alike = (one for one in ahead if one.isdecimal() and len(low) <= len(one) <= len(high))
        return list(islice(alike, NEAR))

    def _by_address(self, key: str) -> list[str]:
        """Parcels whose addresses share most words, rarest words first, and house numbers that begin alike."""
        words = sorted(
            (word for word in _WORD.findall(key) if len(self._words.get(word, ())) in range(1, COMMON)),
            key=lambda word: len(self._words[word]),
        )
        short: dict[str, None] = {}
        for word in words:
            sharing = self._words[word]
            if len(sharing) > SHORTLIST:
                sharing = sorted(sharing, key=lambda one: one[:1] != key[:1])
            short |= dict.fromkeys(sharing[:SHORTLIST])
        near = difflib.get_close_matches(key, list(short), n=NEAR, cutoff=0.5)
        return [one for same in near for one in self._by_key[same]]


def once(visits: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame, list[Finding]]:
    """``visits`` that stand, those entered twice (with ``reason``), and what was noticed.

    Reads ``line``, ``parcel_id``, ``day``, ``outcome``, ``barrels`` and ``volume_l``. The same parcel, day, outcome and
    barrels again is one visit; two outcomes on a day are two visits, in the order of the file.
    """
    same = ["parcel_id", "day", "outcome", "barrels", "volume_l"]
    first = visits.groupby(same, dropna=False, sort=False)["line"].transform("first")
    twice = first != visits["line"]
    stand = visits[~twice]
    reason = "the same visit as in line " + first[twice].astype("str")
    again = stand.duplicated(["parcel_id", "day"], keep=False)
    found = []
    if twice.any():
        found.append(
            Finding.of(
                "visit entered twice",
                "visits",
                "warning",
                "line " + visits["line"][twice].astype("str"),
                f"Rows that repeat a visit of the same parcel, day and outcome, counted once: {int(twice.sum())}.",
                "Nothing to do, unless these were two visits.",
            )
        )
    if again.any():
        found.append(
            Finding.of(
                "visited twice in a day",
                "visits",
                "note",
                "line " + stand["line"][again].astype("str"),
                "Parcels visited more than once in a day with different outcomes, taken in the order of the file: "
                f"{stand['parcel_id'][again].nunique()}.",
                "Check that these lines stand in the order in which things happened.",
            )
        )
    return stand, visits[twice].assign(reason=reason), found


def check_unmatched(file: str, rows: pd.DataFrame, severity: Severity = "warning") -> list[Finding]:
    """A finding for each reason for which ``rows`` (``line``, ``reason``) of the section ``file`` have no parcel."""
    return [
        Finding.of(
            "row without a parcel",
            file,
            severity,
            [f"line {line}" for line in alike["line"]],
            f"Rows set aside, {reason}: {len(alike)}.",
            "Correct these lines; the table of rows set aside names the nearest parcels.",
        )
        for reason, alike in rows.groupby("reason", sort=True)
    ]


def set_aside(file: str, rows: pd.DataFrame) -> pd.DataFrame:
    """``rows`` of the section ``file`` as rows of the table of those set aside.

    Reads ``line``, ``parcel``, ``address`` and ``reason``; where there are any, ``candidates``, ``day`` and what the
    row says (``outcome`` or ``what``). Notes stay in the file, where the line finds them.
    """
    day = rows["day"].dt.strftime("%Y-%m-%d") if "day" in rows else ""
    says = next((rows[name] for name in ("outcome", "what") if name in rows), "")
    told = rows.assign(file=file, day=day, what=says, value="", note="")
    told = told.assign(candidates=told.get("candidates", ""))
    texts = dict.fromkeys((one.name for one in UNMATCHED.fields if one.dtype == "string"), "str")
    return told[list(UNMATCHED.names)].astype(texts).reset_index(drop=True)
