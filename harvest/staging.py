"""A result folder that appears whole or not at all.

Everything is written into a folder beside the result. When it is complete the two change places by renaming,
so a run that fails, for whatever reason, leaves the last good result as it was. Files that a person put into
the result folder are carried along.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from harvest.errors import HarvestError, OutputError, ResultError
from harvest.result import RUN_FILE, Result


@contextmanager
def staged(out: Path) -> Iterator[Path]:
    """A folder to write in; it becomes ``out`` when the block ends well and vanishes when it does not.

    Raises :class:`OutputError` when ``out`` holds something that is not a result of ours, or can't be written.
    """
    out = out.resolve()
    check_replaceable(out)
    stage = out.with_name(f".{out.name}.unfinished-{os.getpid()}")
    try:
        stage.mkdir(parents=True)
    except OSError as error:
        raise OutputError(
            f"The folder {out.parent} can't be written ({_reason(error)}); choose another with --out."
        ) from None
    try:
        yield stage
        _swap(stage, out)
    except HarvestError:
        raise
    except (OSError, sqlite3.Error) as error:
        raise OutputError(
            f"Results could not be written to {out} ({_reason(error)}). The last good result, if any, is untouched."
        ) from error
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def check_replaceable(out: Path) -> None:
    """Raises :class:`OutputError` unless ``out`` is missing, empty, or a result of ours."""
    if not out.exists():
        return
    if not out.is_dir():
        raise OutputError(f"{out} is a file, not a folder; choose another with --out.")
    if any(out.iterdir()):
        try:
            Result.at(out)
        except ResultError:
            raise OutputError(
                f"{out} holds files but no {RUN_FILE} of ours, so nothing there is replaced; "
                "choose another folder with --out."
            ) from None


def _swap(stage: Path, out: Path) -> None:
    """Put ``stage`` in the place of ``out``; on any fault ``out`` stays, or comes back, as it was."""
    if not out.exists():
        stage.rename(out)
        return
    if not any(out.iterdir()):
        out.rmdir()
        stage.rename(out)
        return
    _carry_along(out, stage)
    old = out.with_name(f".{out.name}.replaced-{os.getpid()}")
    try:
        out.rename(old)
    except OSError as error:
        raise OutputError(
            f"{out} can't be replaced ({_reason(error)}). Close any file of it that is open in another program, "
            "and run again; the last good result is untouched."
        ) from None
    try:
        stage.rename(out)
    except OSError:
        old.rename(out)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _carry_along(out: Path, stage: Path) -> None:
    """Copy into ``stage`` what stands in ``out`` and was not written by a run."""
    ours = set(Result.at(out).run.get("files", [])) | {RUN_FILE}
    for entry in out.iterdir():
        if entry.name in ours or (stage / entry.name).exists():
            continue
        if entry.is_dir():
            shutil.copytree(entry, stage / entry.name)
        else:
            shutil.copy2(entry, stage / entry.name)


def _reason(error: Exception) -> str:
    if isinstance(error, OSError) and error.errno == errno.ENOSPC:
        return "the disk is full"
    if isinstance(error, PermissionError):
        return "no permission to write there"
    return getattr(error, "strerror", None) or str(error)
