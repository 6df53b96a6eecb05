"""Who stands on which list, in which order, and why others do not."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from harvest.fields.parcels import (
    ASSOCIATION,
    COMMON_GROUND,
    EXCLUDED,
    HOMES,
    LARGE_ROOFS,
    NO_FOOTPRINT,
    NO_GUTTER,
    NO_RAIN,
    NO_ROOF,
    RANKED,
    UNIT,
)
from harvest.findings import Finding
from harvest.project.ranking import Ranking

DIGITS_THAT_COUNT = 6
"""Measures are compared to this many significant digits, so that rounding noise never decides a rank."""


def statuses(parcels: pd.DataFrame, imagery_year: int | None) -> pd.DataFrame:
    """``status`` and ``reason`` of each of ``parcels`` [n].

    Reads ``roof_count``, ``guttered_area_m2``, ``runoff_l_yr``, ``built_year``, ``exclusion_reason`` and the flags
    ``is_unit``, ``is_site``, ``is_common``. The first that applies is the status, in the order written here.
    """
    bare = parcels["roof_count"].eq(0)
    late = bare & parcels["built_year"].gt(imagery_year if imagery_year is not None else np.inf).fillna(False)
    rules: list[tuple[pd.Series, str, str | None]] = [
        (parcels["is_unit"], UNIT, "Its water stands once, on the row of the site."),
        (parcels["exclusion_reason"].notna(), EXCLUDED, None),
        (late, NO_FOOTPRINT, f"Built after the imagery of {imagery_year}; look at the place itself."),
        (bare & parcels["is_common"], COMMON_GROUND, "Roofs here belong to the pads inside it."),
        (bare, NO_ROOF, None),
        (parcels["runoff_l_yr"].isna(), NO_RAIN, "The rainfall grid holds no figure for a roof here."),
        (parcels["guttered_area_m2"].eq(0), NO_GUTTER, "Only small roofs, none marked as having a gutter."),
        (parcels["is_site"], ASSOCIATION, "Stacked parcels over one roof; speak with their association."),
    ]
    masks = [mask.to_numpy(dtype=bool) for mask, _, _ in rules]
    code = np.select(masks, range(len(rules)), default=len(rules))
    status = _chosen([name for _, name, _ in rules] + [RANKED], code, parcels.index)
    reason = _chosen([text for _, _, text in rules] + [None], code, parcels.index)
    return pd.DataFrame({"status": status, "reason": reason.fillna(parcels["exclusion_reason"])})


def excluded(parcels: pd.DataFrame, reason: pd.Series) -> pd.DataFrame:
    """``status`` and ``reason`` of ``parcels`` [n], those with a further ``reason`` [n; text] taken off the lists.

    The order is that of :func:`statuses`: only a unit, whose litres stand elsewhere, stays what it is.
    """
    off = reason.notna() & parcels["status"].ne(UNIT)
    return pd.DataFrame(
        {"status": parcels["status"].mask(off, EXCLUDED), "reason": parcels["reason"].mask(off, reason)}
    )


def _chosen(words: Sequence[str | None], code: NDArray[np.integer[Any]], index: pd.Index[Any]) -> pd.Series:
    """The word that each of ``code`` [n] points at."""
    return pd.Series(pd.array(words, dtype="str").take(code), index=index)


def ranks(parcels: pd.DataFrame, settings: Ranking) -> pd.DataFrame:
    """``list``, ``rank`` and ``rank_score`` of each of ``parcels`` [n].

    Ranked parcels and associations are ordered on their list by score, largest first; equal scores go by
    ``parcel_id``. Associations stand with the large roofs.
    """
    stands = parcels["status"].isin([RANKED, ASSOCIATION]).to_numpy()
    large = _large(parcels, settings)
    score = np.where(stands, _score(parcels, stands, large, settings), np.nan)
    compared = _rounded(score)
    rank, place_by_id = np.zeros(len(parcels), dtype=np.int64), np.empty(len(parcels), dtype=np.int64)
    place_by_id[parcels["parcel_id"].argsort()] = np.arange(len(parcels))
    for chosen in (stands & ~large & ~np.isnan(score), stands & large & ~np.isnan(score)):
        rows = np.flatnonzero(chosen)
        order = np.lexsort((place_by_id[rows], -compared[rows]))
        rank[rows[order]] = np.arange(1, len(rows) + 1)
    return pd.DataFrame(
        {
            "list": _chosen([HOMES, LARGE_ROOFS, None], np.where(stands, large, 2), parcels.index),
            "rank": pd.array(rank, dtype="Int64"),
            "rank_score": score,
        },
        index=parcels.index,
    ).assign(rank=lambda frame: frame["rank"].mask(frame["rank"] == 0))


def _large(parcels: pd.DataFrame, settings: Ranking) -> NDArray[np.bool_]:
    """Whether each parcel belongs with the large roofs: by land use where that says, else by roof size."""
    by_size = parcels["catchment_area_m2"].ge(settings.large_roof_m2).to_numpy(dtype=bool, na_value=False)
    use = parcels["land_use"]
    large = np.where(use.isin(settings.large_land_uses), True, by_size)
    large = np.where(use.isin(settings.home_land_uses), False, large)
    return np.asarray(large | parcels["status"].eq(ASSOCIATION).to_numpy(dtype=bool))


def _score(
    parcels: pd.DataFrame, stands: NDArray[np.bool_], large: NDArray[np.bool_], settings: Ranking
) -> NDArray[np.float64]:
    """The measure itself, or the weighted mean of percentiles [0 to 100] within each list."""
    if settings.weights is None:
        return np.asarray(parcels[settings.measure].to_numpy(dtype=np.float64, na_value=np.nan))
    score = np.zeros(len(parcels))
    for name, weight in settings.weights.items():
        measure = pd.Series(_rounded(parcels[name].to_numpy(dtype=np.float64, na_value=np.nan)))
        percentile = measure.where(stands).groupby(large).rank(pct=True) * 100
        score += weight * percentile.to_numpy()
    return score / sum(settings.weights.values())


def _rounded(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """``values`` [n] to :data:`DIGITS_THAT_COUNT` significant digits; NaN stays."""
    with np.errstate(divide="ignore", invalid="ignore"):
        power = np.where(values == 0, 0, np.floor(np.log10(np.abs(values))))
    scale = 10.0 ** (DIGITS_THAT_COUNT - 1 - power)
    return np.asarray(np.round(values * scale) / scale)


def check_lists(parcels: pd.DataFrame, settings: Ranking) -> list[Finding]:
    """Findings on lists that came out empty and on land uses that no parcel has."""
    findings = []
    if not parcels["rank"].notna().any():
        findings.append(
            Finding(
                "nobody ranked",
                "parcels",
                "serious",
                len(parcels),
                "No parcel stands on a list.",
                "Look at the status column to see why.",
            )
        )
    named = [*settings.home_land_uses, *settings.large_land_uses]
    unknown = sorted(set(named) - set(parcels["land_use"].dropna().unique()))
    if unknown:
        findings.append(
            Finding.of(
                "unknown land uses",
                "parcels",
                "warning",
                unknown,
                f"[ranking] names land uses that no parcel has: {', '.join(unknown)}.",
                "Check the spelling against the land-use column.",
            )
        )
    return findings
