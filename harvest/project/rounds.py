"""``[rounds]``: who goes from door to door, for how long, how fast, and what to expect there."""

from __future__ import annotations

import re

from pydantic import field_validator, model_validator

from harvest.project.setting import FROM_MEMORY, OWN_CHOICE, Section, setting

_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")
_LON_LAT = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)\s*")


class Rounds(Section):
    """Canvassers, their hours and their pace; from these come rounds that fit a shift."""

    canvassers: int = setting(4, "How many people canvass.", unit="1", ge=1, le=500)
    pairs: bool = setting(
        False, "Two walk together, at the pace of one; there are half as many rounds, one for each pair."
    )
    shifts: int = setting(10, "Shifts that each of them works.", unit="1", ge=1, le=300)
    shift_hours: float = setting(4.0, "Length of a shift.", unit="h", source=FROM_MEMORY, ge=0, le=12)
    door_share: float = setting(
        0.75,
        "Share of a shift that is spent at doors and walking between them; the rest is briefing, travel and breaks. "
        "A 4 h shift has 3 h at doors.",
        unit="1",
        source=FROM_MEMORY,
        gt=0,
        le=1,
    )
    first_hour: str = setting(
        "09:00", "Nobody knocks before this hour; local rules decide.", source=FROM_MEMORY
    )
    last_hour: str = setting(
        "20:00", "Nobody knocks after this hour; local rules decide.", source=FROM_MEMORY
    )
    answered_min: float = setting(
        5.0, "Time at a door that is answered (3 to 10 min).", source=FROM_MEMORY, gt=0, le=60
    )
    not_home_min: float = setting(1.0, "Time at a door that nobody opens.", source=FROM_MEMORY, ge=0, le=15)
    path_m: float = setting(
        15.0, "Path from the street to a door; it is walked there and back.", source=FROM_MEMORY, ge=0, le=500
    )
    walking_m_s: float = setting(1.1, "Walking speed.", unit="m/s", source=FROM_MEMORY, gt=0.2, le=2.5)
    crossing_m: float = setting(
        20.0,
        "What crossing a street between two doors costs: its width and the wait, as metres walked. Both sides are "
        "worked in one pass only where that is shorter than out on one side and back on the other.",
        source=OWN_CHOICE,
        ge=0,
        le=500,
    )
    answer: float = setting(
        0.33,
        "Chance that a door is answered (0.20 to 0.45).",
        unit="1",
        source="current.org, August 2016: 40 conversations at about 120 houses a day, in canvassing for public radio",
        gt=0,
        lt=1,
    )
    join: float = setting(
        0.08,
        "Chance of joining, given an answer (0.04 to 0.15).",
        unit="1",
        source=FROM_MEMORY,
        gt=0,
        lt=1,
    )
    second_pass: float = setting(
        0.0,
        "Share of the doors that nobody opened which are tried once more, after the whole round has been walked: at "
        "another hour of the same shift, with the same chance of an answer.",
        unit="1",
        ge=0,
        le=1,
    )
    starts: list[list[float] | str] = setting(
        [],
        'Places where rounds start, each [x, y] in the parcels\' coordinates or "longitude,latitude"; the walk from '
        "there counts. Empty: a round starts at its first door.",
        source="given by the user",
    )
    return_to_start: bool = setting(False, "Whether the walk back to where a round started counts.")
    least_doors: int = setting(10, "No round has fewer doors than this.", unit="1", ge=1, le=1_000)
    effort: int = setting(
        2,
        "How many times all rounds are taken apart and laid anew in search of better ones.",
        unit="1",
        ge=0,
        le=50,
    )
    seed: int = setting(1, "Number that fixes the order of that search.", unit="1", ge=0)

    @field_validator("first_hour", "last_hour")
    @classmethod
    def _clock(cls, text: str) -> str:
        if not _CLOCK.fullmatch(text):
            raise ValueError(f"{text!r} is not an hour such as 09:00 or 19:30")
        return text

    @field_validator("starts")
    @classmethod
    def _places(cls, starts: list[list[float] | str]) -> list[list[float] | str]:
        for place in starts:
            if isinstance(place, str):
                lon_lat(place)
            elif len(place) != 2:
                raise ValueError(f'a start is [x, y] or "longitude,latitude", not {place}')
        return starts

    @model_validator(mode="after")
    def _something_to_do(self) -> Rounds:
        if self.shift_hours == 0:
            raise ValueError("a shift of 0 hours knocks at no door; give shift_hours, such as 4")
        if self.pairs and self.canvassers < 2:
            raise ValueError("pairs needs at least 2 canvassers")
        permitted = (minute_of_day(self.last_hour) - minute_of_day(self.first_hour)) / 60
        if permitted <= 0:
            raise ValueError(f"last_hour {self.last_hour} is not after first_hour {self.first_hour}")
        if self.shift_hours > permitted + 1e-9:
            raise ValueError(
                f"a shift of {self.shift_hours:g} h does not fit between {self.first_hour} and {self.last_hour}"
            )
        path_min = 2 * self.path_m / (self.walking_m_s * 60)
        one_door = max(self.answered_min, self.not_home_min) + path_min
        if self.shift_hours * self.door_share * 60 < one_door:
            raise ValueError(
                f"a shift has {self.shift_hours * self.door_share * 60:.3g} min at doors, less than the "
                f"{one_door:.3g} min that one door takes; make shift_hours or door_share larger"
            )
        return self

    @property
    def teams(self) -> int:
        """How many rounds can be walked at once: canvassers, or pairs of them (one left over stays behind)."""
        return self.canvassers // 2 if self.pairs else self.canvassers

    @property
    def round_count(self) -> int:
        """How many rounds there are: teams × shifts."""
        return self.teams * self.shifts

    @property
    def canvasser_hours(self) -> float:
        """Hours of work in one round [h]: the whole shift, of everyone who walks it."""
        return self.shift_hours * (2 if self.pairs else 1)


def minute_of_day(clock: str) -> int:
    """Minutes since midnight of ``clock``, written HH:MM."""
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)


def lon_lat(text: str) -> tuple[float, float]:
    """Longitude and latitude [degrees] of ``text``. Raises ``ValueError`` for anything else."""
    found = _LON_LAT.fullmatch(text)
    if not found:
        raise ValueError(f'{text!r} is not "longitude,latitude" such as "-71.06,42.36"')
    longitude, latitude = float(found[1]), float(found[2])
    if abs(longitude) > 180 or abs(latitude) > 90:
        raise ValueError(f"{text!r} lies off the earth; longitude comes first, then latitude")
    return longitude, latitude
