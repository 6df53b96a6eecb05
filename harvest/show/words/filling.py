"""Putting figures and names into a text."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping


def fill(text: str, /, **values: object) -> str:
    """``text`` with its ``{…}`` filled in; what a value itself holds is left as it is."""
    return re.sub(r"\{(\w+)\}", lambda mark: str(values[mark[1]]), text)


def filler(texts: Mapping[str, str]) -> Callable[..., str]:
    """A function that takes the name of one of ``texts``, and by name what fills its ``{…}``."""

    def said(name: str, /, **values: object) -> str:
        return fill(texts[name], **values)

    return said
