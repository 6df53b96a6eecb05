"""``[footprints]``, ``[parcels]`` and ``[rainfall]``: the files, and what their columns are called."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from harvest.project.setting import FROM_MEMORY, Section, required, setting

RainUnit = Literal["mm", "0.1 mm", "cm", "m", "inch", "0.01 inch"]


class VectorFile(Section):
    """What every vector layer needs said about it."""

    file: str = required("The file, relative to the folder of this project file.")
    layer: str | None = setting(None, "The layer inside the file; needed only where a file holds several.")
    crs: str | None = setting(
        None, "Coordinate reference system, such as EPSG:26986; needed only where the file does not say."
    )
    id: str | None = setting(None, "Column of ids; without one, rows are numbered in file order.")
    clip_m: float | None = setting(
        None,
        "Read only what lies within this distance of the parcels' extent, for a layer far larger than the "
        "town; nothing is left out when empty.",
        ge=0,
        le=100_000,
    )


class Footprints(VectorFile):
    """Building footprints: the outlines of roofs seen from above."""

    kind: str | None = setting(None, "Column that says what kind of building it is.")
    gutter: str | None = setting(
        None, "Column that marks roofs with gutters (true/false, yes/no, 1/0); it overrides the size rule."
    )
    gutter_least_m2: float = setting(
        20.0,
        "Smaller roofs (sheds, carports) run off but count as capturable only if marked as guttered.",
        source=FROM_MEMORY,
        ge=0,
        le=500,
    )
    address: str | list[str] | None = setting(
        None, "Address column, or columns joined by a space; read only when there are no parcels."
    )
    eaves_m: float = setting(
        0.0,
        "Width to add all round where footprints were digitised at the wall rather than at the eaves.",
        ge=0,
        le=2,
    )
    imagery_year: int | None = setting(
        None,
        "Year of the imagery the footprints were drawn from; parcels built on since are marked for a check.",
        ge=1900,
        le=2100,
    )


class Parcels(VectorFile):
    """Parcels: who the roof belongs to."""

    address: str | list[str] | None = setting(None, "Address column, or columns joined by a space.")
    land_use: str | None = setting(None, "Land-use column.")
    doors: str | None = setting(None, "Column with the number of homes or units; without one, 1 a parcel.")
    built_year: str | None = setting(None, "Column with the year in which the parcel was built on.")


class Rainfall(Section):
    """The rainfall grid: long-run mean rain, for the year or by months."""

    file: str | list[str] = required(
        "One GeoTIFF or NetCDF of 1 or 12 bands, or a list of 12 files, January first."
    )
    variable: str | None = setting(None, "The variable to read; needed only for a NetCDF that holds several.")
    crs: str | None = setting(None, "Coordinate reference system; needed only where the file does not say.")
    unit: RainUnit | None = setting(
        None, "Unit of the cell values; needed only where the file does not say, or says it wrongly."
    )
    least_mm_yr: float = setting(
        100.0,
        "A town mean below this stops the run: the unit is more likely wrong than the town that dry.",
        ge=0,
        le=1000,
    )
    most_mm_yr: float = setting(
        4000.0,
        "A town mean above this stops the run: the unit is more likely wrong than the town that wet.",
        ge=1000,
        le=15_000,
    )

    @model_validator(mode="after")
    def _twelve(self) -> Rainfall:
        if isinstance(self.file, list) and len(self.file) not in (1, 12):
            raise ValueError(
                f"a list of rainfall files needs 12 of them, January first; here are {len(self.file)}"
            )
        return self
