"""Numbers in a text that Bellcrank writes: plain decimals that read back as the same."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

INDENT: Final = "    "
"""Of one level."""


def number(value: float) -> str:
    """A number in plain decimals that reads back as the same number."""
    digits = format(Decimal(repr(float(value) + 0.0)), "f")  # a negative nought is nought
    return digits.removesuffix(".0")


def percent(share: float) -> str:
    """A share in percent that reads back as the same number."""
    digits = format(Decimal(repr(float(share))) * 100, "f")
    return (digits.rstrip("0").rstrip(".") if "." in digits else digits) + " %"


def quantity(value: float, unit: str) -> str:
    """A number with its unit, as `number` writes it."""
    return f"{number(value)} {unit}"
