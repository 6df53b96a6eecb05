"""Fetch the extract of Monaco that tests read, out of a source archive on PyPI; nothing of it is kept in git.

quackosm 0.19.0 carries it among its tests (OpenStreetMap, ODbL); the wheel leaves it out. The archive is downloaded
into tests/.data and not installed. A second run does nothing.

    python tests/fetch_monaco.py
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tarfile
from pathlib import Path

from fetch_data import DATA, NoDataError

PACKAGE, ARCHIVE = "quackosm==0.19.0", "quackosm-0.19.0.tar.gz"
INSIDE = "quackosm-0.19.0/tests/test_files/monaco.osm.pbf"
SHA256 = "90b9888963baff37c169fc6f4eec8b07a1d68228426b7a9cabbc7a685a2fd173"


def monaco() -> Path:
    """The extract, fetched first when it is not here yet."""
    path = DATA / "pypi" / Path(INSIDE).name
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        archive = _downloaded(path.parent)
        with tarfile.open(archive) as packed:
            member = packed.extractfile(INSIDE)
            if member is None:
                raise NoDataError(f"{ARCHIVE} no longer holds {INSIDE}; see tests/fetch_monaco.py.")
            path.write_bytes(member.read())
        archive.unlink()
    return path


def _downloaded(folder: Path) -> Path:
    command = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "--quiet",
        "--no-deps",
        "--no-binary",
        ":all:",
        PACKAGE,
    ]
    done = subprocess.run([*command, "--dest", str(folder)], capture_output=True, text=True, check=False)
    archive = folder / ARCHIVE
    if done.returncode or not archive.exists():
        told = (done.stderr.strip().splitlines() or ["no reason given"])[-1]
        raise NoDataError(f"`{' '.join(command)}` failed: {told}; run it by hand to see why.")
    if hashlib.sha256(archive.read_bytes()).hexdigest() != SHA256:
        archive.unlink()
        raise NoDataError(f"{ARCHIVE} is not the file it was; see tests/fetch_monaco.py.")
    return archive


if __name__ == "__main__":
    try:
        print(monaco())
    except NoDataError as error:
        print(error, file=sys.stderr)
        raise SystemExit(1) from None
