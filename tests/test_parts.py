"""Rows worked on in several threads come out as if they had been worked on in one."""

from __future__ import annotations

import threading

import numpy as np
import pytest
import shapely

from harvest import parts
from harvest.layers import between
from harvest.parts import LEAST_ROWS, aside, in_parts
from harvest.place.plane import WGS84, local_plane, transformed


@pytest.mark.parametrize("threads", [1, 2, 3, 4])
def test_rows_keep_their_order_whatever_the_number_of_threads(
    threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parts, "THREADS", threads)
    used = set()

    def difference(one: np.ndarray, other: np.ndarray) -> np.ndarray:
        used.add(threading.get_ident())
        return one - 2 * other

    one, other = np.arange(LEAST_ROWS + 7), np.arange(LEAST_ROWS + 7)[::-1]
    assert (in_parts(difference, one, other) == one - 2 * other).all()
    assert (threading.get_ident() in used) == (threads == 1)


def test_few_rows_and_none() -> None:
    assert in_parts(np.negative, np.arange(3)).tolist() == [0, -1, -2]
    assert in_parts(shapely.is_valid, np.empty(0, dtype=object)).tolist() == []


def test_what_goes_wrong_in_a_part_is_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "THREADS", 2)

    def refuse(rows: np.ndarray) -> np.ndarray:
        if rows[-1] == LEAST_ROWS - 1:
            raise ValueError("the last row is no good")
        return rows

    with pytest.raises(ValueError, match="the last row"):
        in_parts(refuse, np.arange(LEAST_ROWS))


@pytest.mark.parametrize(
    ("threads", "rows", "apart"), [(2, LEAST_ROWS, True), (2, LEAST_ROWS - 1, False), (1, LEAST_ROWS, False)]
)
def test_work_is_done_aside_and_in_order_where_there_is_much_of_it(
    threads: int, rows: int, apart: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parts, "THREADS", threads)
    done = []

    def answer(text: str) -> str:
        done.append((text, threading.get_ident() != here))
        return text

    def refuse() -> str:
        raise ValueError("no answer")

    here = threading.get_ident()
    with aside(rows) as thread:
        first = thread.submit(answer, "one")
        second = thread.submit(lambda: first.result() + answer(text="other"))
        assert second.result() == "oneother"
    assert done == [("one", apart), ("other", apart)]
    with pytest.raises(ValueError, match="no answer"), aside(rows) as thread:
        thread.submit(refuse).result()


def test_a_layer_moves_alike_in_one_thread_and_in_several(monkeypatch: pytest.MonkeyPatch) -> None:
    west = np.linspace(-58.3, -58.2, LEAST_ROWS)
    homes = np.asarray(shapely.box(west, 40.9, west + 1e-4, 40.9001), dtype=object)
    homes[::50] = None
    way = between(WGS84, local_plane((-58.3, 40.9, -58.2, 40.9001)))
    moved = []
    for threads in (1, 4):
        monkeypatch.setattr(parts, "THREADS", threads)
        moved.append(transformed(homes, way))
    assert shapely.equals_identical(*moved)[np.arange(LEAST_ROWS) % 50 > 0].all()
    assert shapely.is_missing(moved[1]).sum() == LEAST_ROWS / 50
