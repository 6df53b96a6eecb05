"""Work on rows that know nothing of one another, in as many threads as there are cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

One = TypeVar("One")
Other = TypeVar("Other")
THREADS = min(os.cpu_count() or 1, 4)
LEAST_ROWS = 25_000
"""Fewer rows are done before a thread has begun, and has looked up its own way from one CRS to another."""


def in_parts(function: Callable[..., NDArray[Any]], *rows: NDArray[Any]) -> NDArray[Any]:
    """``function`` of the arrays ``rows`` [n each], as if called once; it must give one row [n] for each.

    Worth it where most of the time goes into GEOS or PROJ, which let other threads run. The answer is the same for
    any number of threads. What ``function`` raises is raised here.
    """
    if THREADS == 1 or len(rows[0]) < LEAST_ROWS:
        return function(*rows)
    with ThreadPoolExecutor(THREADS) as threads:
        return np.concatenate(list(threads.map(function, *(np.array_split(one, THREADS) for one in rows))))


def both(one: Callable[[], One], other: Callable[[], Other], rows: int) -> tuple[One, Other]:
    """The answers of two functions that know nothing of one another, asked at once where they do many ``rows``."""
    if THREADS == 1 or rows < LEAST_ROWS:
        return one(), other()
    with ThreadPoolExecutor(1) as aside:
        later = aside.submit(other)
        return one(), later.result()
