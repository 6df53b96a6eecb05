"""``[[context]]``: water, parks and the like, drawn under the map so that people find their way."""

from __future__ import annotations

from pydantic import field_validator

from harvest.project.inputs import VectorFile
from harvest.project.setting import required, setting


class Context(VectorFile):
    """One layer of surroundings, polygons or lines, drawn under the map so that people find their way."""

    kind: str = required('What it is, such as "water", "park" or "street": it decides how it is drawn.')
    name: str | None = setting(None, "Column of names; without one nothing is named.")
    clip_m: float | None = setting(
        2_000.0,
        "Draw only what lies within this distance of the parcels' extent, cut off there; all of it when empty.",
        ge=0,
        le=100_000,
    )

    @field_validator("kind")
    @classmethod
    def _said(cls, kind: str) -> str:
        plain = " ".join(kind.split())
        if not plain:
            raise ValueError('say what it is, such as "water" or "park"')
        return plain
