"""Waiting for what another process or thread does."""

from __future__ import annotations

import time
from collections.abc import Callable

SOON_S = 20.0
"""Long enough for a busy machine: what waits so long has failed."""


def until(condition: Callable[[], object], within_s: float = SOON_S) -> bool:
    """Wait for the condition; whether it came true in time."""
    end_s = time.monotonic() + within_s
    while time.monotonic() < end_s:
        if condition():
            return True
        time.sleep(0.005)
    return False
