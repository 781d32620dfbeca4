"""The statements of a cue, turned into steps."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING, cast

from lark import Token

from seqlang.meaning.acts import ActMaker
from seqlang.meaning.gesture import Gesture, bound, placed
from seqlang.meaning.notes import Fault
from seqlang.meaning.stage import Made, Stage
from seqlang.meaning.values import DAY_MS
from seqlang.text.indentation import MOST_NESTED
from seqlang.text.source import Place
from seqlang.text.syntax import (
    ActText,
    Amount,
    Block,
    Broken,
    ClockText,
    Cut,
    EffectText,
    HoldText,
    Play,
    Ranged,
    StatementText,
    Strike,
    ThrowText,
    end_of,
    start_of,
)
from sim import model
from sim.model import InTurn, OneOf, Repeat, Step, Together
from sim.rulebook import CHOICE_DEPTH, CHOICES, MOST_TIMES, WAYS_OF_A_PASS
from sim.score.draws import choice_depth, draws_in, draws_time, longest_ms, ways_through
from sim.score.tree import duration_ms, walk

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


class CueMaker(ActMaker):
    """Makes the steps of one cue, keeping track of where its servos are."""

    def __init__(self, stage: Stage, is_part: bool = False) -> None:
        super().__init__(stage)
        self._is_part = is_part
        """It is a part for letting go."""
        self._level = 0
        self._deepest = 0
        self._clock: int | None = 0
        """How long the cue has run where the next statement starts; None where that differs."""
        self._plays: tuple[int, ...] = ()
        """The plays of gestures that are open, by `id`."""
        self._performed: tuple[str, ...] = ()
        """Their gestures."""
        self._ways_so_far: float = 1
        """Ways through the choices of this pass so far; infinite once it is told that they are too
        many."""
        self._choices = 0
        """Choices that are open."""
        self._guessed = False
        """A block's header could not be read, so the clock may be slow."""

    def make(self, body: Sequence[StatementText], first: object, last: object) -> Made:
        """The steps of a cue whose header stands from node `first` to `last`."""
        children, duration = self._sequence(body)
        whole = InTurn(children, self._reading.origins.mark(first, last, ("keyword", first)))
        timed = self._untimed is None
        return Made(whole, duration, self._where, self._steps, self._deepest, timed)

    def _sequence(self, body: Sequence[StatementText]) -> tuple[tuple[Step, ...], int]:
        steps: list[Step] = []
        total = 0
        for statement in body:
            first = self._level == total == self._clock == 0
            start = self._clock
            made = self._tried(statement)
            lasts = 0 if made is None else made[1]
            self._clock = None if start is None or self._untimed else start + lasts
            if made is not None:
                total += lasts + self._put(steps, made[0], statement, first)
        return tuple(steps), total

    def _put(self, steps: list[Step], step: Step, statement: StatementText, first: bool) -> int:
        """Add a step, or put it as much earlier as what it switches on needs to start.

        At the start of a cue everything else waits for it, and the cue's clock, too: returns for
        how long.
        """
        delay = self._delay(statement)
        before = steps[-1] if steps else None
        if not delay:
            steps.append(step)
            return 0
        wait = model.Hold(delay, self._reading.origins.mark(statement, statement))
        plain = isinstance(before, model.Hold) and before.drawn is None
        if plain and isinstance(before, model.Hold) and before.duration_ms >= delay:
            rest = replace(before, duration_ms=before.duration_ms - delay)
            steps[-1:] = [rest, step, wait] if rest.duration_ms else [step, wait]
            return 0
        if first:
            steps += [step, wait]
            return delay
        steps.append(step)
        self._starts_late(statement, delay)
        return 0

    def _tried(self, statement: StatementText) -> tuple[Step, int] | None:
        try:
            made = self._statement(statement)
        except Fault:
            made = None
        self._lost = self._lost or made is None
        return made

    def _statement(self, statement: StatementText) -> tuple[Step, int] | None:
        self._add(1, statement)
        if isinstance(statement, ActText):
            return self._act(statement)
        if isinstance(statement, HoldText):
            mark = self._reading.origins.mark(
                statement.keyword, statement.duration, ("duration", statement.duration)
            )
            if isinstance(statement.duration, Ranged):
                return self._drawn_hold(statement, statement.duration, mark)
            duration = self._reading.milliseconds(statement.duration, "a hold")
            if statement.breathing is not None:
                return self._breathe(statement, statement.breathing, duration), duration
            return model.Hold(duration, mark), duration
        if isinstance(statement, ClockText):
            return self._wait_until(statement)
        if isinstance(statement, Block):
            if statement.kind == "when let go":
                self._misplaced_part(statement)
                return None
            return self._block(statement)
        if isinstance(statement, Broken):
            return None
        if isinstance(statement, Strike):
            return self._strike(statement)
        if isinstance(statement, Cut):
            return self._cut(statement)
        if isinstance(statement, ThrowText):
            return self._throw(statement)
        if isinstance(statement, EffectText):
            return self._effect(statement)
        return self._play(statement)

    # -- the cue's clock --------------------------------------------------------------------

    def _wait_until(self, statement: ClockText) -> tuple[Step, int]:
        """The hold that is left until the cue has run for a time."""
        reading = self._reading
        time = reading.milliseconds(statement.time, "a time on the cue's clock", 0)
        if self._clock is None:
            held = self._untimed
            reading.error(
                "wrong-kind",
                "how long the cue has run here is not known"
                if held
                else "`at` counts from the start of the cue, but a `repeat` comes here again",
                statement,
                related=((held.head[0] if isinstance(held, Block) else held, _how_long(held)),)
                if held
                else (),
                help="use `hold` to wait, or put it in a cue of its own",
            )
            raise Fault
        if time < self._clock:
            if self._guessed:
                raise Fault
            reading.error(
                "behind-time",
                f"`{reading.text(statement)}` comes too late: what stands above it ends at "
                f"{self._clock / 1000:g} s",
                statement.time,
                help=f"at least `{self._clock / 1000:g} s`, or make what stands above it shorter, "
                "or let both start in `together`",
                fix=f"{self._clock / 1000:g} s",
                asked=time,
                limit=self._clock,
                unit="ms",
            )
            raise Fault
        gap = time - self._clock
        return model.Hold(gap, reading.origins.mark(statement, statement)), gap

    def _is_misplaced(self, statement: StatementText, block: Block) -> bool:
        """Whether it makes sense only among statements that come one after another."""
        if isinstance(statement, ClockText):
            self._reading.error(
                "wrong-kind",
                f"`at` waits, but in `{block.kind}` nothing comes after it",
                statement,
                help="put it with what follows it into `in turn`",
            )
            return True
        delay = self._delay(statement)
        if delay:
            self._starts_late(statement, delay)
        return False

    def _delay(self, statement: StatementText) -> int:
        """How much earlier than it stands a statement has to come, in ms."""
        if not isinstance(statement, ThrowText) or statement.state.type != "ON":
            return 0
        delays = {self._stage.delays.get(str(name), 0) for name in statement.names}
        if len(delays) > 1:
            self._reading.error(
                "wrong-kind",
                "these take different times to start, so they cannot be switched on together",
                statement,
                help="give each a line of its own",
            )
        return max(delays)

    def _starts_late(self, statement: StatementText, delay: int) -> None:
        self._reading.error(
            "starts-late",
            f"this starts {delay} ms after it is switched on, and nothing waits before it",
            statement,
            help=f"put it first in its cue, or right behind a `hold` or `at` that waits {delay} ms "
            "or longer: it is then switched on earlier",
            severity="warning",
            limit=delay,
            unit="ms",
        )

    # -- blocks and plays -------------------------------------------------------------------

    def _block(self, block: Block) -> tuple[Step, int] | None:
        self._level += 1
        self._deepest = max(self._deepest, self._level)
        try:
            if block.kind in ("together", "stagger"):
                return self._side_by_side(block)
            if block.kind == "repeat":
                return self._repeat(block)
            if block.kind == "one of":
                return self._one_of(block)
            if self._reading.text(block.head[0]).split() != ["in", "turn"]:
                self._guessed = True  # it stands in for a header that could not be read
            children, duration = self._sequence(block.body)
            return InTurn(children, self._head_mark(block)), duration
        finally:
            self._level -= 1

    def _misplaced_part(self, block: Block) -> None:
        self._reading.error(
            "wrong-kind",
            "`when let go` stands once in a cue, behind everything else it does",
            block.head[0],
            help="move it to the end of the cue, as far to the left as the cue's own statements",
        )

    def _head_mark(self, block: Block, *parts: tuple[str, object]) -> int:
        head = block.head
        return self._reading.origins.mark(head[0], head[-1], ("keyword", head[0]), *parts)

    def _side_by_side(self, block: Block) -> tuple[Step, int]:
        interval = 0
        parts: tuple[tuple[str, object], ...] = ()
        if block.kind == "stagger":
            interval = (
                self._reading.tried(self._reading.milliseconds, block.head[1], "an interval") or 0
            )
            parts = (("interval", block.head[1]),)
        before, after = self._where, dict(self._where)
        children: list[Step] = []
        start, longest = self._clock, 0
        for statement in block.body:
            self._where = dict(before)
            self._clock = None if start is None else start + len(children) * interval
            made = None if self._is_misplaced(statement, block) else self._tried(statement)
            if made is None:
                continue
            longest = max(longest, len(children) * interval + made[1])
            children.append(made[0])
            for output, angles in _changed(before, self._where).items():
                known = after.get(output, ())
                after[output] = angles if known is before.get(output, ()) else (*known, *angles)
        self._where = after
        mark = self._head_mark(block, *parts)
        most = int(longest_ms(Together(tuple(children), interval)))
        if most > longest and any(draws_time(one) for child in children for one in draws_in(child)):
            # what follows waits for the longest that may be drawn
            self._add(1, block)
            children.append(model.Hold(most - len(children) * interval, mark))
            longest = most
        return Together(tuple(children), interval, mark), longest

    # -- choices ----------------------------------------------------------------------------

    def _one_of(self, block: Block) -> tuple[Step, int]:
        """One of several things, drawn. Raises Fault."""
        self._demand_choices(block)
        before, start, ways = self._where, self._clock, self._ways_so_far
        children: list[Step] = []
        lengths: list[int] = []
        ends: list[dict[str, tuple[float, ...]]] = []
        own: float = 0
        self._choices += 1
        for statement in block.body:
            self._where, self._clock, self._ways_so_far = dict(before), start, 1
            made = None if self._is_misplaced(statement, block) else self._tried(statement)
            if made is None or not self._takes_time(statement, *made):
                continue
            own += self._ways_so_far
            children.append(made[0])
            lengths.append(made[1])
            ends.append(self._where)
        self._choices -= 1
        self._where, self._ways_so_far = self._any_of(before, ends), ways
        if len(children) < len(block.body):
            raise Fault
        self._demand_few_ways(own, block)
        self._untimed = self._untimed or block
        return OneOf(tuple(children), 0, self._head_mark(block)), min(lengths)

    def _any_of(
        self,
        before: Mapping[str, tuple[float, ...]],
        ends: Sequence[Mapping[str, tuple[float, ...]]],
    ) -> dict[str, tuple[float, ...]]:
        """Where the parts may be when one of several things has been done."""
        found: dict[str, tuple[float, ...]] = {}
        for name in dict.fromkeys(name for end in ends for name in end):
            unmoved = before.get(name) or tuple(self._stage.rest.get(name, ()))
            places = [place for end in ends for place in end.get(name, unmoved)]
            found[name] = tuple(dict.fromkeys(places))
        return found

    def _demand_choices(self, block: Block) -> None:
        """That there is something to choose from, and not too much. Raises Fault."""
        count = len(block.body)
        self._demand_room_for_choice(1, block.head[0])
        if 2 <= count <= CHOICES:
            return
        self._reading.error(
            "number-out-of-range",
            f"`one of` chooses from {count} {'thing' if count == 1 else 'things'} here",
            block.head[0],
            f"from 2 to {CHOICES}",
            help="each statement below it is one thing; several that belong together stand "
            "below `in turn` or `together`",
            asked=count,
            limit=2 if count < 2 else CHOICES,
        )
        raise Fault

    def _demand_room_for_choice(self, depth: int, place: object) -> None:
        """That choices stand no deeper within one another than they may. Raises Fault."""
        depth += self._choices
        if depth <= CHOICE_DEPTH:
            return
        self._reading.error(
            "number-out-of-range",
            f"choices stand {depth} deep within one another here",
            place,
            f"at most {CHOICE_DEPTH} deep",
            help="put the things of the innermost `one of` into the choice around it",
            asked=depth,
            limit=CHOICE_DEPTH,
        )
        raise Fault

    def _takes_time(self, statement: StatementText, step: Step, lasts: int) -> bool:
        """Whether something that may be chosen takes time, and comes to an end."""
        if any(isinstance(one, Repeat) and one.times is None for one in walk(step)):
            what, hint = "never ends", "say how often: `repeat 3 times`"
        elif not lasts:
            what, hint = "takes no time", "put it below `in turn`, with `hold 100 ms` behind it"
        else:
            return True
        self._reading.error(
            "wrong-kind", f"what `one of` chooses here {what}", statement, help=hint
        )
        return False

    def _demand_few_ways(self, more: float, place: object) -> None:
        """Count the ways through choices that one pass has. Raises Fault for too many.

        That is told once for a pass; no further choice of it is kept, or its ways would be as many
        as the grains on a chessboard.
        """
        self._ways_so_far *= more
        if self._ways_so_far <= WAYS_OF_A_PASS:
            return
        if self._ways_so_far == inf:
            raise Fault
        self._reading.error(
            "too-many-ways",
            f"up to here {self._ways_so_far} ways lead through the choices of one pass",
            place.head[0] if isinstance(place, Block) else place,
            f"at most {WAYS_OF_A_PASS}",
            help="choose from fewer things, or let a strand of its own make some of the choices",
            asked=self._ways_so_far,
            limit=WAYS_OF_A_PASS,
        )
        self._ways_so_far = inf
        raise Fault

    def _repeat(self, block: Block) -> tuple[Step, int]:
        keyword, count = block.head
        kind = count.type if isinstance(count, Token) else ""
        if kind == "WHILE_HELD" and self._is_part:
            self._reading.error(
                "wrong-kind",
                "nobody holds the button when this runs, so it runs once",
                count,
                help="say how often: `repeat 3 times`",
            )
        times: int | None = None
        mark = self._head_mark(
            block,
            ("while held", count if kind == "WHILE_HELD" else None),
            ("for ever", count if kind == "FOR_EVER" else None),
            ("count", count if kind not in ("WHILE_HELD", "FOR_EVER") else None),
        )
        if kind not in ("WHILE_HELD", "FOR_EVER"):
            times = self._reading.tried(
                self._reading.count, count, "the count of a repeat", 1, MOST_TIMES
            )
        place = (*self._plays, id(block))
        for output, angles in self._stage.loops.get(place, {}).items():
            known = self._where.get(output) or tuple(self._stage.rest.get(output, ()))
            self._where[output] = tuple({*known, *angles})
        before, ways = dict(self._where), self._ways_so_far
        self._clock, self._ways_so_far = None, 1
        children, once = self._sequence(block.body)
        own, self._ways_so_far = self._ways_so_far, ways
        if times is None:
            self._untimed = block
        elif own > 1:
            self._demand_few_ways(own ** min(times, 2), block)
        self._stage.loops[place] = _changed(before, self._where)
        if once == 0 and len(children) < len(block.body):
            raise Fault  # what took its time could not be read
        if times is not None:
            self._too_long(count, times, once)
        duration = once * (times or 1)
        body = InTurn(children, self._reading.origins.mark(keyword, count))
        return Repeat(body, times, kind == "WHILE_HELD", mark), duration

    def _too_long(self, count: Amount, times: int, once: int) -> None:
        if times * once <= DAY_MS or times == 1:
            return
        most = DAY_MS // once
        self._reading.error(
            "repeat-too-long",
            f"this repeat would run for {times * once / DAY_MS:.1f} days",
            count,
            "a day at most",
            help=f"at most `{most}` times, or `repeat for ever`"
            if most
            else "what it repeats takes longer than a day by itself",
            fix=str(most) if most else None,
            asked=times,
            limit=most,
        )

    def _play(self, play: Play) -> tuple[Step, int] | None:
        name = str(play.cue)
        gesture = self._stage.gestures.get(name)
        if gesture is not None:
            return self._perform(play, gesture)
        if name not in self._stage.cues:
            known = (*self._stage.cues, *self._stage.gestures)
            kind = "cue or gesture" if self._stage.gestures else "cue"
            self._reading.unknown(play.cue, kind, known)
            raise Fault
        if play.arguments:
            self._takes_nothing(play)
        made = self._stage.played.get(name)
        if made is None or id(play) in self._stage.cut:
            raise Fault
        self._add(made.steps, play)
        if (depth := choice_depth(made.body)) > 0:
            self._demand_room_for_choice(depth, play)
            self._demand_few_ways(ways_through(made.body), play)
        self._demand_shallow(play, "the cues", self._level + 1 + made.depth)
        self._where.update(made.ends)
        if not made.is_timed:
            self._untimed = play
        return _fresh(made.body), made.duration_ms

    def _demand_shallow(self, play: Play, what: str, depth: int) -> None:
        """That blocks, with those of what is played, nest no deeper than allowed. Raises Fault."""
        self._deepest = max(self._deepest, depth)
        if self._deepest <= MOST_NESTED:
            return
        self._reading.error(
            "nested-too-deep",
            f"with {what} it plays this cue nests {self._deepest} blocks deep, at most "
            f"{MOST_NESTED} are allowed",
            play,
            asked=self._deepest,
            limit=MOST_NESTED,
        )
        self._deepest = self._level
        raise Fault

    def _takes_nothing(self, play: Play) -> None:
        first = play.arguments[0]
        self._reading.error(
            "wrong-kind",
            f"`{play.cue}` is a cue, and a cue takes no values",
            Place(start_of(first), end_of(play)),
            related=((self._stage.cues[str(play.cue)], "a cue"),),
            help=f"write `play {play.cue}`, or make it a `gesture` with the parameter "
            f"`{first.items[0]}`",
        )
        raise Fault

    def _body_of(self, gesture: Gesture, chosen: Mapping[str, str]) -> tuple[StatementText, ...]:
        """A gesture's statements for some outputs: the same ones, each time that it is asked."""
        key = (gesture.name, *chosen.items())
        made = self._stage.bodies.get(key)
        if made is None:
            made = self._stage.bodies[key] = placed(gesture.text.body, chosen)
        return made

    def _perform(self, play: Play, gesture: Gesture) -> tuple[Step, int]:
        """What a gesture does, with the values that a play of it states."""
        if id(play) in self._stage.cut or gesture.name in self._performed:
            raise Fault
        values = bound(self._reading, gesture, play, self._stage.outputs)
        self._demand_shallow(play, "the gestures", self._level + 1)
        before = self._plays, self._performed, self._clock, self._untimed
        self._plays = (*self._plays, id(play))
        self._performed = (*self._performed, gesture.name)
        body = self._body_of(gesture, values.outputs)
        self._clock, self._untimed = 0, None
        self._level += 1
        words = f"in the gesture `{gesture.name}`, played here"
        reading = self._reading
        try:
            with (
                reading.origins.passing(words, play, values.values),
                reading.with_values(values.amounts),
            ):
                children, duration = self._sequence(body)
        finally:
            self._level -= 1
            held = play if self._untimed else None
            self._plays, self._performed, self._clock, self._untimed = before
            self._untimed = self._untimed or held
        mark = reading.origins.mark(play, play, ("keyword", play.keyword))
        return InTurn(children, mark), duration


def _how_long(statement: StatementText) -> str:
    drawing = isinstance(statement, HoldText | ActText | Strike)
    drawing = drawing or (isinstance(statement, Block) and statement.kind == "one of")
    return "takes as long as is drawn" if drawing else "lasts until it ends"


def _changed(
    before: Mapping[str, tuple[float, ...]], after: Mapping[str, tuple[float, ...]]
) -> dict[str, tuple[float, ...]]:
    """The servos that were moved in between, with where they are."""
    return {output: at for output, at in after.items() if before.get(output) is not at}


def without(step: Step, missing: frozenset[str]) -> Step | None:
    """A step without what it does to `missing` outputs; None if nothing is left of it."""
    if isinstance(step, InTurn | Together | OneOf):
        kept = [part for child in step.children if (part := without(child, missing))]
        if isinstance(step, OneOf) and not kept:
            return None
        return replace(step, children=tuple(kept))
    if isinstance(step, Repeat):
        body = without(step.body, missing)
        lost_its_time = body != step.body and (body is None or duration_ms(body) == 0)
        return None if lost_its_time else replace(step, body=cast("Step", body))
    if isinstance(step, model.Hold) or step.output not in missing:
        return step
    return None


def _fresh(step: Step) -> Step:
    """A copy of a step, so that no step stands in two places of a score."""
    if isinstance(step, InTurn):
        return InTurn(tuple(map(_fresh, step.children)), step.mark)
    if isinstance(step, Together):
        return Together(tuple(map(_fresh, step.children)), step.interval_ms, step.mark)
    if isinstance(step, OneOf):
        return OneOf(tuple(map(_fresh, step.children)), step.key, step.mark)
    if isinstance(step, Repeat):
        return Repeat(_fresh(step.body), step.times, step.while_held, step.mark)
    return replace(step)
