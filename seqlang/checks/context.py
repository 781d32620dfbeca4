"""What every check looks at: the show, where its values stand in the text, and look-ups."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar, cast

from seqlang.checks.workload import ServoWorkload, workload
from seqlang.text.findings import Origin, Span
from sim.model import (
    Board,
    Channel,
    Cue,
    Lamp,
    Law,
    Move,
    Output,
    Repeat,
    Sensor,
    Servo,
    Show,
    Step,
    Strip,
    Supply,
    Switch,
)
from sim.rig.supply import FallingVoltage, highest_v
from sim.score.planned_moves import PlannedMove
from sim.score.scales import at_scales
from sim.score.scaling import scaled_cues
from sim.score.threads import ThreadError, threads
from sim.score.tree import acts, parts_for_letting_go, walk
from sim.strain.eye import Eye
from sim.strain.hardest_torque import Hardest, hardest_torques
from sim.strain.reachable import Reachable
from sim.strain.sag import Sag, beside_others, sags_at, start_sags
from sim.strain.shining_light import lit_at_rest, lit_by_moves
from sim.strain.soundness import is_sound, sound_moves, sound_show

if TYPE_CHECKING:
    from seqlang.text.source import Source as Text

Answer = TypeVar("Answer")

_NOWHERE = Origin(Span("", 0, 0))


@dataclass(frozen=True)
class Context:
    """One show under check. Derived look-ups are made once, when first asked for."""

    show: Show
    """As checks look at it: with what it draws written out (`sim.score.draws`)."""
    origins: Mapping[int, Origin]
    places: Mapping[str, Origin]
    sources: Mapping[str, Text]
    partial: bool = False
    """Loading found errors, so parts of the show may be missing: nothing is said of what is not
    there."""
    draws: Show | None = None
    """The show as it was written, where it draws something or scales a cue."""
    looked: Eye | None = None
    """The eye that looked at an earlier version of the show: what is alike it need not look at."""

    @property
    def written(self) -> Show:
        """The show as it was written: what is compiled."""
        return self.show if self.draws is None else self.draws

    @cached_property
    def _answers(self) -> dict[Callable[[Context], object], object]:
        return {}

    def once(self, ask: Callable[[Context], Answer]) -> Answer:
        """What `ask` finds of this show; it is worked out the first time only."""
        if ask not in self._answers:
            self._answers[ask] = ask(self)
        return cast("Answer", self._answers[ask])

    # -- places ---------------------------------------------------------------------------

    def origin(self, mark: int) -> Origin:
        """Where the value with `mark` was written; values made in tests have no place."""
        return self.origins.get(mark, _NOWHERE)

    def span(self, mark: int, part: str | None = None) -> Span:
        """The span of the named part of the statement, or of the whole statement."""
        origin = self.origin(mark)
        return origin.span if part is None else origin.part(part)

    def place(self, name: str, part: str | None = None) -> Span:
        """The span of something without a mark (`stop`, `idle`, ...), or of a part of it.

        What is not written would stand in the file, so the place is the file's start.
        """
        origin = self.places.get(name) or Origin(Span(next(iter(self.sources), ""), 0, 0))
        return origin.span if part is None else origin.part(part)

    def has_part(self, mark: int, part: str) -> bool:
        return any(name == part for name, _ in self.origin(mark).parts)

    def text(self, span: Span) -> str:
        """The source text at `span`; empty where there is none."""
        source = self.sources.get(span.path)
        return "" if source is None else source.text[span.start : span.end]

    def indent(self, span: Span) -> str:
        """What stands before `span` on its line: the indentation of a statement."""
        source = self.sources.get(span.path)
        if source is None:
            return ""
        return source.text[source.text.rfind("\n", 0, span.start) + 1 : span.start]

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

    @cached_property
    def sources_followed(self) -> dict[str, Channel | Sensor]:
        """What outputs can follow, by name."""
        found: list[Channel | Sensor] = [*self.show.rig.channels, *self.show.rig.sensors]
        return {one.name: one for one in found}

    # -- the score ------------------------------------------------------------------------

    @cached_property
    def scaled(self) -> tuple[Cue, ...]:
        """The cues that go as far as a source says, of those that there are."""
        sources = self.sources_followed
        found = [cue for name in sources for cue in scaled_cues(self.written.score, name)]
        return tuple(sorted(found, key=lambda cue: cue.mark))

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

    @cached_property
    def settings(self) -> dict[tuple[str | None, str, float], Move]:
        """The first move that brings an output to an angle, by cue; under None: of all cues."""
        found: dict[tuple[str | None, str, float], Move] = {}
        for cue in self.show.score.cues:
            for act in acts(cue.body):
                if isinstance(act, Move):
                    found.setdefault((cue.name, act.output, act.angle_deg), act)
                    found.setdefault((None, act.output, act.angle_deg), act)
        return found

    @cached_property
    def uses(self) -> dict[str, frozenset[str]]:
        """The outputs each cue acts on."""
        return {
            cue.name: frozenset(act.output for act in acts(cue.body))
            for cue in self.show.score.cues
        }

    @cached_property
    def uses_of_mark(self) -> Counter[int]:
        """In how many cues each written act occurs; a played cue's acts keep their marks."""
        return Counter(
            mark for cue in self.written.score.cues for mark in {act.mark for act in acts(cue.body)}
        )

    @cached_property
    def reachable(self) -> frozenset[str]:
        """Names of the cues that a button, idleness or a lost remote starts."""
        score = self.show.score
        bound = {binding.cue for binding in score.bindings}
        started = bound | score.unasked | set(score.idle)
        parts = {part for part, cue in parts_for_letting_go(score).items() if cue.name in started}
        return frozenset(started | parts)

    @cached_property
    def planned(self) -> tuple[PlannedMove, ...]:
        """Every move with every angle it can start from, where physics can be asked about it."""
        return sound_moves(self.show)

    @cached_property
    def alone(self) -> dict[str, ServoWorkload]:
        """How hard the planned moves work each sound servo, as if it moved alone."""
        servos = [servo for servo in self.servos.values() if servo.name in self.sound]
        return workload(self.sound_show.rig, servos, self.planned, {})

    @cached_property
    def work(self) -> dict[str, ServoWorkload]:
        """The same, but at the rated voltage on boards whose supply collapses."""
        servos = [w.servo for w in self.alone.values() if w.servo.board in self.rated_v]
        again = workload(self.sound_show.rig, servos, self.planned, self.rated_v)
        return {**self.alone, **again}

    @property
    def peak_nm(self) -> dict[str, dict[tuple[float, float, int, Law], float]]:
        """The greatest horn torque of every different move, by servo; made anew each time."""
        return {
            name: dict(zip(work.ways, work.assessment.peak_torque_nm.tolist(), strict=True))
            for name, work in self.alone.items()
        }

    @cached_property
    def states(self) -> Reachable:
        """Every state that the show, as physics is asked about it, can reach."""
        return Reachable(self.sound_show, self.planned)

    @cached_property
    def sags(self) -> tuple[Sag, ...]:
        """The worst instant of every board with a supply."""
        return sags_at(self.sound_show, self.hardest)

    @cached_property
    def hardest(self) -> Mapping[str, Hardest]:
        """The most torque that the show asks of each sound servo."""
        return hardest_torques(self.sound_show, self.planned, self.peak_nm)

    def beside_others(self, servo: Servo) -> FallingVoltage | None:
        """What arrives at a servo while all the others are at their hardest."""
        return beside_others(self.sound_show, self.hardest, servo.name)

    @cached_property
    def start_sags(self) -> tuple[Sag, ...]:
        """The worst instant of power-up at every board with a supply."""
        return start_sags(self.sound_show)

    @cached_property
    def lowest_v(self) -> dict[str, float]:
        """The lowest voltage in the show, by board whose supply stands."""
        return {sag.board: sag.voltage_v for sag in self.sags if not sag.collapsed}

    @cached_property
    def sound(self) -> frozenset[str]:
        """Servos whose calibration, travel and linkage make sense and that have a rating."""
        return frozenset(name for name, servo in self.servos.items() if is_sound(servo))

    @cached_property
    def sound_show(self) -> Show:
        """The show as physics is asked about it."""
        return sound_show(lit_at_rest(self.lit))

    @cached_property
    def rated_v(self) -> dict[str, float]:
        """Boards whose supply collapses, or whose wire takes nearly all of its voltage, with the
        voltage they would have without any load.

        Their servos are judged at that voltage: the collapse, or the wire, is a finding of its own.
        """
        return {
            sag.board: highest_v(self.show.rig, sag.board)
            for sag in self.sags
            if sag.collapsed or sag.voltage_v < self.boards[sag.board].electrics.brown_out_v
        }

    @cached_property
    def lit(self) -> Show:
        """The show as checks of light look at it: with what lamps do that shine with moves."""
        return lit_by_moves(self.show)

    @cached_property
    def uses_lit(self) -> dict[str, frozenset[str]]:
        """The outputs each cue acts on, with the lamps that shine with its moves."""
        return {
            cue.name: frozenset(act.output for act in acts(cue.body)) for cue in self.lit.score.cues
        }

    @cached_property
    def eye(self) -> Eye:
        """Who looks at the lights of the show, for all checks."""
        return Eye(self.lit, lit_by_moves(at_scales(self.written)), self.looked)

    def playable(self, cue: Cue) -> bool:
        """Whether a rehearsal can play the cue (see `too_many_threads`)."""
        try:
            threads(cue)
        except ThreadError:
            return False
        return True

    def has_repeat(self, cue: Cue) -> bool:
        return any(isinstance(step, Repeat) for step in walk(cue.body))
