"""The statements of a cue, turned into steps."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias, cast

from lark import Token

from seqlang.meaning.durations import Pacer, PartWay, Timing, drawn_times, in_order
from seqlang.meaning.gesture import Gesture, bound, placed
from seqlang.meaning.pose import OutputKind, Pose, Setting, angle, lamp_level, strip_light
from seqlang.meaning.swing import SwingMove
from seqlang.meaning.swing_text import breath_of, breath_times, swung
from seqlang.meaning.values import DAY_MS, Fault, Reading
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
    LawText,
    LightText,
    Line,
    Pace,
    Play,
    Ranged,
    StatementText,
    Strike,
    Target,
    ThrowText,
    end_of,
    start_of,
)
from seqlang.text.units import DURATION
from sim import model
from sim.model import UNIFORM, Drawn, Fade, InTurn, Move, Repeat, Step, StripLight, Together
from sim.rulebook import (
    DURATION_STEP_MS,
    LONGEST_PERIOD_MS,
    MOST_TIMES,
    SEED_MAX,
    SHORTEST_PERIOD_MS,
    WIDTH_MAX,
)
from sim.score.draws import draws_in, draws_time
from sim.score.tree import duration_ms

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

MOST_STEPS: Final = 20_000
"""Steps of one cue, those of the cues it plays included."""

MOST_STEPS_OF_SHOW: Final = 30_000
"""Steps of all cues of a show. No chip's memory holds a tenth of them; a check of so many takes
seconds."""

CUT_MS: Final = DURATION_STEP_MS
"""A light that changes at once takes the shortest of a table's cheap times."""


Loops: TypeAlias = "dict[tuple[int, ...], Mapping[str, tuple[float, ...]]]"


class Made(NamedTuple):
    """A cue's steps, and what a cue that plays it must know."""

    body: InTurn
    duration_ms: int
    ends: Mapping[str, tuple[float, ...]]
    """Servos it moves, each with the angles it may end at."""
    steps: int
    depth: int
    is_timed: bool
    """How long it takes is known: no button holds it, and it has an end."""


class Tally:
    """The steps of a show so far."""

    def __init__(self) -> None:
        self.steps = 0
        self.is_full = False
        """More were asked for than a show may have; the finding is noted."""


class Stage(NamedTuple):
    """What every cue of a show is made with."""

    reading: Reading
    outputs: Mapping[str, tuple[OutputKind, Token]]
    poses: Mapping[str, Pose]
    pacer: Pacer
    rest: Mapping[str, Sequence[float]]
    """Angles at which the show can leave each servo."""
    cues: Mapping[str, Token]
    played: Mapping[str, Made]
    """Cues made so far."""
    cut: frozenset[int]
    """`play` statements that would never end, by `id`."""
    loops: Loops
    """Where each repeat leaves the parts, by the `id` of its block, behind those of the plays that
    led there."""
    tally: Tally
    gestures: Mapping[str, Gesture]
    bodies: dict[tuple[object, ...], tuple[StatementText, ...]]
    """What gestures do with some outputs, by the gesture and them."""
    delays: Mapping[str, int]
    """How long after it is on what a switch drives starts, in ms, by output."""


class CueMaker:
    """Makes the steps of one cue, keeping track of where its servos are."""

    def __init__(self, stage: Stage, is_part: bool = False) -> None:
        self._stage = stage
        self._is_part = is_part
        """It is a part for letting go."""
        self._reading = stage.reading
        self._where: dict[str, tuple[float, ...]] = {}
        self._steps = 0
        self._is_full = False
        """It has more steps than a cue may have; the finding is noted."""
        self._level = 0
        self._deepest = 0
        self._clock: int | None = 0
        """How long the cue has run where the next statement starts; None where that differs."""
        self._swings: Mapping[str, tuple[SwingMove, ...]] = {}
        """Of the statement at hand: what the moves of its parts consist of."""
        self._plays: tuple[int, ...] = ()
        """The plays of gestures that are open, by `id`."""
        self._performed: tuple[str, ...] = ()
        """Their gestures."""
        self._untimed: StatementText | None = None
        """What takes as long as somebody wants; behind it the clock is not known."""
        self._lost = False
        """A statement could not be read, so the parts may be elsewhere."""
        self._draws = 0
        """What has been drawn so far."""
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

    # -- what is drawn ----------------------------------------------------------------------

    def _drawn_hold(self, hold: HoldText, text: Ranged, mark: int) -> tuple[Step, int]:
        if hold.breathing is not None:
            self._reading.error(
                "wrong-kind",
                "whole breaths fill a hold, so its time must be known",
                text,
                help="give one time, or let a strand of its own breathe",
            )
            raise Fault
        least, most = drawn_times(self._reading, text, "a hold")
        self._untimed = self._untimed or hold
        return model.Hold(least, mark, Drawn(self._next_key(), most)), least

    def _next_key(self) -> int:
        """A number for what is drawn; the keys are given when the cue is whole."""
        self._draws += 1
        return self._draws

    def _drawn(self, time_key: int, timing: Timing, target_key: int, most: float) -> Drawn | None:
        most_ms = timing.most_ms
        if most_ms is None and not target_key:
            return None
        timed = most_ms is not None
        return Drawn(time_key if timed else 0, most_ms or 0, target_key, most)

    def _aim_at(self, name: Token, target: Target) -> tuple[float | StripLight, float | None]:
        """Where to, and if that is drawn, up to where."""
        value = target.value
        text = value.head if isinstance(value, LightText) else value
        if not isinstance(text, Ranged):
            return self._aim(name, target), None
        ends = []
        for end in (text.least, text.most):
            one = LightText(end, None) if isinstance(value, LightText) else end
            ends.append(self._aim(name, Target(target.names, one)))
        least, most = ends
        if isinstance(least, StripLight) or isinstance(most, StripLight):
            self._not_drawn(name, text, "colours are not drawn")
        assert isinstance(least, float | int)
        assert isinstance(most, float | int)
        if str(name) in self._reading.spinning:
            self._not_drawn(name, text, "how fast a part turns round and round is not drawn")
        in_order(self._reading, text, least, most)
        return least, most

    def _not_drawn(self, name: Token, text: Ranged, why: str) -> None:
        self._reading.error(
            "wrong-kind", why, text, help=f"give `{name}` one, and draw the times between"
        )
        raise Fault

    def _stands_alone(self, step: Step, statement: StatementText, block: Block) -> None:
        """That nothing in a block of things side by side takes a time that is drawn."""
        if not any(draws_time(one) for one in draws_in(step)):
            return
        self._reading.error(
            "draw-beside-others",
            f"a time is drawn here, and in `{block.kind}` it must be known when each thing ends",
            statement,
            help="put it in front of or behind the block, or make a strand of its own of it",
        )
        raise Fault

    def _add(self, steps: int, statement: StatementText) -> None:
        """Count steps. Raises Fault where they are more than a cue or a show may have."""
        tally = self._stage.tally
        if self._is_full or tally.is_full:
            raise Fault
        self._steps += steps
        tally.steps += steps
        self._is_full = self._steps > MOST_STEPS
        tally.is_full = tally.steps > MOST_STEPS_OF_SHOW
        if not self._is_full and not tally.is_full:
            return
        played = "with the cues it plays " if isinstance(statement, Play) else ""
        if self._is_full:
            self._reading.error(
                "cue-too-long",
                f"{played}this cue has {self._steps} steps up to here, at most {MOST_STEPS} are "
                "allowed",
                statement,
                help="use `repeat` for steps that come again, or make two cues of it",
                asked=self._steps,
                limit=MOST_STEPS,
            )
        else:
            self._reading.error(
                "show-too-long",
                f"{played}the cues of this show have {tally.steps} steps up to here, at most "
                f"{MOST_STEPS_OF_SHOW} are allowed",
                statement,
                help="use `repeat` for steps that come again, or make two shows of it",
                asked=tally.steps,
                limit=MOST_STEPS_OF_SHOW,
            )
        raise Fault

    # -- moves and fades --------------------------------------------------------------------

    def _act(self, act: ActText) -> tuple[Step, int]:
        found: list[tuple[Token, Target, float | StripLight, float | None]] = []
        failed = False
        for target in act.targets:
            for name in target.names:
                aim = self._reading.tried(self._aim_at, name, target)
                failed = failed or aim is None
                if aim is not None:
                    found.append((name, target, *aim))
        ways = [
            way
            for name, target, value, most in found
            if not isinstance(target.value, LightText) and isinstance(value, float)
            for way in self._ways(str(name), value, most)
        ]
        if act.swing and any(most is not None for *_, most in found):
            self._swings_drawn(act)
        if failed and not ways and act.pace.kind != "in":
            raise Fault
        timing = self._timing(act, ways)
        several = len(found) > 1
        keys: dict[int, int] = {}
        time_key = self._next_key()
        steps = tuple(
            self._drawing(
                self._motion(act, name, target, value, timing, several),
                timing,
                time_key,
                0 if most is None else keys.setdefault(id(target), self._next_key()),
                most,
            )
            for name, target, value, most in found
        )
        if failed or not steps:
            raise Fault
        if not several:
            return steps[0], timing.duration_ms
        self._add(len(steps), act)
        mark = self._reading.origins.mark(act, act)
        return Together(steps, 0, mark), timing.duration_ms

    def _timing(self, statement: ActText | Strike, ways: list[PartWay]) -> Timing:
        timing = self._stage.pacer.timing(statement.pace, statement.law, ways)
        if timing.most_ms is not None:
            if statement.swing:
                self._swings_drawn(statement)
            self._untimed = self._untimed or statement
        self._swings = swung(self._reading, self._stage.pacer, statement, ways, timing, self._lost)
        return timing

    def _swings_drawn(self, statement: ActText | Strike) -> None:
        self._reading.error(
            "wrong-kind",
            "drawing back and going too far need a way and a time that are known",
            statement.swing[0],
            help="give one angle and one time, or leave this out",
        )
        raise Fault

    def _drawing(
        self, step: Step, timing: Timing, time_key: int, target_key: int, most: float | None
    ) -> Step:
        """The step of one output, with what it draws."""
        drawn = self._drawn(time_key, timing, target_key, 0.0 if most is None else most)
        if drawn is None or not isinstance(step, Move | Fade):
            return step
        return replace(step, drawn=drawn)

    def _ways(self, output: str, least: float, most: float | None) -> list[PartWay]:
        """A servo's ways; from now on it is where it may be then."""
        if most is None:
            return [self._way(output, least)]
        before = self._where.get(output)
        places = (least, (least + most) / 2.0, most)
        found = []
        for place in places:
            self._where.pop(output, None)
            if before is not None:
                self._where[output] = before
            found.append(self._way(output, place))
        self._where[output] = places
        return found

    def _aim(self, name: Token, target: Target) -> float | StripLight:
        kind = self._kind(name)
        if isinstance(target.value, LightText):
            if kind == "lamp":
                return lamp_level(self._reading, target.value, name)
            if kind == "strip":
                return strip_light(self._reading, target.value, name)
            due = "an angle: `to 30 deg`" if kind == "servo" else "`on` or `off`"
            self._reading.error(
                "wrong-kind", f"`{name}` is a {kind} and cannot fade", name, help=f"give it {due}"
            )
            raise Fault
        if kind != "servo":
            text = self._reading.text(target.value)
            level = text if "%" in text or kind == "strip" else "50 %"
            only = len(target.names) == 1 and kind != "switch"
            self._reading.error(
                "wrong-kind",
                f"`{name}` is a {kind} and has no angle",
                name,
                help="write `on` or `off`"
                if kind == "switch"
                else f"lights fade: `{name} fade to {level} in 1 s`",
                fix=f"{name} fade" if only and level == text else None,
            )
            raise Fault
        return angle(self._reading, target.value, str(name))

    def _kind(self, name: Token) -> OutputKind:
        found = self._stage.outputs.get(name)
        if found is None:
            self._reading.unknown(name, "output", self._stage.outputs)
            raise Fault
        return found[0]

    def _way(self, output: str, to_deg: float) -> PartWay:
        """A servo's way from where it may be; from now on it is at its end."""
        before = self._where.get(output)
        self._where[output] = (to_deg,)
        if before is None:
            before = tuple(self._stage.rest.get(output, ())) or (to_deg,)
        return PartWay(output, to_deg, before)

    def _motion(
        self,
        act: ActText,
        name: Token,
        target: Target,
        value: float | StripLight,
        timing: Timing,
        several: bool,
    ) -> Step:
        whole: object = target if several else act
        if not isinstance(target.value, LightText):
            parts = (("name", name), ("target", target.value))
            return self._moved(whole, act, str(name), cast("float", value), timing, *parts)
        mark = self._mark(whole, act.pace, act.law, ("name", name), *_light_parts(target.value))
        return Fade(str(name), value, timing.duration_ms, timing.fade_law, mark)

    def _mark(
        self, whole: object, pace: Pace, law: LawText | None, *parts: tuple[str, object]
    ) -> int:
        amount = pace.amounts[0] if pace.amounts else None
        return self._reading.origins.mark(
            whole,
            whole,
            *parts,
            ("pace", pace),
            ("duration", amount if pace.kind == "in" else None),
            ("speed", amount if pace.kind in ("at", "within") else None),
            ("law", law),
        )

    def _strike(self, strike: Strike) -> tuple[Step, int]:
        """Everything a pose sets, together."""
        pose = self._stage.poses.get(str(strike.pose))
        if pose is None:
            self._reading.unknown(strike.pose, "pose", self._stage.poses)
            raise Fault
        ways = [
            self._way(name, s.angle_deg) for name, s in pose.settings.items() if s.kind == "servo"
        ]
        timing = self._timing(strike, ways)
        key = self._next_key()
        steps = tuple(
            self._drawing(self._posed(strike, s, timing), timing, key, 0, None)
            for s in pose.settings.values()
        )
        self._add(len(steps), strike)
        mark = self._reading.origins.mark(strike, strike)
        return Together(steps, 0, mark), timing.duration_ms

    def _posed(self, strike: Strike, setting: Setting, timing: Timing) -> Step:
        name = str(setting.name)
        light = setting.node
        parts = _light_parts(light) if isinstance(light, LightText) else (("target", light),)
        parts = (("name", strike.pose), *parts)
        if setting.kind == "servo":
            return self._moved(strike, strike, name, setting.angle_deg, timing, *parts)
        mark = self._mark(strike, strike.pace, strike.law, *parts)
        if setting.kind == "switch":
            return model.Throw(name, setting.on, mark)
        value = setting.level_pct if setting.kind == "lamp" else setting.strip
        return Fade(name, value, timing.duration_ms, timing.fade_law, mark)

    # -- drawing back, going too far, breathing -----------------------------------------------

    def _moved(
        self,
        whole: object,
        statement: ActText | Strike,
        name: str,
        to_deg: float,
        timing: Timing,
        *parts: tuple[str, object],
    ) -> Step:
        """The move of one servo, or the moves that it consists of."""
        law, swing = timing.move_law, self._swings.get(name, ())
        if len(swing) < 2:
            mark = self._mark(whole, statement.pace, statement.law, *parts)
            return Move(name, to_deg, timing.duration_ms, law, mark)
        # the written time is that of all of them, so no other number goes in its place
        named = dict(parts).get("name")
        mark = self._reading.origins.mark(
            whole, whole, ("name", named), ("pace", statement.pace), ("law", statement.law)
        )
        self._add(len(swing), statement)
        moves = (Move(name, one.to_deg, one.duration_ms, law, mark) for one in swing)
        return InTurn(tuple(moves), mark)

    def _breathe(self, hold: HoldText, line: Line, duration_ms: int) -> Step:
        """Small moves to and fro round the pose, for as long as the hold lasts."""
        reading = self._reading
        names = cast("tuple[Token, ...]", line.items[0])
        for name in names:
            if self._kind(name) != "servo":
                kind = self._kind(name)
                reading.error("wrong-kind", f"`{name}` is a {kind}; only servos can do this", name)
                raise Fault
        count, into, out = breath_times(reading, hold, line, duration_ms)
        up, down = [], []
        for name in names:
            at, to = breath_of(
                reading, self._stage.pacer, name, line, self._where.get(name, ()), self._lost
            )
            mark = reading.origins.mark(line, line, ("name", name))
            up.append(Move(str(name), to, into, model.MINIMUM_JERK, mark))
            down.append(Move(str(name), at, out, model.MINIMUM_JERK, mark))
        self._add(2 * len(names) + 4, hold)
        mark = reading.origins.mark(hold, hold)
        body = InTurn((Together(tuple(up), 0, mark), Together(tuple(down), 0, mark)), mark)
        left = duration_ms - count * (into + out)
        rest = (model.Hold(left, mark),) if left else ()
        return InTurn((Repeat(body, count, False, mark), *rest), mark)

    # -- instants ---------------------------------------------------------------------------

    def _cut(self, cut: Cut) -> tuple[Step, int]:
        steps = []
        for name in cut.names:
            value = self._aim(name, Target((name,), cut.light))
            mark = self._reading.origins.mark(cut, cut, ("name", name), *_light_parts(cut.light))
            steps.append(Fade(str(name), value, CUT_MS, UNIFORM, mark))
        return self._joined(steps, cut), CUT_MS

    def _throw(self, throw: ThrowText) -> tuple[Step, int]:
        steps: list[Step] = []
        on = throw.state.type == "ON"
        for name in throw.names:
            kind = self._kind(name)
            mark = self._reading.origins.mark(throw, throw, ("name", name), ("state", throw.state))
            if kind == "switch":
                steps.append(model.Throw(str(name), on, mark))
            elif kind == "servo" or (kind == "strip" and on):
                due = "an angle is needed" if kind == "servo" else "a colour is needed"
                such = "to 30 deg in 1 s" if kind == "servo" else "cut to white 80 %"
                self._reading.error(
                    "wrong-kind",
                    f"`{name}` is a {kind}: {due}, not `{throw.state}`",
                    throw.state,
                    help=f"such as `{name} {such}`",
                    fix="cut to white" if kind == "strip" and len(throw.names) == 1 else None,
                )
                raise Fault
            else:
                light = (100.0 if on else 0.0) if kind == "lamp" else model.BLACK
                steps.append(Fade(str(name), light, CUT_MS, UNIFORM, mark))
        duration = CUT_MS if any(isinstance(step, Fade) for step in steps) else 0
        return self._joined(steps, throw), duration

    def _effect(self, effect: EffectText) -> tuple[Step, int]:
        values = self._effect_values(effect)
        steps: list[Step] = []
        for name in effect.names:
            kind = self._kind(name)
            if kind not in ("lamp", "strip"):
                self._reading.error(
                    "wrong-kind", f"`{name}` is a {kind}; only lights can {effect.effect}", name
                )
                raise Fault
            parts = {option.kind: option.items[1] for option in effect.options}
            mark = self._reading.origins.mark(
                effect,
                effect,
                ("name", name),
                ("effect", effect.effect),
                ("period", parts.get("every")),
                *((kind, parts.get(kind)) for kind in ("depth", "seed", "width")),
            )
            made = model.Effect(
                str(name),
                cast("model.EffectName", str(effect.effect)),
                mark=mark,
                **values,  # type: ignore[arg-type]  # by the names of the fields
            )
            steps.append(made)
        return self._joined(steps, effect), 0

    def _effect_values(self, effect: EffectText) -> dict[str, float]:
        reading, values = self._reading, dict[str, float]()
        seen: dict[str, Line] = {}
        for option in effect.options:
            if option.kind in seen:
                reading.error(
                    "duplicate-line",
                    f"`{option.items[0]}` is stated twice",
                    option,
                    related=((seen[option.kind], "first stated here"),),
                )
                raise Fault
            seen[option.kind] = option
            if effect.effect == "steady":
                reading.error("wrong-kind", "`steady` takes no options", option)
                raise Fault
            amount = option.amount(1)
            if option.kind == "every":
                periods = SHORTEST_PERIOD_MS, LONGEST_PERIOD_MS
                period_ms = reading.within(amount, DURATION, "an effect's period", *periods)
                values["period_ms"] = round(period_ms)
            elif option.kind == "depth":
                values["depth_pct"] = reading.percent(amount, "an effect's depth")
            elif option.kind == "seed":
                values["seed"] = reading.count(amount, "a seed", 0, SEED_MAX)
            else:
                values["width"] = reading.count(amount, "an effect's width", 1, WIDTH_MAX)
        return values

    def _joined(self, steps: Sequence[Step], statement: StatementText) -> Step:
        if len(steps) == 1:
            return steps[0]
        self._add(len(steps), statement)
        return Together(tuple(steps), 0, self._reading.origins.mark(statement, statement))

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
                else "`at` counts from the start of the cue, but a `repeat` comes by several times",
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
            self._reading.tried(self._stands_alone, made[0], statement, block)
            longest = max(longest, len(children) * interval + made[1])
            children.append(made[0])
            for output, angles in _changed(before, self._where).items():
                known = after.get(output, ())
                after[output] = angles if known is before.get(output, ()) else (*known, *angles)
        self._where = after
        return Together(tuple(children), interval, self._head_mark(block, *parts)), longest

    def _repeat(self, block: Block) -> tuple[Step, int]:
        keyword, count = block.head
        kind = count.type if isinstance(count, Token) else ""
        if kind == "WHILE_HELD" and self._is_part:
            self._reading.error(
                "wrong-kind",
                "nobody holds the button when this runs, so it is done once",
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
        before = dict(self._where)
        self._clock = None
        children, once = self._sequence(block.body)
        if times is None:
            self._untimed = block
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
    return "takes as long as is drawn" if drawing else "lasts until it ends"


def _changed(
    before: Mapping[str, tuple[float, ...]], after: Mapping[str, tuple[float, ...]]
) -> dict[str, tuple[float, ...]]:
    """The servos that were moved in between, with where they are."""
    return {output: at for output, at in after.items() if before.get(output) is not at}


def without(step: Step, missing: frozenset[str]) -> Step | None:
    """A step without what it does to `missing` outputs; None if nothing is left of it."""
    if isinstance(step, InTurn | Together):
        kept = [part for child in step.children if (part := without(child, missing))]
        return replace(step, children=tuple(kept))
    if isinstance(step, Repeat):
        body = without(step.body, missing)
        lost_its_time = body != step.body and (body is None or duration_ms(body) == 0)
        return None if lost_its_time else replace(step, body=cast("Step", body))
    if isinstance(step, model.Hold) or step.output not in missing:
        return step
    return None


def _light_parts(light: LightText) -> tuple[tuple[str, object], ...]:
    head = light.head
    level = light.level
    named = isinstance(head, Token) and head.type in ("NAME", "COLOUR")
    if level is None and not named and not (isinstance(head, Token) and head.type == "OFF"):
        level = head
    return (("target", light), ("colour", head if named else None), ("level", level))


def _fresh(step: Step) -> Step:
    """A copy of a step, so that no step stands in two places of a score."""
    if isinstance(step, InTurn):
        return InTurn(tuple(map(_fresh, step.children)), step.mark)
    if isinstance(step, Together):
        return Together(tuple(map(_fresh, step.children)), step.interval_ms, step.mark)
    if isinstance(step, Repeat):
        return Repeat(_fresh(step.body), step.times, step.while_held, step.mark)
    return replace(step)
