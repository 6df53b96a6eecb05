"""The still figure: one picture of the town for print (SVG, PNG) and one for a slide, from the result alone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from harvest.errors import OutputError
from harvest.findings import Finding
from harvest.result import Result
from harvest.show.scene import Scene, scene
from harvest.show.typeset import REMEDY

if TYPE_CHECKING:
    from harvest.show.figure_drawing import Layout

PRINT_SVG, PRINT_PNG, SLIDE_PNG = "figure.svg", "figure.png", "figure-slide.png"
FIGURES = (PRINT_SVG, PRINT_PNG, SLIDE_PNG)


def write_figure(result: Result, folder: Path) -> list[Finding]:
    """Write ``figure.svg`` and ``figure.png`` (A4 across, 300 dots an inch) and ``figure-slide.png`` (1920 × 1080).

    Street sides by worth where ``result`` has them, else parcels by capturable volume. Where matplotlib is not
    installed or nothing can be drawn, nothing is written and a finding says so. Raises :class:`OutputError` when a
    file can't be written.
    """
    if not can_draw():
        return [no_package("no figure", "matplotlib", "The still figure was not drawn")]
    shown = scene(result)
    if shown is None:
        return [nothing_to_draw("no figure")]
    write_scene(shown, f"{result.run['program']} {result.run['version']}", folder)
    return []


def write_scene(shown: Scene, program: str, folder: Path) -> None:
    """Draw ``shown`` at all sizes; the files name ``program``. Raises :class:`OutputError` as :func:`write_figure`."""
    from harvest.show.figure_drawing import drawn
    from harvest.show.sheet import settled

    on_paper, on_slide = _layouts()
    with settled():
        sheet = drawn(shown, on_paper)
        pictures = {
            PRINT_SVG: sheet.svg(program, shown.title),
            PRINT_PNG: sheet.png(program),
            SLIDE_PNG: drawn(shown, on_slide).png(program),
        }
    for name, picture in pictures.items():
        write_bytes(folder / name, picture)


def can_draw() -> bool:
    """Whether matplotlib is installed."""
    try:
        import matplotlib
    except ImportError:
        return False
    return bool(matplotlib.__version__)


def no_package(check: str, package: str, what: str) -> Finding:
    """The finding that something was not made because ``package`` is not installed."""
    return Finding(
        check,
        "outputs",
        "warning",
        1,
        f"{what}: the package {package} is not installed.",
        f"Run {REMEDY} and run again, or switch it off in [outputs].",
    )


def nothing_to_draw(check: str) -> Finding:
    """The finding that no parcel has an outline."""
    return Finding(
        check,
        "parcels",
        "warning",
        1,
        "Nothing can be drawn: no parcel has an outline.",
        "Look at the parcel layer, or switch figure and brief off in [outputs].",
    )


def write_bytes(path: Path, made: bytes) -> None:
    """Write ``made`` to ``path``. Raises :class:`OutputError` when that fails."""
    try:
        path.write_bytes(made)
    except OSError as error:
        raise OutputError(
            f"{path} can't be written: {error.strerror}; free the disk or choose --out."
        ) from None


def _layouts() -> tuple[Layout, Layout]:
    """For A4 across at 300 dots an inch, and for a slide of 1920 × 1080 dots."""
    from harvest.show.figure_drawing import Layout

    paper = Layout(3508 / 300, 2480 / 300, 300, 0.47, 2.75, title=27, heading=13.5, body=12, small=8.5)
    slide = Layout(12, 6.75, 160, 0.4, 3.1, title=28, heading=16, body=14.5, small=10)
    return paper, slide
