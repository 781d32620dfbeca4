"""The garbage collector, at rest while large trees grow."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def at_rest() -> Iterator[None]:
    """No garbage collection inside: nothing in a growing tree is garbage, and looking costs time.

    Values still go as soon as nothing refers to them; only circles wait for the end. May be
    nested.
    """
    was_at_work = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_at_work:
            gc.enable()
