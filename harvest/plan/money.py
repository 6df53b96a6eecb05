"""What the water is worth: bills, savings, what a barrel costs a household, and whether it pays back.

A saving is always a bill before less a bill after, billing period by billing period, so a fixed charge is never
saved, nothing is saved inside an included volume, and each litre is worth what the block it comes out of charges.
Money is not discounted, and volumes are not rounded up to whole units as some utilities do.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from harvest.findings import Finding
from harvest.project.money import PriceUnit, Tariff
from harvest.units import L_PER_GALLON, M_PER_FOOT

Floats = NDArray[np.float64]

L_PER_CUBIC_METRE = 1000.0
L_PER_UNIT: dict[PriceUnit, float] = {
    "gal": L_PER_GALLON,
    "1000 gal": 1000 * L_PER_GALLON,
    "CCF": 100 * M_PER_FOOT**3 * L_PER_CUBIC_METRE,
    "m3": L_PER_CUBIC_METRE,
}
"""Litres in each unit that water is sold by; CCF is 100 ft³, by definition 748.05 gal."""

MONTHS = 12
LEAST_SHARE = 1e-9
"""A month with less of the year's yield than this has none."""


def bill(use_l: ArrayLike, tariff: Tariff) -> Floats:
    """The bill of one billing period [any shape; USD] for ``use_l`` [same; L]: fixed charge and water.

    Raises ``ValueError`` for a use below 0.
    """
    return np.asarray(tariff.fixed_usd + water_charge(use_l, tariff))


def water_charge(use_l: ArrayLike, tariff: Tariff) -> Floats:
    """The part of a bill that depends on use [any shape; USD], from ``use_l`` [same; L] in one billing period.

    Sum over blocks of price × volume inside the block and beyond the included volume. NaN stays NaN.
    """
    volume = np.asarray(use_l, dtype=np.float64) / L_PER_UNIT[tariff.per]
    if np.any(volume < 0):
        raise ValueError("use of water can't be below 0")
    charge = np.zeros_like(volume)
    begin = tariff.included
    for block in tariff.blocks:
        end = np.inf if block.up_to is None else block.up_to
        charge += block.price * np.clip(volume - begin, 0.0, end - begin)
        begin = end
    return charge


def _saved(replaced_l: Floats, tariff: Tariff) -> Floats:
    """Saved in a year [...; USD] by not drawing ``replaced_l`` [..., 12; L] from the tap, up to each month's use."""
    month = np.array(tariff.use_by_month_l, dtype=np.float64)
    use = _by_period(month, tariff)
    left = np.maximum(use - _by_period(np.minimum(replaced_l, month), tariff), 0.0)
    unit = L_PER_UNIT[tariff.per]
    free = tariff.included * unit
    beyond = (np.maximum(use, free) - np.maximum(left, free)) / unit
    sewerage = tariff.sewer_share * tariff.sewer_price * beyond
    return np.asarray((water_charge(use, tariff) - water_charge(left, tariff) + sewerage).sum(axis=-1))


def _by_period(monthly: Floats, tariff: Tariff) -> Floats:
    """Sums [..., periods] of ``monthly`` [..., 12] by billing period, the first beginning in January."""
    return np.asarray(monthly.reshape(*monthly.shape[:-1], -1, tariff.billing_months).sum(axis=-1))


def saving_by_months(yield_l: Floats, tariff: Tariff, replaces_tap: float) -> Floats:
    """Saved in a year [n; USD] from what barrels deliver each month, ``yield_l`` [n, 12; L].

    ``replaces_tap`` [1] of it replaces tap water, and never more than a household uses in that month. NaN stays NaN.
    Raises ``ValueError`` for a yield below 0, a share outside 0 to 1, or months that are not twelve.
    """
    _check_share(replaces_tap)
    if yield_l.shape[-1] != MONTHS:
        raise ValueError(f"twelve months are needed, January first; here are {yield_l.shape[-1]}")
    if np.any(yield_l < 0):
        raise ValueError("a barrel can't deliver less than 0")
    return _saved(yield_l * replaces_tap, tariff)


@dataclass(frozen=True)
class SavingCurve:
    """Saved in a year as a function of the tap water replaced in a year, exact at and between its corners.

    ``replaced_l_yr`` [k; L/yr] rises from 0; ``saved_usd_yr`` [k; USD/yr] never falls. Beyond the last corner no
    tap water is left to replace in the months that count, and nothing more is saved.
    """

    replaced_l_yr: Floats
    saved_usd_yr: Floats

    def saving(self, replaced_l_yr: ArrayLike) -> Floats:
        """Saved [any shape; USD/yr] by ``replaced_l_yr`` [same; L/yr], which is yield × share that replaces tap.

        Raises ``ValueError`` below 0; NaN stays NaN.
        """
        replaced = np.asarray(replaced_l_yr, dtype=np.float64)
        if np.any(replaced < 0):
            raise ValueError("a barrel can't replace less than 0")
        return np.asarray(np.interp(replaced, self.replaced_l_yr, self.saved_usd_yr))

    def least_replaced(self, saved_usd_yr: float) -> float:
        """The least tap water [L/yr] whose replacing saves ``saved_usd_yr``; infinite where no amount does."""
        corner = int(np.searchsorted(self.saved_usd_yr, saved_usd_yr))
        if corner == 0:
            return 0.0
        if corner == len(self.saved_usd_yr):
            return np.inf
        ends = slice(corner - 1, corner + 1)
        return float(np.interp(saved_usd_yr, self.saved_usd_yr[ends], self.replaced_l_yr[ends]))


def saving_curve(tariff: Tariff, month_shares: ArrayLike) -> SavingCurve:
    """The curve of savings when a year's yield is spread over the months by ``month_shares`` [12; 1].

    Each billing period saves along straight lines that bend where its use falls out of a block, so a few corners
    say it all, however many roofs and draws are read off. Raises ``ValueError`` for shares that are not twelve,
    are below 0, or do not add up to 1.
    """
    shares = np.asarray(month_shares, dtype=np.float64)
    if shares.shape != (MONTHS,) or shares.min() < 0 or abs(shares.sum() - 1) > 1e-6:
        raise ValueError("shares of months are twelve, none below 0, and add up to 1")
    corners = np.unique(np.concatenate([[0.0], *_corners(shares, tariff)]))
    return SavingCurve(corners, np.maximum.accumulate(_saved(corners[:, None] * shares, tariff)))


def _corners(shares: Floats, tariff: Tariff) -> Iterator[Floats]:
    """Where the curve bends [L/yr]: a month's use is all replaced, or a period's falls to the end of a block."""
    month = np.array(tariff.use_by_month_l, dtype=np.float64)
    ends = [tariff.included, *(block.up_to for block in tariff.blocks if block.up_to is not None)]
    for begin in range(0, MONTHS, tariff.billing_months):
        months = slice(begin, begin + tariff.billing_months)
        use, share = month[months], shares[months]
        use_up = np.unique(np.append(0.0, use[share > LEAST_SHARE] / share[share > LEAST_SHARE]))
        replaced = np.minimum(use_up[:, None] * share, use).sum(axis=1)
        falls = use.sum() - np.array(ends) * L_PER_UNIT[tariff.per]
        reached = falls[(falls > 0) & (falls < replaced[-1])]
        yield use_up
        yield np.interp(reached, replaced, use_up)


def saving_yr(yield_l_yr: ArrayLike, tariff: Tariff, month_shares: ArrayLike, replaces_tap: float) -> Floats:
    """Saved in a year [any shape; USD/yr] from ``yield_l_yr`` [same; L/yr], spread by ``month_shares`` [12; 1]."""
    _check_share(replaces_tap)
    return saving_curve(tariff, month_shares).saving(np.asarray(yield_l_yr) * replaces_tap)


def _check_share(replaces_tap: float) -> None:
    if not 0 <= replaces_tap <= 1:
        raise ValueError(f"the share that replaces tap water lies between 0 and 1, not at {replaces_tap}")


def net_cost(
    barrels: ArrayLike, barrel_usd: ArrayLike, rebate_usd: float = 0.0, most_usd: float | None = None
) -> Floats:
    """What a household pays [shapes broadcast; USD] for ``barrels`` at ``barrel_usd`` each, less the rebate.

    ``rebate_usd`` is given for each barrel, up to ``most_usd`` for the household, and never more than the cost.
    """
    count = np.asarray(barrels, dtype=np.float64)
    given = np.minimum(count * rebate_usd, np.inf if most_usd is None else most_usd)
    return np.asarray(np.maximum(count * np.asarray(barrel_usd) - given, 0.0))


def payback_chance(saved_usd_yr: Floats, cost_usd: ArrayLike, life_years: ArrayLike) -> Floats:
    """Share of draws [n; 1] in which savings over the barrel's life reach what it cost the household.

    ``saved_usd_yr`` [draws, n; USD/yr]; ``cost_usd`` [draws or 1, n or 1; USD], after the rebate; ``life_years``
    [draws or 1, n or 1; year]. Nothing saved never pays back, not even a gift. NaN where the saving is unknown.
    """
    saved_in_life = saved_usd_yr * np.asarray(life_years)
    paid_back = (saved_in_life >= np.asarray(cost_usd)) & (saved_usd_yr > 0)
    return np.where(np.isnan(saved_in_life).any(axis=0), np.nan, paid_back.mean(axis=0))


def payback_sentence(chance: float, no_payback_below: float) -> str:
    """What to say of a ``chance`` [1] of paying back; plain when it is below ``no_payback_below`` [1]."""
    if np.isnan(chance):
        return "Whether it pays back in money is not known."
    if chance < no_payback_below:
        return "It does not pay back in money."
    tenths = round(chance * 10)
    if tenths >= 10:
        return "It pays back in money within its life, almost surely."
    return f"The chance that it pays back in money within its life is about {max(tenths, 1)} in 10."


@dataclass(frozen=True)
class Claim:
    """What a claimed saving would take.

    ``litres_yr`` [L/yr] of barrel water and ``refills_yr`` [1/yr] of the usable volume, both infinite where no
    amount of water saves that much; ``most_usd_yr`` [USD/yr] is what replacing all tap water in those months would
    save. ``roof_could``: whether the roof sheds that much in those months. ``barrels_needed``: the least number of
    barrels that deliver it, or None.
    """

    claim_usd_yr: float
    litres_yr: float
    refills_yr: float
    most_usd_yr: float
    roof_could: bool
    barrels_needed: int | None


def claimed_saving(
    claim_usd_yr: float,
    tariff: Tariff,
    month_shares: ArrayLike,
    replaces_tap: float,
    *,
    usable_l: float,
    capturable_l_yr: float,
    yields_l_yr: Sequence[float],
) -> Claim:
    """How many litres and refills a saving of ``claim_usd_yr`` would take, and whether this roof could give them.

    ``month_shares`` [12; 1] are the months the claim speaks of. ``usable_l`` [L] is one barrel's usable volume;
    ``capturable_l_yr`` [L/yr] what the roof sheds, and ``yields_l_yr`` [L/yr] what 1, 2, 3 ... barrels deliver, in
    those months. Raises ``ValueError`` for a claim below 0 or a barrel that holds nothing.
    """
    _check_share(replaces_tap)
    if claim_usd_yr < 0 or usable_l <= 0:
        raise ValueError("a claim is at least 0, and a barrel holds something")
    curve = saving_curve(tariff, month_shares)
    replaced = curve.least_replaced(claim_usd_yr)
    litres = 0.0 if replaced == 0 else replaced / replaces_tap if replaces_tap > 0 else np.inf
    enough = [number for number, given in enumerate(yields_l_yr, start=1) if given >= litres]
    return Claim(
        claim_usd_yr,
        litres,
        litres / usable_l,
        float(curve.saved_usd_yr[-1]),
        capturable_l_yr >= litres,
        enough[0] if enough else None,
    )


def check_tariff(tariff: Tariff) -> list[Finding]:
    """A finding on prices so high that the unit is more likely wrong."""
    per_m3 = L_PER_CUBIC_METRE / L_PER_UNIT[tariff.per]
    prices: dict[str, Any] = {f"block {n}": block.price for n, block in enumerate(tariff.blocks, start=1)}
    prices["sewerage"] = tariff.sewer_price
    dear = [name for name, price in prices.items() if price * per_m3 > tariff.dear_usd_m3]
    if not dear:
        return []
    highest = max(prices.values())
    return [
        Finding.of(
            "dear water",
            "tariff",
            "serious",
            dear,
            f"A price of {highest:g} USD per {tariff.per} is {highest * per_m3:,.0f} USD a cubic metre.",
            "Look at the rate sheet: is the price for the unit that per names in [tariff]?",
        )
    ]
