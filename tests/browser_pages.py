"""Pages in a browser as the tests open them: window sizes, and what a page asked for and complained about.

The browser itself is the session-wide fixture ``browser`` in ``conftest.py``, beside ``opens``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from playwright.sync_api import ConsoleMessage, Page, Request

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
        self.page.on("request", self._asked)
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.console.append(f"error: {error}"))

    def _asked(self, request: Request) -> None:
        if not request.url.startswith(("data:", "blob:")):
            self.requests.append(request.url)

    def _said(self, message: ConsoleMessage) -> None:
        self.console.append(f"{message.type}: {message.text}")

    def texts(self, selector: str) -> list[str]:
        return self.page.locator(selector).all_inner_texts()


Opener = Callable[..., Opened]
