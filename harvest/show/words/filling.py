"""Putting figures and names into a text."""

from __future__ import annotations

import re


def fill(text: str, /, **values: object) -> str:
    """``text`` with its ``{…}`` filled in; what a value itself holds is left as it is."""
    return re.sub(r"\{(\w+)\}", lambda mark: str(values[mark[1]]), text)
