"""A zipped Shapefile, unpacked to a folder of its own and gone after reading.

Only the parts of one Shapefile are taken out, under a name of our own, so no path in the archive matters.
"""

from __future__ import annotations

import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path, PurePosixPath

from harvest.project.outputs import Limits
from harvest.read.files import SHAPEFILE_PARTS, InputFile

MOST_RATIO = 300
RATIO_MATTERS_BYTES = 64_000_000


@contextmanager
def unpacked(file: InputFile, layer: str | None, limits: Limits) -> Iterator[InputFile]:
    """``file`` itself, or the Shapefile in it when it is a zip file.

    ``layer`` names the Shapefile when the archive holds several.
    """
    if file.form != "zip file":
        yield file
        return
    with tempfile.TemporaryDirectory(prefix="harvest-") as folder:
        try:
            with zipfile.ZipFile(file.path) as archive:
                parts = _parts(file, archive, layer)
                _check_size(file, parts, limits)
                for ending, part in parts.items():
                    target = Path(folder) / f"{PurePosixPath(_plain(part.filename)).stem}{ending}"
                    with archive.open(part) as packed, target.open("wb") as plain:
                        shutil.copyfileobj(packed, plain)
                    if ending == ".shp":
                        shape = target
        except (zipfile.BadZipFile, NotImplementedError, EOFError) as error:
            raise file.refused(f"is a damaged zip file ({error}); fetch it again.") from None
        except RuntimeError:
            raise file.refused("needs a password; unpack it yourself and give the .shp file.") from None
        yield replace(file, path=shape, form="Shapefile")


def shapefiles(file: InputFile) -> list[str]:
    """Names of the Shapefiles in a zip file."""
    try:
        with zipfile.ZipFile(file.path) as archive:
            return sorted(path.stem for path in _members(archive) if path.suffix.lower() == ".shp")
    except zipfile.BadZipFile as error:
        raise file.refused(f"is a damaged zip file ({error}); fetch it again.") from None


def _members(archive: zipfile.ZipFile) -> dict[PurePosixPath, zipfile.ZipInfo]:
    return {
        PurePosixPath(_plain(one.filename)): one
        for one in archive.infolist()
        if not one.is_dir() and "__MACOSX" not in one.filename
    }


def _plain(name: str) -> str:
    return name.replace("\\", "/")


def _parts(file: InputFile, archive: zipfile.ZipFile, layer: str | None) -> dict[str, zipfile.ZipInfo]:
    """The members of the one Shapefile that is meant, by ending."""
    members = _members(archive)
    shapes = [path for path in members if path.suffix.lower() == ".shp"]
    if not shapes:
        held = ", ".join(sorted(path.name for path in members)[:5]) or "nothing"
        raise file.refused(f"holds no Shapefile but {held}; unpack it and give the file itself.")
    chosen = [path for path in shapes if layer in (None, path.stem)]
    if len(chosen) != 1:
        names = ", ".join(sorted(path.stem for path in shapes))
        raise file.refused(f"holds {len(shapes)} Shapefiles; say which one with layer = one of {names}.")
    stem = chosen[0].with_suffix("")
    return {
        path.suffix.lower(): one
        for path, one in members.items()
        if path.with_suffix("") == stem and path.suffix.lower() in (".shp", *SHAPEFILE_PARTS)
    }


def _check_size(file: InputFile, parts: dict[str, zipfile.ZipInfo], limits: Limits) -> None:
    size = sum(part.file_size for part in parts.values())
    packed = max(1, sum(part.compress_size for part in parts.values()))
    if size > limits.memory_gb * 1e9:
        raise file.refused(
            f"unpacks to {size / 1e9:.1f} GB, above [limits] memory_gb = {limits.memory_gb:g}; raise the "
            "limit if the file is meant to be that large."
        )
    if size > RATIO_MATTERS_BYTES and size > MOST_RATIO * packed:
        raise file.refused(
            f"would swell {size // packed}-fold when unpacked, which no real layer does; fetch it again from "
            "a source you trust."
        )
