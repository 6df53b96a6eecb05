"""``[districts]``: wards, precincts or neighbourhoods, by which figures are added up."""

from __future__ import annotations

from harvest.project.inputs import VectorFile
from harvest.project.setting import setting


class Districts(VectorFile):
    """Wards, precincts or neighbourhoods: the areas by which a council wants its figures."""

    name: str | None = setting(
        None,
        "Column of their names; without one they are called by their ids. Outlines of one name are one district.",
    )
