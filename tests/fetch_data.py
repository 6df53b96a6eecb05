"""Fetch the real rainfall grids that tests read, from Debian's data packages; nothing of them is kept in git.

Run it as a script before the tests, or let the tests call :func:`debian_file`:

    python tests/fetch_data.py

The packages are downloaded and unpacked into tests/.data, not installed. A second run does nothing.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

DATA = Path(__file__).parent / ".data"
LIBRARY = Path("usr/lib/R/site-library")
FILES = {
    "bcsd_obs_1999.nc": ("r-cran-stars", LIBRARY / "stars/nc/bcsd_obs_1999.nc"),
    "test_stageiv_xyt.nc": ("r-cran-stars", LIBRARY / "stars/nc/test_stageiv_xyt.nc"),
    "metdata.nc": ("r-cran-ncdfgeom", LIBRARY / "ncdfgeom/extdata/metdata.nc"),
    "buildings.gpkg": ("r-cran-sf", LIBRARY / "sf/gpkg/buildings.gpkg"),
}
LISTS = Path("/var/lib/apt/lists")


class NoDataError(RuntimeError):
    """A data package can't be had here; the message is one line that says what to do."""


def debian_file(name: str) -> Path:
    """The file called ``name`` out of :data:`FILES`, fetched first when it is not here yet."""
    package, inside = FILES[name]
    path = DATA / "debian" / inside
    if not path.exists():
        _unpack(package)
    if not path.exists():
        raise NoDataError(f"Debian's package {package} no longer holds {inside}; see tests/fetch_data.py.")
    return path


def _unpack(package: str) -> None:
    """Download ``package`` and unpack it below :data:`DATA`, without installing anything."""
    if not (shutil.which("apt-get") and shutil.which("dpkg-deb")):
        raise NoDataError(
            f"Test data needs Debian's package {package}: on another system, copy tests/.data from a machine "
            f"that ran: python tests/fetch_data.py"
        )
    downloads = DATA / "deb"
    downloads.mkdir(parents=True, exist_ok=True)
    if not any(LISTS.glob("*_Packages*")):
        if os.geteuid() != 0:
            raise NoDataError("apt has no package lists; run: sudo apt-get update")
        _call(["apt-get", "update"], downloads)
    _call(["apt-get", "download", package], downloads)
    newest = max(downloads.glob(f"{package}_*.deb"), key=lambda one: one.stat().st_mtime)
    staging = DATA / f"unpacking-{package}"
    shutil.rmtree(staging, ignore_errors=True)
    _call(["dpkg-deb", "-x", str(newest), str(staging)], downloads)
    shutil.copytree(staging, DATA / "debian", dirs_exist_ok=True)
    shutil.rmtree(staging)


def _call(command: list[str], folder: Path) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode:
        told = (done.stderr.strip().splitlines() or ["no reason given"])[-1]
        raise NoDataError(f"`{' '.join(command)}` failed: {told}; run it by hand to see why.")


def main() -> int:
    """Fetch everything; 0 when all is there."""
    try:
        for name in FILES:
            print(debian_file(name))
    except NoDataError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
