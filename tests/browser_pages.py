"""Pages in a browser as the tests open them: window sizes, and what a page asked for and complained about.

The browser itself is the session-wide fixture ``browser`` in ``conftest.py``, beside ``opens``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import ConsoleMessage, Error, Page, Request

CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DESK, TABLET_HIGH_ZOOM, PHONE, SMALL_PHONE = (1366, 768), (683, 384), (390, 844), (360, 740)


@dataclass
class Opened:
    """A page and everything it asked for or complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    console: list[str] = field(default_factory=list)

    def watch(self) -> None:
        for event, listener in self._listeners():
            self.page.on(event, listener)

    def leave(self) -> None:
        """Leave the page blank, as the next test wants it: with no listener, the pointer in its corner, on a screen."""
        for event, listener in self._listeners():
            self.page.remove_listener(event, listener)
        self.page.mouse.move(0, 0)
        self.page.emulate_media(media="null")
        self.page.goto("about:blank")

    def _listeners(self) -> tuple[tuple[Any, Callable[[Any], None]], ...]:
        return ("request", self._asked), ("console", self._said), ("pageerror", self._failed)

    def _asked(self, request: Request) -> None:
        if not request.url.startswith(("data:", "blob:")):
            self.requests.append(request.url)

    def _said(self, message: ConsoleMessage) -> None:
        self.console.append(f"{message.type}: {message.text}")

    def _failed(self, error: Error) -> None:
        self.console.append(f"error: {error}")

    def texts(self, selector: str) -> list[str]:
        return self.page.locator(selector).all_inner_texts()


Opener = Callable[..., Opened]
