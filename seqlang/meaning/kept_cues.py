"""Cues that an edit left alone: their steps are taken from the version before, marks and all.

A cue's steps hang on its own words and on everything in the text that is no cue. So they are kept
only where both are the same to the letter, for a cue that plays nothing and in which nothing was
found. Where its words stand may differ: its marks then lead to places further on.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from seqlang.text.syntax import CueText, place

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from seqlang.meaning.origins import MarkedNode
    from seqlang.meaning.stage import Made
    from seqlang.text.source import Source
    from seqlang.text.syntax import TopLine
    from sim.model import Cue

CueAndPart: TypeAlias = "tuple[Cue] | tuple[Cue, Cue]"
"""A cue and its part for letting go, if it has one."""


class KeptCue(NamedTuple):
    """What was made of a cue's words, which stood `start` characters into the text."""

    start: int
    body: Made
    cues: CueAndPart
    nodes: dict[int, MarkedNode]
    """What its marks stand for."""
    steps: int
    """How many steps it took of those that a show may have."""


@dataclass
class KeptCues:
    """The cues of a text's last version, by their words. Of older versions nothing stays."""

    _around: tuple[str, ...] = ()
    """Everything that was no cue."""
    _before: dict[str, KeptCue] = field(default_factory=dict)
    _now: dict[str, KeptCue] = field(default_factory=dict)

    def turn(self, items: Sequence[TopLine], source: Source, forgiven: Iterable[str]) -> None:
        """The text's next version begins."""
        around = [f"\0{name}" for name in forgiven]
        for item in items:
            if isinstance(item, CueText):
                around.append(str(item.name))
            else:
                start, end = place(item)
                around.append(source.text[start:end])
        self._before = self._now if tuple(around) == self._around else {}
        self._around, self._now = tuple(around), {}

    @property
    def next_mark(self) -> int:
        """The first mark behind those of all cues that are kept."""
        return 1 + max((mark for kept in self._before.values() for mark in kept.nodes), default=-1)

    def find(self, words: str) -> KeptCue | None:
        """What was made of a cue of these words, if it was kept."""
        return self._before.get(words)

    def keep(self, words: str, kept: KeptCue) -> None:
        """Keep what was made of a cue for the next version."""
        self._now[words] = kept
