"""The book as PDF, printed by a browser of the chromium kind if one is installed.

The page has the layout; a second one for PDF would be a second book to keep right.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Final

BROWSERS: Final = ("chromium", "chromium-browser", "chromium-headless-shell")
"""Names under which systems install it."""

LONGEST_S: Final = 120.0
"""A book takes a few seconds; a browser that takes longer hangs."""


class NoPrintError(Exception):
    """The browser is not there, or did not print; the message says what helps."""


def find_browser() -> str | None:
    """Path of the browser that prints."""
    return next(filter(None, map(shutil.which, BROWSERS)), None)


def as_pdf(page: str) -> bytes:
    """The page printed on A4, or as its own style says; NoPrintError where that fails."""
    browser = find_browser()
    if browser is None:
        raise NoPrintError(
            "a PDF takes the browser `chromium`, and it is not installed; write HTML, open it in "
            "any browser and print it"
        )
    with tempfile.TemporaryDirectory(prefix="bellcrank-book-") as name:
        folder = Path(name)
        (folder / "book.html").write_text(page, encoding="utf-8")
        said = _run(browser, folder)
        printed = folder / "book.pdf"
        content = printed.read_bytes() if printed.exists() else b""
    if not content.startswith(b"%PDF-"):
        last = said.strip().splitlines()[-1:] or ["it said nothing"]
        raise NoPrintError(
            f"`{browser}` did not print the book ({last[0][:200]}); write HTML and print it from "
            "any browser"
        )
    return content


def _run(browser: str, folder: Path) -> str:
    """Print `book.html` to `book.pdf` in the folder; what the browser said of errors."""
    words = [
        browser,
        "--headless",
        "--disable-gpu",
        "--disable-background-networking",
        "--no-first-run",
        "--no-pdf-header-footer",
        "--generate-pdf-document-outline",
        f"--user-data-dir={folder / 'profile'}",
        f"--print-to-pdf={folder / 'book.pdf'}",
        (folder / "book.html").as_uri(),
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        words.insert(1, "--no-sandbox")  # it has none for the superuser
    try:
        done = subprocess.run(
            words, capture_output=True, text=True, errors="replace", timeout=LONGEST_S, check=False
        )
    except subprocess.TimeoutExpired:
        return f"it had not printed after {LONGEST_S:g} s"
    except OSError as error:
        return str(error)
    return done.stderr
