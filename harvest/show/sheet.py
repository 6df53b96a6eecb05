"""A sheet that matplotlib draws on: inches from the lower left corner, plain text, and the same bytes every time.

Only typefaces inside the installed package are used. No text is ever parsed as mathematics.
"""

from __future__ import annotations

import io
import warnings
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextToPath

SALT = "harvest-mapper"
"""From this matplotlib makes the names inside an SVG, instead of from chance."""

PT_PER_INCH = 72.0
LINE_HEIGHT = 1.32
"""From one line of text to the next, as a share of its size."""

LEVEL = 2
"""Of a picture's compression: what is usual takes more than twice as long, to save one byte in nine."""

CUT = "…"
Place = tuple[float, float]
Across = Literal["left", "center", "right"]


@contextmanager
def settled() -> Iterator[None]:
    """Within, matplotlib draws as it was shipped, whatever the settings of this machine's user."""
    with mpl.rc_context(), warnings.catch_warnings():
        # A letter that the typeface lacks is drawn as a box.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        mpl.rcdefaults()
        mpl.rcParams.update({"svg.hashsalt": SALT, "svg.fonttype": "path", "hatch.linewidth": 0.6})
        yield


class Sheet:
    """A sheet of ``width`` by ``height`` inches at ``dpi`` dots an inch. To be used within :func:`settled`."""

    def __init__(self, width: float, height: float, dpi: float) -> None:
        self.width, self.height, self.dpi = width, height, dpi
        self.figure = Figure(figsize=(width, height), dpi=dpi, facecolor="white")
        FigureCanvasAgg(self.figure)
        self.page = self.window((0, 0, width, height))
        self.page.set(xlim=(0, width), ylim=(0, height), zorder=5)
        self.page.patch.set_visible(False)

    def window(self, box: tuple[float, float, float, float]) -> Axes:
        """Axes without marks in ``box`` (left, bottom, right, top) [inches]."""
        left, bottom, right, top = box
        share = (
            left / self.width,
            bottom / self.height,
            (right - left) / self.width,
            (top - bottom) / self.height,
        )
        axes = self.figure.add_axes(share)
        axes.set_axis_off()
        return axes

    def text(
        self, at: Place, text: str, size: float, *, bold: bool = False, across: Across = "left", **style: Any
    ) -> None:
        """``text`` on one line of ``size`` points, its base line at ``at``, as it is."""
        self.page.text(
            *at, text, font=face(bold), fontsize=size, ha=across, va="baseline", parse_math=False, **style
        )

    def lines(self, at: Place, text: str, size: float, width: float, *, most: int, **style: Any) -> float:
        """``text`` in at most ``most`` lines of ``width`` inches, the first at ``at``; where the next would stand."""
        x, y = at
        for line in wrapped(text, size, width, most=most, bold=bool(style.get("bold"))):
            self.text((x, y), line, size, **style)
            y -= size * LINE_HEIGHT / PT_PER_INCH
        return y

    def png(self, program: str) -> bytes:
        return self._saved("png", {"Software": program})

    def svg(self, program: str, title: str) -> bytes:
        return self._saved("svg", {"Date": None, "Creator": program, "Title": title})

    def _saved(self, kind: str, about: dict[str, str | None]) -> bytes:
        made = io.BytesIO()
        how: dict[str, Any] = {"pil_kwargs": {"compress_level": LEVEL}} if kind == "png" else {}
        self.figure.savefig(made, format=kind, dpi=self.dpi, metadata=about, **how)
        return made.getvalue()


def face(bold: bool = False) -> FontProperties:
    """The typeface that comes with matplotlib, found by its file so that no other of this name is taken."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return FontProperties(fname=str(Path(mpl.get_data_path()) / "fonts" / "ttf" / name))


@cache
def text_width(text: str, size: float, bold: bool = False) -> float:
    """How wide ``text`` of ``size`` points is [inches]."""
    font = face(bold)
    font.set_size(size)
    return float(TextToPath().get_text_width_height_descent(text, font, False)[0]) / PT_PER_INCH


def wrapped(text: str, size: float, width: float, *, most: int, bold: bool = False) -> list[str]:
    """``text`` in at most ``most`` lines of ``width`` inches, broken between words; what does not fit is cut off."""
    lines: list[str] = []
    words = text.split(" ")
    while words and len(lines) < most:
        count = _fitting(words, size, width, bold)
        lines.append(" ".join(words[:count]))
        words = words[count:]
    if words:
        lines[-1] = f"{lines[-1]} {CUT}"
    return [_cut(line, size, width, bold) for line in lines]


def fitted(text: str, sizes: Sequence[float], width: float, bold: bool = False) -> tuple[str, float]:
    """``text`` and the first of ``sizes`` (largest first) at which it fits into ``width``, cut at the last."""
    for size in sizes:
        if text_width(text, size, bold) <= width:
            return text, size
    return _cut(text, sizes[-1], width, bold), sizes[-1]


def _fitting(words: Sequence[str], size: float, width: float, bold: bool) -> int:
    """How many of ``words`` fit on one line; at least one."""
    counts = range(1, len(words) + 1)
    return max(1, bisect_right(counts, width, key=lambda n: text_width(" ".join(words[:n]), size, bold)))


def _cut(line: str, size: float, width: float, bold: bool) -> str:
    if text_width(line, size, bold) <= width:
        return line
    kept = line.removesuffix(CUT).rstrip()
    while kept and text_width(kept + CUT, size, bold) > width:
        kept = kept[:-1].rstrip()
    return kept + CUT
