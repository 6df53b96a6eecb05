"""What a garden wants, day by day: evaporation by temperature and latitude, through a bucket of soil.

Depths are over the garden: 1 mm is 1 L on each m². FAO-56 is Allen, Pereira, Raes and Smith 1998, *Crop
evapotranspiration*, FAO Irrigation and Drainage Paper 56.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from harvest.water.capture import DAYS_IN_MONTH

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820
MM_PER_MJ_M2 = 0.408
"""Depth of water that 1 MJ/m² evaporates: 1/2.45, as FAO-56 eq. 20 rounds it."""


def sun_distance(day_of_year: Floats) -> Floats:
    """Inverse relative distance of earth and sun [days; 1], FAO-56 eq. 23."""
    return np.asarray(1 + 0.033 * np.cos(2 * np.pi / 365 * day_of_year))


def sun_declination(day_of_year: Floats) -> Floats:
    """Solar declination [days; rad], FAO-56 eq. 24."""
    return np.asarray(0.409 * np.sin(2 * np.pi / 365 * day_of_year - 1.39))


def sunset_angle(latitude_deg: float | Floats, declination_rad: Floats) -> Floats:
    """Sunset hour angle [rad], FAO-56 eq. 25; 0 in the polar night and π under the midnight sun."""
    return np.asarray(np.arccos(np.clip(-np.tan(np.radians(latitude_deg)) * np.tan(declination_rad), -1, 1)))


def extraterrestrial_radiation(latitude_deg: float | Floats, day_of_year: Floats) -> Floats:
    """Daily radiation above the air [MJ/m²/d], FAO-56 eq. 21; the two arguments broadcast together.

    ``latitude_deg`` [degrees, south negative]; ``day_of_year`` 1 to 366. Raises ``ValueError`` outside them.
    """
    if not np.all(np.abs(latitude_deg) <= 90):
        raise ValueError("a latitude lies between -90 and 90 degrees")
    if not np.all((day_of_year >= 1) & (day_of_year <= 366)):
        raise ValueError("a day of the year lies between 1 and 366")
    latitude, declination = np.radians(latitude_deg), sun_declination(day_of_year)
    sunset = sunset_angle(latitude_deg, declination)
    height = sunset * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.sin(sunset)
    minutes = 24 * 60 / np.pi
    return np.asarray(
        np.maximum(minutes * SOLAR_CONSTANT_MJ_M2_MIN * sun_distance(day_of_year) * height, 0.0)
    )


def hargreaves_samani(tmin_c: Floats, tmax_c: Floats, radiation_mj_m2_d: Floats) -> Floats:
    """Reference evapotranspiration [mm/d] from the day's temperatures [°C], FAO-56 eq. 52; never below 0.

    ``radiation_mj_m2_d`` as :func:`extraterrestrial_radiation` gives it. Raises ``ValueError`` naming the first day on
    which the maximum lies below the minimum, or a temperature is missing.
    """
    lower, upper = np.broadcast_arrays(tmin_c, tmax_c)
    wrong = ~(upper >= lower)
    if wrong.any():
        first = tuple(int(place) for place in np.argwhere(wrong)[0])
        raise ValueError(
            f"the day's maximum must be a number at least as large as its minimum; at position "
            f"{first[0] if len(first) == 1 else first} they are {upper[first]:g} and {lower[first]:g} °C"
        )
    warmth = (lower + upper) / 2 + 17.8
    return np.asarray(
        np.maximum(0.0023 * warmth * np.sqrt(upper - lower) * radiation_mj_m2_d * MM_PER_MJ_M2, 0.0)
    )


def daily_temperatures(monthly_c: Floats, day_of_year: Floats) -> Floats:
    """Monthly means [..., 12; °C] as a smooth year, at each ``day_of_year`` [days; 1 to 366] [..., days; °C].

    Straight lines between the middles of the months, December joined to January, with the mid-month values set so
    that each month's mean is the one given (lines through the means themselves would flatten summer and winter).
    """
    if np.shape(monthly_c)[-1] != 12:
        raise ValueError(f"a year has 12 monthly means, not {np.shape(monthly_c)[-1]}")
    months = np.repeat(np.arange(12), DAYS_IN_MONTH)
    of_month = (months == np.arange(12)[:, None]) / DAYS_IN_MONTH[:, None]
    middles_of_means = np.linalg.inv(of_month @ _between_middles(np.arange(1.0, 366.0)))
    return np.asarray(monthly_c @ middles_of_means.T @ _between_middles(day_of_year).T)


def _between_middles(day_of_year: Floats) -> Floats:
    """Weight of each month's middle [days, 12; 1] on a straight line through the two nearest."""
    middle = np.cumsum(DAYS_IN_MONTH) - DAYS_IN_MONTH / 2 + 0.5
    return np.stack([np.interp(day_of_year, middle, one, period=365) for one in np.eye(12)], axis=-1)


def garden_need(
    rain_mm: Floats,
    evapotranspiration_mm: Floats,
    *,
    coefficient: float,
    efficiency: float,
    available_mm: float,
    depletion: float,
    depletion_spread: float = 0.0,
    may_water: Flags,
    real_rain_mm: float = 1.0,
    most_mm: float | Floats = np.inf,
) -> Floats:
    """Water that a garden wants each day [..., days; mm, that is L per m² of garden], whoever supplies it.

    A bucket of soil holds ``available_mm`` and starts full. Each day its deficit grows by ``coefficient`` ×
    ``evapotranspiration_mm`` [..., days; mm/d] and shrinks by ``rain_mm`` [..., days; mm], between empty and full. On
    a day when someone ``may_water`` [..., days] (in season and, if asked, a day of the household's :func:`sessions`),
    that has less rain than ``real_rain_mm`` and a deficit of at least ``depletion`` [1] of the bucket, the garden
    is watered: it wants deficit / ``efficiency``, but no more than ``most_mm`` [... or one; mm], the most that people
    bring at once; ``efficiency`` of that lessens the deficit. Households differ in when they water: with
    ``depletion_spread`` [1] none does below ``depletion`` less that, all do above ``depletion`` plus that, and the need
    is their mean (it also spares a town of gardens from jumping at one threshold all together). So what a barrel cannot
    give comes from the tap and is not owed later, what people do not bring stays owed, and rain between two sessions
    lessens what the next one wants.

    Raises ``ValueError`` for shares outside 0 to 1 (efficiency and depletion above 0), or a depth that is
    negative or missing.
    """
    if not (0 < efficiency <= 1 and 0 < depletion <= 1):
        raise ValueError("watering efficiency and depletion lie above 0 and at most at 1")
    if not 0 <= depletion_spread <= min(depletion, 1 - depletion):
        raise ValueError("the spread of depletion reaches neither below 0 nor above 1")
    if not (coefficient >= 0 and 0 < available_mm < np.inf and real_rain_mm >= 0):
        raise ValueError("a landscape coefficient is not negative, and soil holds more than 0 mm")
    if not np.all(np.asarray(most_mm) > 0):
        raise ValueError("the most that people bring at once is above 0 mm")
    for what, depth in (("rain", rain_mm), ("evapotranspiration", evapotranspiration_mm)):
        if not np.all(depth >= 0):
            raise ValueError(f"{what} must be a number and not negative")
    rain, lost, may = np.broadcast_arrays(rain_mm, evapotranspiration_mm, may_water)
    dries = np.moveaxis(coefficient * lost - rain, -1, 0).copy()
    may = np.moveaxis(may & (rain < real_rain_mm), -1, 0).copy()
    need = np.zeros(may.shape)
    deficit = np.zeros(rain.shape[:-1])
    for day, anyone in enumerate(np.asarray(may.any(axis=tuple(range(1, may.ndim))))):
        deficit = _between(deficit + dries[day], 0.0, available_mm)
        if anyone:
            waters = may[day] * _share_watering(deficit / available_mm, depletion, depletion_spread)
            need[day] = waters * np.minimum(deficit / efficiency, most_mm)
            deficit = np.maximum(deficit - efficiency * need[day], 0.0)
    return np.ascontiguousarray(np.moveaxis(need, 0, -1))


def _share_watering(depleted: Floats, depletion: float, spread: float) -> Floats:
    """Share of households [...; 1] that water at ``depleted`` [...; 1] of the bucket."""
    if spread == 0:
        return np.asarray(depleted >= depletion, dtype=np.float64)
    return _between((depleted - depletion + spread) / (2 * spread), 0.0, 1.0)


def _between(values: Floats, least: float, most: float) -> Floats:
    """What ``np.clip`` gives, at half its cost for the few ``values`` of one day."""
    return np.asarray(np.minimum(np.maximum(values, least), most))


def weekly_need(week_mm: float, session: Flags, *, sessions_a_week: int) -> Floats:
    """The plain alternative to :func:`garden_need`: ``week_mm`` [mm a week] whatever the weather [days; mm].

    Drawn in equal parts on the days of ``session`` [days], as :func:`sessions` with the same ``sessions_a_week`` gives
    them; seven a week in every week is an even daily draw. A draw in litres a week is that many mm on 1 m².
    """
    if not 0 <= week_mm < np.inf:
        raise ValueError(f"a weekly draw must be a number and not negative, not {week_mm}")
    _check_sessions(sessions_a_week)
    return np.asarray(np.where(session, week_mm / sessions_a_week, 0.0))


def sessions(days: int, *, weeks_share: float, sessions_a_week: int, first_weekday: int = 0) -> Flags:
    """The days [days] on which a household draws from its barrel; a fixed pattern, nothing random.

    A share ``weeks_share`` [1] of the weeks, spread by steps of the golden ratio so that every stretch of weeks has
    about that share of them, without a beat; a larger share keeps the weeks of a smaller one. In each of them
    ``sessions_a_week`` days (1 to 7), evenly spread. ``first_weekday`` is that of the first day, 0 Monday to 6 Sunday.
    Raises ``ValueError`` outside these.
    """
    if not 0 <= weeks_share <= 1:
        raise ValueError(f"the share of weeks lies between 0 and 1, not at {weeks_share}")
    _check_sessions(sessions_a_week)
    if first_weekday not in range(7):
        raise ValueError(f"a weekday is 0 (Monday) to 6 (Sunday), not {first_weekday}")
    week, weekday = np.divmod(np.arange(days) + first_weekday, 7)
    drawing = (week + 1) * ((np.sqrt(5) - 1) / 2) % 1 < weeks_share
    of_week = (2 * np.arange(sessions_a_week) + 1) * 7 // (2 * sessions_a_week)
    return np.asarray(drawing & np.isin(weekday, of_week))


def _check_sessions(sessions_a_week: int) -> None:
    if sessions_a_week not in range(1, 8):
        raise ValueError(f"a week has 1 to 7 sessions, not {sessions_a_week}")
