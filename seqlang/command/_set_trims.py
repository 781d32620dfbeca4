"""Trims that were set on a served page, put into the text that the page shows."""

from __future__ import annotations

import json
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

from seqlang.check import check
from seqlang.command import WrongUse
from seqlang.loading import load
from seqlang.trimming import TrimRefusedError, retrimmed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from seqlang.loading import Loaded

_CHANGED: Final = (
    "The text has changed since this page showed it. Look at what the page shows now, then write."
)


@dataclass(frozen=True, slots=True)
class AskedTrims:
    """What a page asks for: percents by light, of the text's version that it shows."""

    version: str
    lights: Mapping[str, tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class TrimsAnswer:
    """Whether they stand in the text now, and in words what happened."""

    done: bool
    words: str


def version_number(loaded: Loaded) -> str:
    """Says of two versions whether they are of the same text."""
    whole = "\0".join(source.text for source in loaded.sources.values())
    return sha256(whole.encode()).hexdigest()


def read_asked(body: bytes) -> AskedTrims | None:
    """What a page sent; None for what no page of ours sends."""
    try:
        said = json.loads(body)
        version, lights = said["version"], said["lights"]
        if not (isinstance(version, str) and isinstance(lights, dict) and lights):
            return None
        read = {name: tuple(map(_percent, percents)) for name, percents in lights.items()}
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    return AskedTrims(version, read)


def _percent(value: object) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool) or not 1 <= value <= 100:
        raise ValueError
    return float(value)


def set_trims(path: Path, asked: AskedTrims) -> TrimsAnswer:
    """Put trims into the text of a show, unless it is another one by now or gets errors by them.

    The files are replaced whole, and only these numbers of them change.
    """
    from seqlang.command._recalibrated import write_change

    try:
        loaded = load(path)
        if version_number(loaded) != asked.version:
            return TrimsAnswer(False, _CHANGED)
        made = retrimmed(loaded, asked.lights)
        if made.fix is None:
            return TrimsAnswer(True, "The text has these trims already.")
        wrong = [one for one in check(made.loaded).findings if one.severity == "error"]
        if wrong:  # a page shows only a text without errors
            return TrimsAnswer(False, f"Nothing is written. With them: {wrong[0].message}")
        write_change(made.fix, loaded, {})
    except (TrimRefusedError, WrongUse) as refused:
        return TrimsAnswer(False, f"Nothing is written: {refused}.")
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        return TrimsAnswer(False, f"Nothing is written: `{path.name}` cannot be written ({why}).")
    files = " and ".join(Path(name).name for name in made.fix.by_file)
    return TrimsAnswer(
        True, f"Written into {files}. Flash the boards, and look at the real lights."
    )
