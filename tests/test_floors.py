"""Imports point down: this test walks them all and holds the floors."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import harvest

ROOT = Path(harvest.__file__).parent
WORDS = {"errors", "units", "findings", "layers", "parts", "result", "fields", "project", ""}
STAGES = {"read", "place", "plan", "show"}
CHAIN = {
    *("start", "check", "run", "explain", "explain_barrels"),
    *("estimate", "parcel_rows", "litres", "weather", "standing", "deliver", "ranges"),
    *("office", "corrected", "outreach", "learned", "achieved", "published"),
    *("cards", "chosen", "street_order", "street_sides", "canvass", "places"),
    *("staging", "clock"),
}
MAY_IMPORT = {
    "cli": WORDS | CHAIN | STAGES,
    **dict.fromkeys(CHAIN, WORDS | CHAIN | STAGES | {"water"}),
    "read": WORDS | {"read"},
    "place": WORDS | {"place"},
    "plan": WORDS | {"plan", "water"},
    "show": WORDS | {"show"},
    "water": {"water", "units"},
    "errors": set(),
    "units": set(),
    "parts": set(),
    "findings": {"errors"},
    "fields": {"errors", "fields"},
    "project": {"errors", "units", "fields", "project"},
    "layers": {"findings"},
    "result": {"errors"},
}
LONGEST = 350
PHYSICS_MAY_USE = {"numpy", "scipy", "harvest", "__future__", "collections", "dataclasses", "typing"}


def modules() -> list[Path]:
    return sorted(ROOT.rglob("*.py"))


def room_of(path: Path) -> str:
    first = path.relative_to(ROOT).parts[0]
    return first.removesuffix(".py").replace("__init__", "")


def imported_rooms(path: Path) -> set[str]:
    """The rooms of our own that a module imports, at its head or inside a function."""
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports relatively"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        for name in names:
            parts = name.split(".")
            if parts[0] == "harvest":
                second = parts[1] if len(parts) > 1 else ""
                rooms.add("" if second == "__version__" else second)
    return rooms


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_point_down(path: Path) -> None:
    room = room_of(path)
    if room == "":
        return
    assert room in MAY_IMPORT, f"{path.name} stands on no floor; give it one here and in DEVELOPERS.md"
    beyond = imported_rooms(path) - MAY_IMPORT[room]
    assert not beyond, f"{path.relative_to(ROOT)} may not import {sorted(beyond)}"


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_stay_short(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST


def test_physics_knows_no_frames_files_or_geometry() -> None:
    for path in (ROOT / "water").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import | ast.ImportFrom):
                name = node.module if isinstance(node, ast.ImportFrom) else node.names[0].name
                assert (name or "").split(".")[0] in PHYSICS_MAY_USE
