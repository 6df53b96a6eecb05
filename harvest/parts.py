"""Work on rows that know nothing of one another, in as many threads as there are cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from typing import Any, ParamSpec, TypeVar

import numpy as np
from numpy.typing import NDArray

One = TypeVar("One")
Given = ParamSpec("Given")
THREADS = min(os.cpu_count() or 1, 4)
LEAST_ROWS = 25_000
"""Fewer rows are done before a thread has begun, and has looked up its own way from one CRS to another."""


def in_parts(function: Callable[..., NDArray[Any]], *rows: NDArray[Any]) -> NDArray[Any]:
    """``function`` of the arrays ``rows`` [n each], as if called once; it must give one row [n] for each.

    Worth it where most of the time goes into GEOS or PROJ, which let other threads run. The answer is the same for
    any number of threads. What ``function`` raises is raised here.
    """
    if not _worth_it(len(rows[0])):
        return function(*rows)
    with ThreadPoolExecutor(THREADS) as threads:
        return np.concatenate(list(threads.map(function, *(np.array_split(one, THREADS) for one in rows))))


def aside(rows: int) -> Executor:
    """A thread beside this one, which does what it is handed in order; where the ``rows`` are few, this one at once."""
    return ThreadPoolExecutor(1) if _worth_it(rows) else _Here()


def _worth_it(rows: int) -> bool:
    return THREADS > 1 and rows >= LEAST_ROWS


class _Here(Executor):
    """Does what it is handed before it answers."""

    def submit(self, fn: Callable[Given, One], /, *args: Given.args, **kwargs: Given.kwargs) -> Future[One]:
        done: Future[One] = Future()
        done.set_result(fn(*args, **kwargs))
        return done
