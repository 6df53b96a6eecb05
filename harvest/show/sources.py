"""The source files of pages and sheets that stand in the package, and what a security policy says of them."""

from __future__ import annotations

import base64
import hashlib
import re
from importlib import resources

from harvest.errors import HarvestError


def source_text(folder: str, name: str) -> str:
    """A source file of ``harvest/show/<folder>``, with plain line ends whatever the checkout made of them."""
    file = resources.files("harvest.show") / folder / name
    return file.read_text(encoding="utf-8").replace("\r\n", "\n")


def source_hash(text: str) -> str:
    """How a content security policy names an inline script or style with exactly this ``text``."""
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def check_inline(text: str, element: str) -> None:
    """A script or style that would end its own element, or hide from its hash, is a fault of the program."""
    if re.search(rf"</{element}|<!--|\r", text, re.IGNORECASE):
        raise HarvestError(f"A {element} of the page holds markup that would break the page.")
