"""The cue language: text to a checked show, and the `bellcrank` command.

`import seqlang` offers what PYTHON.md describes: `load` and `load_string` open a show, which is
checked, rehearsed and drawn from Python. LANGUAGE.md explains the language.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from seqlang.python_use import FaultyShowError, OpenShow, Played, load, load_string

__all__ = ["FaultyShowError", "OpenShow", "Played", "load", "load_string"]


def __getattr__(name: str) -> object:
    """What a notebook asks for; a command that needs none of it does not wait for it."""
    if name in __all__:
        from seqlang import python_use

        return getattr(python_use, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
