"""Seconds by step, and a word on a slow step while it runs."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

SLOW_SECONDS = 2.0


class Clock:
    """Times named steps; ``say`` hears of each step that has been running for two seconds."""

    def __init__(self, say: Callable[[str], None] = lambda _: None) -> None:
        self.seconds: dict[str, float] = {}
        self._say = say

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time what runs inside under ``name``."""
        slow = threading.Timer(SLOW_SECONDS, self._say, [f"{name} ..."])
        slow.daemon = True
        slow.start()
        begun = time.perf_counter()
        try:
            yield
        finally:
            slow.cancel()
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - begun
