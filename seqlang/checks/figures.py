"""Numbers as findings print them: sensibly rounded, never with an exponent."""

from __future__ import annotations

import math

NOTHING = 1e-9
"""A smaller figure is a rounding error: no quantity of a rig is as small in its unit."""


def figure(value: float, digits: int = 3) -> str:
    """`value` to `digits` significant digits; whole numbers keep all their digits.

    >>> figure(0.0123456), figure(1234.6), figure(0.5)
    ('0.0123', '1235', '0.5')
    """
    if not math.isfinite(value):
        return "unlimited"
    if abs(value) < NOTHING:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def figures(asked: float, limit: float) -> tuple[str, str]:
    """Two numbers with just enough digits that the reader sees which one is larger."""
    for digits in range(3, 9):
        first, second = figure(asked, digits), figure(limit, digits)
        if first != second or asked == limit:
            break
    return first, second


def seconds(duration_ms: float) -> str:
    """A duration as a reader would say it: `260 ms`, `1.5 s`."""
    return f"{figure(duration_ms)} ms" if duration_ms < 1000 else f"{figure(duration_ms / 1000)} s"


def listed(names: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`, each in back-quotes."""
    quoted = [f"`{name}`" for name in names]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " and " + quoted[-1]


def counted(count: int, one: str, several: str) -> str:
    """`1 part moves`, `3 parts move`."""
    return f"{count} {one if count == 1 else several}"
