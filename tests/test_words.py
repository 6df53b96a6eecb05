"""All texts that people read in what is written stand in one table; nothing of them is left between the code."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from harvest import show
from harvest.show.words import TABLE
from harvest.show.words.filling import fill

SHOW = Path(show.__file__).parent
OF_FINDINGS = {
    "Finding",
    "Finding.of",
    "no_package",
    "OutputError",
    "ResultError",
    "ProjectError",
    "HarvestError",
    "ValueError",
}
"""Calls whose texts go to the findings, or to the person who started the run."""

SENTENCE = re.compile(r"[A-Z][a-z]+[ ,][^<>=]*[a-z]{2}")


def sentences_in(source: str) -> list[str]:
    """Texts in ``source`` that read like English, but for docstrings, findings and errors."""
    tree = ast.parse(source)
    apart = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func) in OF_FINDINGS:
            apart |= {id(part) for part in ast.walk(node)}
    texts = (
        node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)
    )
    return [node.value for node in texts if id(node) not in apart and SENTENCE.match(node.value)]


@pytest.mark.parametrize("module", sorted(path.name for path in SHOW.glob("*.py")))
def test_no_text_stands_between_the_code(module: str) -> None:
    found = sentences_in((SHOW / module).read_text(encoding="utf-8"))
    if module == "limits.py":  # a table of findings
        assert len(found) > 5
    elif module == "sheet.py":  # a warning of matplotlib's that is waited for
        assert found == ["Glyph .* missing from font"]
    else:
        assert found == []


def test_such_a_text_is_found() -> None:
    assert sentences_in('"""Doc text here."""\nx = f"Roofs: {n}"\ny = "The town sheds water"') == [
        "The town sheds water"
    ]


def test_the_table_holds_every_text_once_and_filled() -> None:
    assert len(TABLE) > 400
    assert all(text.strip() for text in TABLE.values())
    assert {name.split(".")[0] for name in TABLE} == {
        path.stem for path in (SHOW / "words").glob("*.py") if path.stem not in ("__init__", "filling")
    }


def test_what_a_value_holds_is_left_as_it_is() -> None:
    assert fill("{town} has {count}", town="{count} {{ 6*7 }}", count=3) == "{count} {{ 6*7 }} has 3"
    with pytest.raises(KeyError, match="town"):
        fill("{town}")
