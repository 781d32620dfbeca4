"""The page for phones: one file that fetches nothing, and only the socket of its own server."""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Final

from firmware_gen.page.page import palette

PARTS: Final = Path(__file__).with_name("parts")


@dataclass(frozen=True, slots=True)
class PhonePage:
    """The page, and what it lets itself do (Content Security Policy Level 3)."""

    body: bytes
    style_hash: str
    script_hash: str

    def policy(self, host: str) -> str:
        """`host`: name and number that the page was asked for by; its socket has the same."""
        return (
            f"default-src 'none'; script-src '{self.script_hash}'; style-src '{self.style_hash}'; "
            f"connect-src ws://{host}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )


@cache
def phone_page() -> PhonePage:
    """Made once; it is the same for every show, which comes over the socket."""
    style = palette() + _part("phone.css")
    script = f"{_part('phone.js')}\n{_part('bench.js')}"
    filling = {"STYLE": style, "SCRIPT": script}
    text = re.sub(r"__([A-Z]+)__", lambda found: filling[found[1]], _part("phone.html"))
    return PhonePage(text.encode(), _hash(f"\n{style}"), _hash(f"\n{script}"))


def _part(name: str) -> str:
    return (PARTS / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    """As a policy names a text within the page: all between the tags."""
    return f"sha256-{base64.b64encode(sha256(text.encode()).digest()).decode()}"
