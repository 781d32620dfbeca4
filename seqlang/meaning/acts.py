"""What statements do with outputs, turned into steps."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, cast

from lark import Token

from seqlang.meaning.durations import PartWay, Timing, drawn_times, in_order
from seqlang.meaning.notes import Fault
from seqlang.meaning.pose import OutputKind, Setting, angle, lamp_level, strip_light
from seqlang.meaning.stage import MOST_STEPS, MOST_STEPS_OF_SHOW, Stage
from seqlang.meaning.swing import SwingMove
from seqlang.meaning.swing_text import breath_of, breath_times, swung
from seqlang.text.syntax import (
    ActText,
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
)
from seqlang.text.units import DURATION
from sim import model
from sim.model import UNIFORM, Drawn, Fade, InTurn, Move, Repeat, Step, StripLight, Together
from sim.rulebook import (
    DURATION_STEP_MS,
    LONGEST_PERIOD_MS,
    SEED_MAX,
    SHORTEST_PERIOD_MS,
    WIDTH_MAX,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

CUT_MS: Final = DURATION_STEP_MS
"""A light that changes at once takes the shortest of a table's cheap times."""


class ActMaker:
    """Makes the steps of what statements do with outputs, and knows where its servos are then."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._reading = stage.reading
        self._where: dict[str, tuple[float, ...]] = {}
        self._steps = 0
        self._is_full = False
        """It has more steps than a cue may have; the finding is noted."""
        self._swings: Mapping[str, tuple[SwingMove, ...]] = {}
        """Of the statement at hand: what the moves of its parts consist of."""
        self._untimed: StatementText | None = None
        """What takes as long as somebody wants; behind it the clock is not known."""
        self._lost = False
        """A statement could not be read, so the parts may be elsewhere."""
        self._draws = 0
        """What has been drawn so far."""

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
            self._not_drawn(name, text, "nothing can be drawn between two colours")
        assert isinstance(least, float | int)
        assert isinstance(most, float | int)
        if str(name) in self._reading.spinning:
            self._not_drawn(
                name, text, "the speed of a part that turns round and round cannot be drawn"
            )
        in_order(self._reading, text, least, most)
        return least, most

    def _not_drawn(self, name: Token, text: Ranged, why: str) -> None:
        self._reading.error(
            "wrong-kind",
            why,
            text,
            help=f"give `{name}` one, or let `one of` choose among several statements",
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
            "`anticipation` and `overshoot` need a known way and a known time",
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


def _light_parts(light: LightText) -> tuple[tuple[str, object], ...]:
    head = light.head
    level = light.level
    named = isinstance(head, Token) and head.type in ("NAME", "COLOUR")
    if level is None and not named and not (isinstance(head, Token) and head.type == "OFF"):
        level = head
    return (("target", light), ("colour", head if named else None), ("level", level))
