"""The frame of a page that opens from disk and asks no network for anything.

folium supplies the map object; the page around it is ours. Leaflet's own files come from the installed
package and are written into the page, images as data URIs. A content security policy allows exactly the
scripts and styles that stand in the page, by their hashes, and no request (or images of one host, for a
background map).

branca compiles what its templates have rendered a second time, so a text such as ``{{ … }}`` in the data
would be evaluated by the writer. No text from outside passes through a folium or branca element here: it
goes into the page as JSON or compressed data, or escaped, by plain joining of strings.
"""

from __future__ import annotations

import base64
import html
import json
import re
from collections.abc import Mapping, Sequence
from importlib import resources
from string import Template
from typing import Any, cast

import folium
from branca.element import Figure

from harvest.show.sources import check_inline, source_hash

LEAFLET_PACKAGE, LEAFLET_FOLDER = "js_lib_leaflet", "static/js_lib_leaflet"


class OfflineMap(folium.Map):
    """A folium map that links to nothing, has a fixed name, and leaves style and viewport to the page."""

    # folium declares these as instance variables, so they can't be ClassVar here.
    default_js: list[tuple[str, str]] = []  # noqa: RUF012
    default_css: list[tuple[str, str]] = []  # noqa: RUF012

    def __init__(self, name: str, centre: tuple[float, float]) -> None:
        super().__init__(
            location=centre,
            zoom_start=14,
            tiles=None,
            zoom_control=False,
            fade_animation=False,
            zoom_snap=0.5,
        )
        self._id = name

    def render(self, **kwargs: Any) -> str:
        """Put the map's element and script into the figure, without folium's own head."""
        super().render(**kwargs)  # type: ignore[no-untyped-call]
        cast(Figure, self.get_root()).header._children.pop(self.get_name())
        return ""


def page_html(
    drawing: OfflineMap,
    *,
    language: str,
    title: str,
    body: str,
    texts: Mapping[str, str],
    styles: Sequence[str],
    scripts: Sequence[str],
    values: Mapping[str, object],
    blocks: Mapping[str, bytes],
    image_hosts: Sequence[str] = (),
) -> str:
    """The whole page as text.

    ``title`` and ``texts`` are plain text. ``body`` is markup of our own in which ``$name`` marks the place
    of the text of that name and ``$map`` that of the map. ``values`` reach the scripts as JSON and ``blocks``
    as base64, each in an element of that id. The scripts run in order, after Leaflet and after the map object
    exists.
    """
    figure = Figure()
    figure.add_child(drawing)
    drawing.render()
    inline_styles = [_leaflet_style(), *styles]
    inline_scripts = [_leaflet_script(), figure.script.render(), *scripts]
    for text in inline_scripts:
        check_inline(text, "script")
    for text in inline_styles:
        check_inline(text, "style")
    data = [
        *(
            f'<script type="application/json" id="{name}">{_json(value)}</script>'
            for name, value in values.items()
        ),
        *(
            f'<script type="application/octet-stream" id="{name}">{base64.b64encode(data).decode()}</script>'
            for name, data in blocks.items()
        ),
    ]
    policy = "; ".join(
        [
            "default-src 'none'",
            "script-src " + " ".join(map(source_hash, inline_scripts)),
            "style-src " + " ".join(map(source_hash, inline_styles)),
            " ".join(["img-src data:", *image_hosts]),
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )
    return "\n".join(
        [
            "<!DOCTYPE html>",
            f'<html lang="{language}">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{html.escape(title)}</title>",
            *(f"<style>{text}</style>" for text in inline_styles),
            "</head>",
            "<body>",
            Template(body).substitute(
                {name: html.escape(text) for name, text in texts.items()}
                | {"map": figure.html.render().strip()}
            ),
            *data,
            *(f"<script>{text}</script>" for text in inline_scripts),
            "</body>",
            "</html>",
            "",
        ]
    )


def _json(value: object) -> str:
    """JSON that can't end the element it stands in."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _leaflet_text(name: str) -> str:
    file = resources.files(LEAFLET_PACKAGE) / LEAFLET_FOLDER / name
    return file.read_text(encoding="utf-8").replace("\r\n", "\n")


def _leaflet_script() -> str:
    """Leaflet, without the pointer to a source map that is not there."""
    return re.sub(r"\n//# sourceMappingURL=.*", "", _leaflet_text("leaflet.js"))


def _leaflet_style() -> str:
    """Leaflet's style, each image inside it as a data URI."""
    images = resources.files(LEAFLET_PACKAGE) / LEAFLET_FOLDER / "images"

    def inlined(found: re.Match[str]) -> str:
        image = base64.b64encode((images / found[1]).read_bytes()).decode()
        return f"url(data:image/png;base64,{image})"

    return re.sub(r"url\(images/([\w.-]+\.png)\)", inlined, _leaflet_text("leaflet.css"))
