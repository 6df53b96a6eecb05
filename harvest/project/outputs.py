"""``[outputs]`` and ``[limits]``: what is written where, and how much memory may be used."""

from __future__ import annotations

from typing import Literal

from harvest.project.setting import Section, setting

TableFormat = Literal["csv", "xlsx", "gpkg"]


class Outputs(Section):
    """What a run writes beside its GeoParquet tables."""

    folder: str = setting("results", "Result folder, relative to the folder of this project file.")
    formats: list[TableFormat] = setting(["csv", "xlsx", "gpkg"], "Further formats for the tables.")
    map_most_parcels: int = setting(
        100_000, "Above this many parcels the map shows only the best ranked.", unit="1", ge=100, le=200_000
    )
    map_best: int = setting(
        5_000, "How many of the best ranked parcels such a map shows.", unit="1", ge=10, le=20_000
    )
    figure: bool = setting(
        True, "Whether a still figure is drawn, for print (SVG, PNG) and as a slide; it needs matplotlib."
    )
    brief: bool = setting(True, "Whether a brief for the council is typeset (PDF); it needs typst.")
    walk_lists: bool = setting(
        True,
        "Whether walk lists (PDF, CSV) and a table for letters are written, given streets; the PDF needs typst.",
    )
    xlsx_most_rows: int = setting(
        200_000, "A table with more rows is not written as XLSX.", unit="1", ge=1, le=1_000_000
    )


class Limits(Section):
    """What the readers refuse before memory is gone."""

    memory_gb: float = setting(
        4.0, "A file that would need more memory than this to read is refused.", unit="GB", gt=0, le=512
    )
