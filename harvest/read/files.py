"""The gate that every input file passes before a library opens it.

A file must stand on this machine, be of a format that its name promises, and prove it by its first bytes.
Files that make a library open other files or the network (VRT, ``/vsi…`` paths, URLs) are refused.
"""

from __future__ import annotations

import difflib
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from harvest.errors import InputError
from harvest.layers import Source

Form = Literal[
    "GeoPackage",
    "Shapefile",
    "zip file",
    "GeoJSON",
    "FlatGeobuf",
    "GeoParquet",
    "OpenStreetMap extract",
    "GeoTIFF",
    "NetCDF",
    "CSV",
]

FORMS_BY_ENDING: dict[str, Form] = {
    ".gpkg": "GeoPackage",
    ".shp": "Shapefile",
    ".zip": "zip file",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".fgb": "FlatGeobuf",
    ".parquet": "GeoParquet",
    ".geoparquet": "GeoParquet",
    ".pbf": "OpenStreetMap extract",
    ".osm": "OpenStreetMap extract",
    ".tif": "GeoTIFF",
    ".tiff": "GeoTIFF",
    ".nc": "NetCDF",
    ".nc4": "NetCDF",
    ".csv": "CSV",
}
VECTOR_FORMS: tuple[Form, ...] = (
    "GeoPackage",
    "Shapefile",
    "zip file",
    "GeoJSON",
    "FlatGeobuf",
    "GeoParquet",
    "OpenStreetMap extract",
)
PLAIN_FORMS = tuple(form for form in VECTOR_FORMS if form != "OpenStreetMap extract")
"""Vector files in which a layer is one thing, such as districts; an extract holds everything at once."""
RASTER_FORMS: tuple[Form, ...] = ("GeoTIFF", "NetCDF")
SHAPEFILE_PARTS = (".shx", ".dbf", ".prj", ".cpg")

_FIRST_BYTES: dict[Form, tuple[bytes, ...]] = {
    "GeoPackage": (b"SQLite format 3\x00",),
    "Shapefile": (b"\x00\x00\x27\x0a",),
    "zip file": (b"PK\x03\x04",),
    "FlatGeobuf": (b"fgb",),
    "GeoParquet": (b"PAR1",),
    "GeoTIFF": (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"),
    "NetCDF": (b"CDF\x01", b"CDF\x02", b"CDF\x05", b"\x89HDF\r\n\x1a\n"),
}
_HEAD_BYTES = 4096
_SCHEME = re.compile(r"^[A-Za-z][A-Za-z0-9+.-]+:")
_VIRTUAL = (b"<VRTDataset", b"<OGRVRT", b"<GDALTile", b"gdal_streamed_alg", b"<GDAL_WMS")


@dataclass(frozen=True)
class InputFile:
    """A file that passed the gate: its part in the project, its name there, and what it is."""

    role: str
    name: str
    path: Path
    form: Form
    refusal: type[InputError]

    def refused(self, why: str) -> InputError:
        """The error that says ``why`` this file can't be used."""
        return self.refusal(f"[{self.role}] {self.name} {why}")

    def sources(self, rows: int | None, crs: str) -> tuple[Source, ...]:
        """The file as it is now, and the companions of a Shapefile."""
        first = _source(self.role, self.path, rows, crs)
        if self.form != "Shapefile":
            return (first,)
        parts = (companion(self.path, ending) for ending in SHAPEFILE_PARTS)
        return (first, *(_source(self.role, part, None, crs) for part in parts if part is not None))


def admitted(
    role: str, name: str, folder: Path, forms: Sequence[Form], refusal: type[InputError]
) -> InputFile:
    """The file called ``name`` in the project, once it passed the gate.

    ``name`` is relative to ``folder``; ``forms`` are the formats that fit ``role``; ``refusal`` is raised,
    in words, when there is no such file, it is of no known format, or its content belies its name.
    """
    place = f"[{role}] {name}"
    if _SCHEME.match(name) and not re.match(r"^[A-Za-z]:[\\/]", name):
        raise refusal(f"{place} is an address, not a file; download it and give the file.")
    if name.replace("\\", "/").lower().startswith("/vsi"):
        raise refusal(f"{place} is a virtual path; give a plain file on this machine.")
    path = folder / name
    odd = {sign for sign in str(path) if sign == "!" or not sign.isprintable()}
    if odd:
        raise refusal(f"{place}: its path holds {', '.join(map(repr, sorted(odd)))}; rename it without.")
    if path.is_dir():
        raise refusal(f"{place} is a folder; give one file, such as a GeoPackage.")
    if not path.exists():
        raise refusal(f"{place}: there is no such file in {path.parent}{_similar(path)}")
    if not path.is_file():
        raise refusal(f"{place} is not a plain file.")
    if path.suffix.lower() in (".vrt", ".ovrt"):
        raise refusal(f"{place} is a VRT, which only points at other files; give the file it points at.")
    form = FORMS_BY_ENDING.get(path.suffix.lower())
    if form is None or form not in forms:
        endings = ", ".join(end for end, known in FORMS_BY_ENDING.items() if known in forms)
        raise refusal(f"{place} is not of a format that fits here; its name must end in one of {endings}.")
    found = InputFile(role, name, path, form, refusal)
    _check_content(found)
    return found


def companion(path: Path, ending: str) -> Path | None:
    """The file beside ``path`` with another ``ending``, in lower or upper case."""
    for candidate in (path.with_suffix(ending), path.with_suffix(ending.upper())):
        if candidate.is_file():
            return candidate
    return None


def _similar(path: Path) -> str:
    """The end of a sentence: files whose names are near, or what there is."""
    try:
        there = sorted(one.name for one in path.parent.iterdir() if one.is_file())
    except OSError:
        return ", nor that folder."
    near = difflib.get_close_matches(path.name, there, n=3, cutoff=0.5)
    if near:
        return f"; did you mean {' or '.join(near)}?"
    fitting = [name for name in there if Path(name).suffix.lower() in FORMS_BY_ENDING][:8]
    return f"; there are {', '.join(fitting)}." if fitting else "; it holds no file of a known format."


def _check_content(file: InputFile) -> None:
    """Compare the first bytes with what the name promises."""
    try:
        with file.path.open("rb") as stream:
            head = stream.read(_HEAD_BYTES)
    except OSError as error:
        raise file.refused(f"can't be read: {error.strerror}.") from None
    if not head:
        raise file.refused("is empty (0 bytes); fetch it again.")
    if any(mark in head for mark in _VIRTUAL):
        raise file.refused("only points at other files (VRT); give the file it points at.")
    if not _begins_as(file.form, head):
        raise file.refused(
            f"is no {file.form}, although its name says so; it may be damaged or only partly downloaded, so "
            "fetch it again."
        )
    if file.form == "Shapefile" and 2 * int.from_bytes(head[24:28], "big") > file.path.stat().st_size:
        raise file.refused("is shorter than it says itself; it is only partly downloaded, so fetch it again.")


def _begins_as(form: Form, head: bytes) -> bool:
    if form in _FIRST_BYTES:
        return head.startswith(_FIRST_BYTES[form])
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if form == "GeoJSON":
        return text.startswith(b"{")
    if form == "OpenStreetMap extract":
        return b"OSMHeader" in head[:64] or (text.startswith(b"<") and b"<osm" in text)
    return b"\x00" not in head


def _source(role: str, path: Path, rows: int | None, crs: str) -> Source:
    with path.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return Source(role, path, digest, rows, crs, path.stat().st_size)
