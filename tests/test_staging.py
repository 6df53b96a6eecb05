"""A result folder is whole or not there, and the last good one survives every fault."""

from __future__ import annotations

import errno
import json
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from harvest.errors import LayerError, OutputError
from harvest.staging import staged


def make(out: Path, word: str) -> None:
    with staged(out) as stage:
        (stage / "table.csv").write_text(word)
        (stage / "run.json").write_text(json.dumps({"version": "1", "files": ["run.json", "table.csv"]}))


def leftovers(folder: Path) -> list[str]:
    return [entry.name for entry in folder.iterdir() if entry.name.startswith(".")]


def test_a_result_appears_and_is_replaced(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    make(out, "first")
    make(out, "second")
    assert (out / "table.csv").read_text() == "second"
    assert leftovers(out.parent) == []


@pytest.mark.parametrize(
    "fault", [LayerError("bad"), OSError(errno.ENOSPC, "No space left"), KeyboardInterrupt()]
)
def test_a_fault_leaves_the_last_good_result(tmp_path: Path, fault: BaseException) -> None:
    out = tmp_path / "out"
    make(out, "good")
    before = {entry.name: entry.read_bytes() for entry in out.iterdir()}
    expected = OutputError if isinstance(fault, OSError) else type(fault)
    with pytest.raises(expected) as caught, staged(out) as stage:
        (stage / "table.csv").write_text("half")
        raise fault
    if isinstance(fault, OSError):
        assert "the disk is full" in str(caught.value)
        assert "untouched" in str(caught.value)
    assert {entry.name: entry.read_bytes() for entry in out.iterdir()} == before
    assert leftovers(tmp_path) == []


def test_a_fault_in_the_swap_brings_the_old_one_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "out"
    make(out, "good")
    rename = Path.rename

    def refuse(self: Path, target: Path) -> Path:
        if ".unfinished" in self.name:
            raise PermissionError(errno.EACCES, "Access is denied")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(OutputError, match="no permission"):
        make(out, "new")
    assert (out / "table.csv").read_text() == "good"


def test_a_file_open_in_another_program_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows refuses to rename a folder while a spreadsheet has a file of it open."""
    out = tmp_path / "out"
    make(out, "good")

    def refuse(self: Path, target: Path) -> Path:
        raise PermissionError(errno.EACCES, "The process cannot access the file")

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(OutputError, match="open in another program"):
        make(out, "new")
    assert (out / "table.csv").read_text() == "good"


def test_what_a_person_put_there_is_carried_along(tmp_path: Path) -> None:
    out = tmp_path / "out"
    make(out, "first")
    (out / "my notes.txt").write_text("call the school")
    (out / "photos").mkdir()
    (out / "photos" / "roof.jpg").write_bytes(b"\xff")
    make(out, "second")
    assert (out / "my notes.txt").read_text() == "call the school"
    assert (out / "photos" / "roof.jpg").read_bytes() == b"\xff"
    assert (out / "table.csv").read_text() == "second"


def test_a_folder_of_other_things_is_never_replaced(tmp_path: Path) -> None:
    out = tmp_path / "thesis"
    out.mkdir()
    (out / "chapter1.txt").write_text("precious")
    with pytest.raises(OutputError, match="nothing there is replaced"):
        make(out, "new")
    (out / "run.json").write_text('{"other": "program"}')
    with pytest.raises(OutputError, match="nothing there is replaced"):
        make(out, "new")
    assert (out / "chapter1.txt").read_text() == "precious"
    with pytest.raises(OutputError, match="is a file"):
        make(out / "chapter1.txt", "new")


FULL_DISK = """
import sys
from pathlib import Path
from harvest.errors import OutputError
from harvest.staging import staged
import signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
try:
    with staged(Path(sys.argv[1])) as stage:
        (stage / "big.bin").write_bytes(bytes(2_000_000))
except OutputError as error:
    print(error)
    sys.exit(error.exit_code)
"""


def test_a_disk_that_takes_no_more(tmp_path: Path) -> None:
    """A real refusal by the operating system: files of this process may not grow past a megabyte."""
    out = tmp_path / "out"
    make(out, "good")
    ended = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(out)],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000)),
    )
    assert (ended.returncode, ended.stderr) == (2, "")
    assert "could not be written" in ended.stdout
    assert (out / "table.csv").read_text() == "good"
    assert leftovers(tmp_path) == []


def test_a_place_that_can_not_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="can't be written"):
        make(tmp_path / "file" / "below" / "out", "new")
    if Path("/proc/version").exists():
        with pytest.raises(OutputError, match="choose another"):
            make(Path("/proc/harvest/out"), "new")
