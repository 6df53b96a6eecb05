"""The door: five lines, exit codes, no traceback for input, nothing slow before it opens."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from conftest import SAMPLE

from harvest.cli import main
from harvest.clock import Clock
from harvest.errors import HarvestError
from harvest.explain import explain
from harvest.project import read_project
from harvest.result import Result


def harvest(*arguments: str | Path) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of one command; a traceback fails the test."""
    ended = CliRunner().invoke(main, [str(one) for one in arguments])
    assert ended.exception is None or isinstance(ended.exception, SystemExit), ended.exc_info
    return ended.exit_code, ended.stdout, ended.stderr


def test_run_prints_five_lines(lean_copy: Path) -> None:
    code, out, err = harvest("run", lean_copy)
    assert code == 0, err
    lines = out.splitlines()
    assert [line.split(":")[0] for line in lines] == ["Roofs", "Water", "Best", "Findings", "Map"]
    assert "gal a year" in lines[1]
    assert "suggested barrels gardens would use" in lines[1]
    assert Path(lines[4].split(":", 1)[1].strip()).exists()


def test_check_reads_everything_and_writes_nothing(sample_copy: Path) -> None:
    before = sorted(sample_copy.parent.rglob("*"))
    code, out, err = harvest("check", sample_copy)
    assert code == 0, err
    assert re.search(r"footprints: 2,\d{3} rows", out)
    assert "12 months" in out
    assert sorted(sample_copy.parent.rglob("*")) == before


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda folder: (folder / "footprints.gpkg").unlink(), "footprints.gpkg"),
        (lambda folder: (folder / "rain_monthly.tif").write_bytes(b"II*\0 not a grid"), "rain_monthly.tif"),
        (lambda folder: (folder / "pellwick.toml").write_text("[town"), "not valid TOML"),
        (
            lambda folder: (folder / "footprints.gpkg").write_bytes(
                (folder / "footprints.gpkg").read_bytes()[:60_000]
            ),
            "footprints.gpkg",
        ),
    ],
    ids=["missing file", "grid of nonsense", "broken project file", "truncated GeoPackage"],
)
@pytest.mark.parametrize("command", ["check", "run"])
def test_bad_input_is_one_message_and_exit_code_2(
    sample_copy: Path, spoil, message: str, command: str
) -> None:
    spoil(sample_copy.parent)
    code, out, err = harvest(command, sample_copy)
    assert (code, out) == (2, "")
    last = err.splitlines()[-1]  # before it, on a slow machine, how far it came
    assert last.startswith("harvest: ") and message in last
    assert "Traceback" not in err
    assert not (sample_copy.parent / "results").exists()


def test_a_fault_of_the_program_is_exit_code_1(sample_copy: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise HarvestError("a table broke its register; this is a bug.")

    monkeypatch.setattr("harvest.run.estimate", broken)
    code, _, err = harvest("run", sample_copy)
    assert (code, err) == (1, "harvest: a table broke its register; this is a bug.\n")


def test_explain_can_be_redone_with_a_pocket_calculator(sample_result: Result) -> None:
    """The printed factors, multiplied by hand, give the printed litres."""
    project = read_project(SAMPLE / "pellwick.toml")
    parcels = sample_result.table("parcels", ["parcel_id", "list", "rank", "capturable_l_yr"])
    best = parcels[parcels["list"].eq("homes") & parcels["rank"].eq(1)].iloc[0]
    text = "\n".join(explain(project, best["parcel_id"], sample_result.folder))
    worked = re.findall(r"([\d.]+) × ([\d.]+) × ([\d.]+) = ([\d,]+) L (?:shed|capturable)", text)
    assert len(worked) >= 2
    for area, depth, coefficient, litres in worked:
        printed = float(litres.replace(",", ""))
        assert float(area) * float(depth) * float(coefficient) == pytest.approx(printed, rel=2e-4)
    months = re.search(r"Apr ([\d.]+) × ([\d.]+) \+ (.*) = ([\d.]+) mm", text)
    assert months is not None
    rest = sum(float(part.split()[1]) for part in months[3].split(" + "))
    assert float(months[1]) * float(months[2]) + rest == pytest.approx(float(months[4]), abs=0.4)
    assert f"capturable {best['capturable_l_yr']:,.0f} L" in text
    assert "enHealth 2010" in text
    assert "not yield" in text
    assert "not what the tables hold" not in text
    assert len(text.splitlines()) <= 45


def test_explain_takes_an_address_and_leads_from_unit_to_site(sample_result: Result) -> None:
    project = read_project(SAMPLE / "pellwick.toml")
    parcels = sample_result.table("parcels", ["parcel_id", "address", "status", "site_id"])
    ranked = parcels[parcels["status"].eq("ranked") & parcels["address"].notna()].iloc[0]
    assert explain(project, ranked["address"].upper(), sample_result.folder)[0].startswith(
        f"Parcel {ranked['parcel_id']}"
    )
    unit = parcels[parcels["status"].eq("unit of association")].iloc[0]
    text = "\n".join(explain(project, unit["parcel_id"], sample_result.folder))
    assert unit["site_id"] in text
    bare = parcels[parcels["status"].eq("no roof")].iloc[0]
    assert "nothing to work out" in "\n".join(explain(project, bare["parcel_id"], sample_result.folder))


def test_explain_names_the_nearest_ids_and_a_changed_setting(
    sample_result: Result, sample_copy: Path
) -> None:
    assert harvest("explain", sample_copy, "0001001")[0] == 2
    shutil.copytree(sample_result.folder, sample_copy.parent / "results")
    code, _, err = harvest("explain", sample_copy, "00010011")
    assert code == 2
    assert re.search(r"near it: \d{7}, \d{7}", err)
    sample_copy.write_text(
        sample_copy.read_text(encoding="utf-8") + "\n[storm]\ndepth_mm = 30.0\n", encoding="utf-8"
    )
    code, _, err = harvest("explain", sample_copy, "0001001")
    assert code == 2
    assert "storm.depth_mm" in err
    assert "Run again" in err


def test_help_opens_the_door_quickly_and_loads_nothing_heavy() -> None:
    """Timings never decide a test, so this looks at what was imported instead."""
    code = "import sys, harvest.cli; print(sorted({'pandas', 'geopandas', 'numpy', 'rasterio'} & set(sys.modules)))"
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ended.stdout.strip() == "[]"
    for command in ("start", "check", "run", "explain"):
        assert command in harvest("--help")[1]


def test_slow_steps_are_told_while_they_run_and_quick_ones_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("harvest.clock.SLOW_SECONDS", 0.05)
    heard: list[str] = []
    clock = Clock(heard.append)
    with clock.step("quick"):
        pass
    with clock.step("slow"):
        time.sleep(0.2)
    assert heard == ["slow ..."]
    assert set(clock.seconds) == {"quick", "slow"}
