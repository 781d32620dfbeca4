"""What an input may cost."""

from __future__ import annotations

from typing import Final

MOST_S: Final = 2.0
"""Processor time that one input, or one question of an editor, may take."""


class TooSlowError(AssertionError):
    """An input took longer than anybody waits."""

    def __init__(self, took_s: float) -> None:
        super().__init__(f"took {took_s:.1f} s of processor time")
