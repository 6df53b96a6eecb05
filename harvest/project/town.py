"""``[town]``: what the place is called and which units people read."""

from __future__ import annotations

from typing import Literal

from harvest.project.setting import Section, required, setting


class Town(Section):
    """What the place is called and which units people read."""

    name: str = required("Name of the town, as it should stand on the map.")
    units: Literal["us", "metric"] = setting(
        "us", "Units on screen and in print: gallons, feet and inches, or litres, metres and millimetres."
    )
