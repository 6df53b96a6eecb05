"""How a setting is declared: default, unit, bounds and source together, or it can't be declared at all."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from harvest.fields.register import unit_of_name

COMMON_PRACTICE = "common practice, no published source"
FROM_MEMORY = "practitioners' figure, from memory"
OWN_CHOICE = "chosen for this program"


class Section(BaseModel):
    """One table of the project file: frozen, and closed to unknown keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


def setting(
    default: Any, meaning: str, *, unit: str | None = None, source: str = OWN_CHOICE, **bounds: Any
) -> Any:
    """A setting: its meaning, unit, bounds (``ge``, ``gt``, ``le``, ``lt``) and the source of its default."""
    extra: dict[str, Any] = {"source": source}
    if unit is not None:
        extra["unit"] = unit
    return Field(default, description=meaning, json_schema_extra=extra, **bounds)


def required(meaning: str) -> Any:
    """A setting that only the user can give."""
    return Field(description=meaning, json_schema_extra={"source": "given by the user"})


def declared_unit(name: str, schema: dict[str, Any]) -> str | None:
    """The unit of a numeric setting: by its name's suffix, else by its declaration."""
    return unit_of_name(name) or schema.get("unit")
