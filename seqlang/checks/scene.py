"""What every check looks at: the show, where its values stand in the text, and look-ups."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from seqlang.diagnostics import Origin, Span
from sim.model import (
    Board,
    Cue,
    InTurn,
    Lamp,
    Move,
    Output,
    Repeat,
    Servo,
    Show,
    Step,
    Strip,
    Supply,
    Switch,
    Together,
)

if TYPE_CHECKING:
    from seqlang.source import Source

_NOWHERE = Origin(Span("", 0, 0))


@dataclass(frozen=True)
class Scene:
    """One show under check. Derived look-ups are made once, when first asked for."""

    show: Show
    origins: Mapping[int, Origin]
    sources: Mapping[str, Source]

    # -- places ---------------------------------------------------------------------------

    def origin(self, mark: int) -> Origin:
        """Where the value with `mark` was written; values made in tests have no place."""
        return self.origins.get(mark, _NOWHERE)

    def span(self, mark: int, part: str | None = None) -> Span:
        """The span of the named part of the statement, or of the whole statement."""
        origin = self.origin(mark)
        return origin.span if part is None else origin.part(part)

    def has_part(self, mark: int, part: str) -> bool:
        return any(name == part for name, _ in self.origin(mark).parts)

    def text(self, span: Span) -> str:
        """The source text at `span`; empty where there is none."""
        source = self.sources.get(span.path)
        return "" if source is None else source.text[span.start : span.end]

    # -- the rig --------------------------------------------------------------------------

    @cached_property
    def outputs(self) -> dict[str, Output]:
        return {output.name: output for output in self.show.rig.outputs}

    @cached_property
    def servos(self) -> dict[str, Servo]:
        return {o.name: o for o in self.show.rig.outputs if isinstance(o, Servo)}

    @cached_property
    def strips(self) -> dict[str, Strip]:
        return {o.name: o for o in self.show.rig.outputs if isinstance(o, Strip)}

    @cached_property
    def lamps(self) -> dict[str, Lamp]:
        return {o.name: o for o in self.show.rig.outputs if isinstance(o, Lamp)}

    @cached_property
    def switches(self) -> dict[str, Switch]:
        return {o.name: o for o in self.show.rig.outputs if isinstance(o, Switch)}

    @cached_property
    def boards(self) -> dict[str, Board]:
        return {board.name: board for board in self.show.rig.boards}

    @cached_property
    def supplies(self) -> dict[str, Supply]:
        return {supply.name: supply for supply in self.show.rig.supplies}

    # -- the score ------------------------------------------------------------------------

    @cached_property
    def cues(self) -> dict[str, Cue]:
        return {cue.name: cue for cue in self.show.score.cues}

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """Every step of every cue, in the order of the text, blocks before their children."""
        return tuple(step for cue in self.show.score.cues for step in walk(cue.body))

    @cached_property
    def moves(self) -> tuple[Move, ...]:
        return tuple(step for step in self.steps if isinstance(step, Move))


def walk(step: Step) -> Iterator[Step]:
    """`step` and everything in it, depth first, without recursion (shows nest deeply)."""
    pending = [step]
    while pending:
        step = pending.pop()
        yield step
        match step:
            case InTurn(children=children) | Together(children=children):
                pending.extend(reversed(children))
            case Repeat(body=body):
                pending.append(body)
