"""The project file: strict, explained, and told in words when it is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pydantic import BaseModel

from harvest.errors import ProjectError
from harvest.project import Settings, json_schema, read_project, settings_in_force
from harvest.project.setting import declared_unit

GOOD = """
[town]
name = "Pellwick"
[footprints]
file = "footprints.gpkg"
[parcels]
file = "parcels.gpkg"
[rainfall]
file = "rain.tif"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "town.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_reads_with_every_default(tmp_path: Path) -> None:
    project = read_project(written(tmp_path, GOOD))
    assert project.folder == tmp_path
    assert project.settings.losses.coefficient == 0.80
    assert project.out_folder() == tmp_path / "results"
    assert project.out_folder(Path("elsewhere")) == Path("elsewhere").resolve()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ('[parcels]\nadress = "a"', r"\[parcels\] adress is not a setting; did you mean address\?"),
        ("[loses]\ncoefficient = 0.8", r"\[loses\] is not a setting; did you mean losses\?"),
        ('[town]\ncolour_of_the_town_hall = "red"', r"there are name, units"),
        ("[losses]\ncoefficient = 1.4", r"\[losses\] coefficient = 1.4: must be at most 1"),
        ("[storm]\ndepth_mm = -1", "= -1: must be above 0"),
        ('[outputs]\nwalk_lists = "yes"', "= 'yes': must be true or false, without quotes"),
        ("[ranking]\nweights = 3", r"weights = 3: must be names with a value each"),
        ("[outputs]\nfolder = 3", "= 3: must be a text in quotes"),
        ("[outputs]\nmap_most_parcels = 1.5", "= 1.5: must be a whole number"),
        ('[outputs]\nformats = "csv"', "= 'csv': must be a list"),
        (
            '[losses]\ncoefficient = "0.8"',
            r"\[losses\] coefficient = '0.8': must be a number, without quotes",
        ),
        ("[placing]\nsliver_share = nan", "finite"),
        ('[season]\nfirst = "02-30"', "'02-30' is not a month-day such as 04-15"),
        ('[season]\nfirst = "April"', "not a month-day"),
        ("[season]\nmonthly_shares = [0.5, 0.5]", "12 numbers"),
        ('[ranking]\nmeasure = "capturable"', "no measure of a parcel; there are"),
        ('[ranking]\nmeasure = "rank"', "no measure of a parcel"),
        ("[ranking]\nweights = { storm_l = -1 }", "each weight above 0"),
        ('[ranking]\nhome_land_uses = ["a"]\nlarge_land_uses = ["a"]', "stands in both lists"),
        ('[town]\nunits = "imperial"', "'us' or 'metric'"),
        ('[[exclude]]\nreason = "x"', "names parcels, or a column"),
        ('[[exclude]]\nreason = "x"\ncolumn = "owner"', "needs both column and values"),
        ('[rainfall]\nfile = ["a.tif", "b.tif"]', "needs 12 of them"),
        ('[outputs]\nformats = ["dwg"]', "'csv', 'xlsx' or 'gpkg'"),
    ],
)
def test_a_wrong_setting_is_told_with_what_would_be_right(tmp_path: Path, change: str, message: str) -> None:
    section, _, rest = change.partition("\n")
    text = (
        GOOD.replace(section + "\n", f"{section}\n{rest}\n", 1)
        if section + "\n" in GOOD
        else f"{GOOD}\n{change}\n"
    )
    if section == "[rainfall]":
        text = GOOD.replace('file = "rain.tif"', rest)
    with pytest.raises(ProjectError, match=message) as caught:
        read_project(written(tmp_path, text))
    assert caught.value.exit_code == 2
    assert "town.toml" in str(caught.value)


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(ProjectError) as caught:
        read_project(written(tmp_path, GOOD + "[losses]\ncoefficient = 2\n[storm]\ndepth_mm = 0\n"))
    assert "coefficient" in str(caught.value)
    assert "depth_mm" in str(caught.value)


def test_a_missing_section_is_named(tmp_path: Path) -> None:
    with pytest.raises(ProjectError, match=r"\[rainfall\] is missing"):
        read_project(written(tmp_path, GOOD.replace("[rainfall]", "").replace('file = "rain.tif"', "")))


def test_files_that_are_no_project(tmp_path: Path) -> None:
    with pytest.raises(ProjectError, match="harvest start"):
        read_project(tmp_path / "none.toml")
    with pytest.raises(ProjectError, match="is a folder"):
        read_project(tmp_path)
    with pytest.raises(ProjectError, match="not valid TOML"):
        read_project(written(tmp_path, "[town]\nname = Pellwick"))
    (tmp_path / "town.toml").write_bytes(b"[town]\nname = 'Caf\xe9'")
    with pytest.raises(ProjectError, match="not UTF-8"):
        read_project(tmp_path / "town.toml")


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "town.toml"
    path.write_text("\ufeff" + GOOD, encoding="utf-8")
    assert read_project(path).settings.town.name == "Pellwick"


def sections() -> list[type[BaseModel]]:
    found = []
    for field in Settings.model_fields.values():
        for kind in (field.annotation, *getattr(field.annotation, "__args__", ())):
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                found.append(kind)
    return found


@pytest.mark.parametrize("section", sections(), ids=lambda section: section.__name__)
def test_every_setting_has_a_meaning_a_source_and_a_unit(section: type[BaseModel]) -> None:
    for name, field in section.model_fields.items():
        assert field.description, name
        assert field.json_schema_extra["source"], name
        kinds = {field.annotation, *getattr(field.annotation, "__args__", ())}
        if kinds & {float, int} and not name.endswith("_year"):
            assert declared_unit(name, field.json_schema_extra), f"{section.__name__}.{name} has no unit"
            assert field.metadata, f"{section.__name__}.{name} has no bounds"


def test_settings_in_force_say_where_each_came_from(tmp_path: Path) -> None:
    project = read_project(written(tmp_path, GOOD + "[storm]\ndepth_mm = 30.0\n"))
    found = {one["setting"]: one for one in settings_in_force(project.settings)}
    assert found["storm.depth_mm"] == {
        "setting": "storm.depth_mm",
        "meaning": "Rain depth of the storm; 25.4 mm is one inch.",
        "value": 30.0,
        "unit": "mm",
        "from": "project file",
        "source": "given by the user",
    }
    assert found["losses.coefficient"]["from"] == "default"
    assert "enHealth 2010" in found["losses.coefficient"]["source"]


def test_json_schema_knows_bounds_and_closes_sections() -> None:
    schema = json_schema()
    json.dumps(schema)
    losses = schema["$defs"]["Losses"]
    assert losses["additionalProperties"] is False
    assert losses["properties"]["coefficient"]["maximum"] == 1.0
    assert losses["properties"]["coefficient"]["unit"] == "1"
