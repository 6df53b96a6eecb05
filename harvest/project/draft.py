"""A project file as text: what is known, each with its reason, and every other setting as a remark.

The remarks come from the sections themselves, so a default, its unit, bounds and source can't drift.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from harvest.project.file import Settings, section_in
from harvest.project.setting import OWN_CHOICE, declared_unit

SCHEMA_NAME = "harvest-schema.json"
WIDTH = 100


@dataclass(frozen=True)
class Said:
    """The value of one setting and why it has it; without a value, a hint for whoever sets it."""

    value: Any = None
    why: str = ""


Sayings = Mapping[str, Mapping[str, Said] | Sequence[Mapping[str, Said]]]
"""What a project file says, by section and key; of a section that may stand several times, a list."""


def project_text(said: Sayings, remarks: Sequence[str] = ()) -> str:
    """A project file that says ``said`` and shows every other setting as a remark.

    ``remarks`` stand at its head. A section that stands several times shows its defaults once. A section with a
    setting that only the user can give, and that is not said, is a remark as a whole.
    """
    lines = [f"#:schema ./{SCHEMA_NAME}", *_remarks(remarks), ""]
    for name, field in Settings.model_fields.items():
        section = section_in(field.annotation)
        if section is None:
            continue
        repeats = get_origin(field.annotation) is list
        values = said.get(name, {})
        every = [values] if isinstance(values, Mapping) else list(values)
        for number, one in enumerate(every):
            silent = (repeats and not one) or any(
                field.is_required() and key not in one for key, field in section.model_fields.items()
            )
            lines += list(_section(name, section, one, silent, repeats) if number == 0 else _again(name, one))
    return "\n".join(lines).rstrip() + "\n"


def _section(
    name: str, section: type[BaseModel], said: Mapping[str, Said], silent: bool, repeats: bool
) -> Iterator[str]:
    head = f"[[{name}]]" if repeats else f"[{name}]"
    yield f"# {head}" if silent else head
    yield from _remarks([(section.__doc__ or "").strip()])
    for key, field in section.model_fields.items():
        yield ""
        yield from _remarks([_meaning(key, field)])
        one = said.get(key, Said())
        if one.why:
            yield from _remarks([f"{'In your files' if one.value is None else 'Guessed'}: {one.why}."])
        yield (
            f"# {key} = {_shown_default(field)}" if one.value is None else f"{key} = {toml_value(one.value)}"
        )
    yield ""
    yield ""


def _again(name: str, said: Mapping[str, Said]) -> Iterator[str]:
    """A section once more: only what is said."""
    yield f"[[{name}]]"
    for key, one in said.items():
        if one.why:
            yield from _remarks([f"Guessed: {one.why}."])
        yield f"{key} = {toml_value(one.value)}"
    yield ""
    yield ""


def _meaning(key: str, field: FieldInfo) -> str:
    """Meaning, unit, bounds and source of a setting in one paragraph."""
    extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
    facts = []
    unit = declared_unit(key, extra)
    if unit not in (None, "1", "year"):
        facts.append(f"in {unit}")
    bounds = _bounds(field)
    if bounds:
        facts.append(bounds)
    choices = _choices(field.annotation)
    if len(choices) > 1:
        facts.append("one of " + ", ".join(toml_value(one) for one in choices))
    source = extra.get("source")
    if source not in (None, OWN_CHOICE, "given by the user"):
        facts.append(f"source of the default: {source}")
    told = str(field.description or "")
    return f"{told} ({'; '.join(facts)})" if facts else told


def _bounds(field: FieldInfo) -> str:
    told = []
    for one in field.metadata:
        match one:
            case Ge(ge=value):
                told.append(f"at least {value:,}")
            case Gt(gt=value):
                told.append(f"above {value:,}")
            case Le(le=value):
                told.append(f"at most {value:,}")
            case Lt(lt=value):
                told.append(f"below {value:,}")
    return ", ".join(told)


def _choices(annotation: Any) -> tuple[Any, ...]:
    """The only values allowed, looked for inside ``list[...]`` and ``... | None``."""
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    return next((found for found in map(_choices, get_args(annotation)) if found), ())


def _shown_default(field: FieldInfo) -> str:
    if field.is_required():
        return "…"
    default = field.get_default(call_default_factory=True)
    return "…" if default is None else toml_value(default)


def toml_value(value: Any) -> str:
    """``value`` as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        inner = ", ".join(f"{toml_value(str(key))} = {toml_value(one)}" for key, one in value.items())
        return "{ " + inner + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(toml_value(one) for one in value) + "]"
    return repr(value)


def _remarks(texts: Sequence[str]) -> Iterator[str]:
    """Texts as remark lines, folded, whatever they hold."""
    for text in texts:
        plain = "".join(sign if sign.isprintable() else " " for sign in text)
        yield from textwrap.wrap(plain, WIDTH, initial_indent="# ", subsequent_indent="# ") or ["#"]
