"""The project file: one strict TOML, read into frozen sections.

An unknown key is refused with the nearest right one; a wrong value with what would be right.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, Field, ValidationError, model_validator

from harvest.errors import ProjectError
from harvest.project.barrel import Barrel, Downspouts, Garden, Habits
from harvest.project.basemap import Basemap
from harvest.project.capture import Losses, Season, Storm
from harvest.project.context import Context
from harvest.project.districts import Districts
from harvest.project.doubt import Doubt
from harvest.project.gauge import Gauge, GeneratedRain, Temperature
from harvest.project.inputs import Footprints, Parcels, Rainfall
from harvest.project.money import Costs, Tariff
from harvest.project.outputs import Limits, Outputs
from harvest.project.outreach import Corrections, Eligibility, Learning, NoContact, Visits
from harvest.project.placing import Placing
from harvest.project.public import Public
from harvest.project.ranking import Exclude, Ranking
from harvest.project.rounds import Rounds
from harvest.project.setting import Section, declared_unit
from harvest.project.streets import Streets
from harvest.project.town import Town


class Settings(Section):
    """Everything the project file can say."""

    town: Town
    footprints: Footprints
    parcels: Parcels | None = Field(None, description="Parcels; without them each roof stands for itself.")
    rainfall: Rainfall
    gauge: Gauge | None = Field(None, description="A record of daily rain; without one, days are made up.")
    temperature: Temperature | None = Field(None, description="Monthly temperatures, for the garden.")
    districts: Districts | None = Field(
        None, description="Wards or the like; without them nothing is added up by district."
    )
    context: list[Context] = Field([], description="Surroundings to draw under the map.")
    generated_rain: GeneratedRain = GeneratedRain()
    placing: Placing = Placing()
    losses: Losses = Losses()
    season: Season = Season()
    storm: Storm = Storm()
    barrel: Barrel = Barrel()
    downspouts: Downspouts = Downspouts()
    garden: Garden = Garden()
    habits: Habits = Habits()
    tariff: Tariff | None = Field(
        None, description="Price of tap water; without it nothing is said of savings."
    )
    costs: Costs = Costs()
    doubt: Doubt = Doubt()
    ranking: Ranking = Ranking()
    streets: Streets | None = Field(
        None, description="Street centrelines; without them no street is ranked and no round is laid."
    )
    rounds: Rounds = Rounds()
    exclude: list[Exclude] = Field([], description="Reasons to take parcels off the lists.")
    visits: Visits | None = Field(
        None, description="The log of visits; without one nobody counts as visited."
    )
    corrections: Corrections | None = Field(None, description="What people corrected on the street.")
    no_contact: NoContact | None = Field(None, description="Whom not to visit.")
    eligibility: Eligibility = Eligibility()
    learning: Learning = Learning()
    outputs: Outputs = Outputs()
    basemap: Basemap | None = Field(None, description="Background images for the map; none by default.")
    public: Public = Public()
    limits: Limits = Limits()

    @model_validator(mode="after")
    def _parcels_for_exclusions(self) -> Settings:
        if self.parcels is None and any(rule.column for rule in self.exclude):
            raise ValueError("[[exclude]] by column needs [parcels]")
        if self.parcels is None and self.eligibility.parcel_columns:
            raise ValueError(f"[eligibility] {next(iter(self.eligibility.parcel_columns))} needs [parcels]")
        return self


class Project(BaseModel):
    """A project file that was read: its settings, and where it stands."""

    model_config = {"frozen": True}

    path: Path
    settings: Settings

    @property
    def folder(self) -> Path:
        """The folder that relative paths start from."""
        return self.path.parent

    def out_folder(self, chosen: Path | None = None) -> Path:
        """The result folder: ``chosen`` as given, else the one the project file names."""
        return (chosen if chosen is not None else self.folder / self.settings.outputs.folder).resolve()


MUST = {
    "bool_type": "must be true or false, without quotes",
    "string_type": "must be a text in quotes",
    "int_type": "must be a whole number, without quotes",
    "float_type": "must be a number, without quotes",
    "finite_number": "must be a finite number",
    "list_type": 'must be a list, such as ["a", "b"]',
    "dict_type": "must be names with a value each, such as {{ name = 1 }}",
    "too_short": "must hold at least {min_length}",
    "too_long": "must hold at most {max_length}",
    "model_type": "must be a section of settings, headed by its name in brackets",
    "literal_error": "must be {expected}",
    "greater_than_equal": "must be at least {ge:.10g}",
    "greater_than": "must be above {gt:.10g}",
    "less_than_equal": "must be at most {le:.10g}",
    "less_than": "must be below {lt:.10g}",
}
"""What a setting must be, by the kind of the validator's error."""


def read_project(path: Path) -> Project:
    """The project file at ``path``. Raises :class:`ProjectError` naming the key and the remedy."""
    if path.is_dir():
        raise ProjectError(f"{path} is a folder; give the project file, or make one: harvest start {path}")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise ProjectError(f"There is no project file {path}; make one: harvest start FOLDER") from None
    except UnicodeDecodeError as error:
        raise ProjectError(f"{path} is not UTF-8 text (byte {error.start}); save it as UTF-8.") from None
    except OSError as error:
        raise ProjectError(f"{path} can't be read: {error.strerror}.") from None
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProjectError(
            f'{path} is not valid TOML: {error}. Texts need quotes, such as name = "Pellwick".'
        ) from None
    try:
        settings = Settings.model_validate(values)
    except ValidationError as error:
        raise ProjectError(f"{path}: " + "; ".join(_told(one) for one in error.errors())) from None
    return Project(path=path.resolve(), settings=settings)


def _told(error: Any) -> str:
    """One validation error as a sentence for people."""
    place = _place(error["loc"])
    match error["type"]:
        case "extra_forbidden":
            keys = _keys_at(error["loc"][:-1])
            near = difflib.get_close_matches(str(error["loc"][-1]), keys, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(keys)}"
            return f"{place} is not a setting; {hint}"
        case "missing":
            return f"{place} is missing and only you can give it"
        case "value_error":
            return f"{place}: {error['ctx']['error']}"
        case _:
            must = MUST.get(error["type"])
            told = must.format(**error.get("ctx", {})) if must else _lowered(error["msg"])
            return f"{place} = {_short(error['input'])}: {told}"


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _place(location: tuple[int | str, ...]) -> str:
    """``[section] key``, the way it stands in the file."""
    names = [str(part) for part in location if not str(part).startswith(("list[", "str", "function"))]
    return f"[{names[0]}] {'.'.join(names[1:])}".strip() if names else "the file"


def _keys_at(location: tuple[int | str, ...]) -> list[str]:
    """The keys that the section at ``location`` knows."""
    section: type[BaseModel] = Settings
    for part in location:
        if isinstance(part, str) and part in section.model_fields:
            section = section_in(section.model_fields[part].annotation) or section
    return list(section.model_fields)


def section_in(annotation: Any) -> type[BaseModel] | None:
    """The section inside an annotation such as ``Parcels | None`` or ``list[Exclude]``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for found in map(section_in, get_args(annotation)) if found), None)


@cache
def json_schema() -> dict[str, Any]:
    """JSON Schema of the project file, for editors."""
    schema = Settings.model_json_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "Harvest project file",
    }


def settings_in_force(settings: Settings) -> Iterator[dict[str, Any]]:
    """Every setting with its value, unit, source, and whether the file gave it or a default stands."""
    for name, field in Settings.model_fields.items():
        value = getattr(settings, name)
        sections = value if isinstance(value, list) else [value]
        for number, section in enumerate(sections):
            if section is None:
                continue
            label = f"{name}[{number}]" if isinstance(value, list) else name
            yield from _of_section(label, section, field.annotation)


def _of_section(label: str, section: BaseModel, annotation: Any) -> Iterator[dict[str, Any]]:
    values = section.model_dump()
    for key, field in type(section).model_fields.items():
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        given = key in section.model_fields_set
        yield {
            "setting": f"{label}.{key}",
            "meaning": field.description,
            "value": values[key],
            "unit": declared_unit(key, extra),
            "from": "project file" if given else "default",
            "source": "given by the user" if given else extra.get("source"),
        }
