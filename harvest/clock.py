"""Seconds by step, a word on a slow step while it runs, and what day it is."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date

SLOW_SECONDS = 2.0


class Clock:
    """Times named steps; ``say``, if any, hears of each step that has been running for two seconds.

    ``today`` is the day of the run, asked once; no other part of the program looks at a calendar.
    """

    def __init__(self, say: Callable[[str], None] | None = None, today: date | None = None) -> None:
        self.seconds: dict[str, float] = {}
        self.today = today or date.today()
        self._say = say

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time what runs inside under ``name``."""
        slow = self._waiting(f"{name} ...")
        begun = time.perf_counter()
        try:
            yield
        finally:
            if slow is not None:
                slow.cancel()
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - begun

    def _waiting(self, word: str) -> threading.Timer | None:
        """The timer that will say ``word``, started; None where nobody hears it."""
        if self._say is None:
            return None
        slow = threading.Timer(SLOW_SECONDS, self._say, [word])
        slow.daemon = True
        slow.start()
        return slow
