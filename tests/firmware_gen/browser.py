"""Debian's chromium, without a screen, and the preview page in it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

needs_browser = pytest.mark.skipif(
    CHROMIUM is None, reason="NO CHROMIUM: the preview page is not run in a browser"
)

FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking")


@contextmanager
def chromium() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playing:
        browser = playing.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


class Opened:
    """A page that was opened, and what its console said."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.said: list[str] = []
        self.asked_for: list[str] = []
        page.on("console", lambda message: self.said.append(message.text))
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.on("request", lambda request: self.asked_for.append(request.url))

    def js(self, text: str, argument: Any = None) -> Any:
        return self.page.evaluate(text, argument)

    def ready(self) -> Opened:
        self.page.wait_for_selector("body[data-ready]", timeout=20_000)
        return self

    def wait(self, condition: str) -> None:
        self.page.wait_for_function(condition, timeout=20_000)

    def recorded(self) -> list[list[list[int]]]:
        """What the take has written down: by output in the order of the boards, then by frame."""
        return self.js(  # type: ignore[no-any-return]
            """() => {
                const { columns, frames } = bellcrank.take.recording;
                const part = (row, n, width) => [...row.subarray(n * width, (n + 1) * width)];
                return columns.map(({ values, width }) =>
                    Array.from({ length: frames }, (_, n) => part(values, n, width)));
            }"""
        )

    def script(self) -> list[tuple[int, str]]:
        """What was asked in the take, by frame."""
        found = self.js("() => [...bellcrank.take.script]")
        return [(frame, request) for frame, requests in found for request in requests]


@contextmanager
def opened(
    browser: Browser, text: str, folder: Path, size: tuple[int, int] = (1280, 800), **more: Any
) -> Iterator[Opened]:
    """The page from a file, as a user opens it, with the size of its window.

    What the page lets itself do (its Content-Security-Policy) would also bind the tests that ask it
    something; it stays in force where a test says `bypass_csp=False`.
    """
    more.setdefault("bypass_csp", True)
    file = folder / "page.html"
    file.write_text(text, encoding="utf-8")
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **more)
    found = Opened(context.new_page())
    found.page.goto(file.as_uri())
    yield found.ready()
    context.close()
