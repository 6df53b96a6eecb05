"""PDF from a Typst template and plain values, typeset offline.

The template is a file of ours and the values reach it as JSON, never as source, so a text from outside is set
as the text it is. Only the typefaces inside the installed package are used, and no date, so that the same
values give the same bytes on every machine.
"""

from __future__ import annotations

import json

from harvest.errors import HarvestError, OutputError
from harvest.show.sources import source_text

TEMPLATES = "typst"
REMEDY = 'pip install "harvest-mapper[brief]"'


def can_typeset() -> bool:
    """Whether Typst is installed."""
    try:
        import typst
    except ImportError:
        return False
    return bool(typst)


def typeset(template: str, values: object) -> bytes:
    """The PDF that ``template`` (a file in ``show/typst``) makes of ``values`` (anything that JSON holds).

    Raises :class:`OutputError` when Typst is not installed, and :class:`HarvestError` when the
    template does not compile, which is a fault of the program.
    """
    try:
        import typst
    except ImportError:
        raise OutputError(
            f"Making a PDF needs the package typst, which is not installed; run: {REMEDY}"
        ) from None
    data = json.dumps(values, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    try:
        made = typst.compile(
            source_text(TEMPLATES, template).encode(),
            format="pdf",
            ignore_system_fonts=True,
            sys_inputs={"data": data},
        )
    except typst.TypstError as error:
        raise HarvestError(f"The template {template} can't be typeset ({error}); this is a bug.") from error
    return bytes(made)
