"""The outputs of one board during a rehearsal: what each is doing, piece by piece.

Motions are planned in the board's integers (`sim.rehearsal.motion`). Times are whole 1/256 ms, the
player's clock; the pieces that come out are in milliseconds.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from itertools import islice

from sim.light.lightness import channel_levels
from sim.model import (
    MINIMUM_JERK,
    UNIFORM,
    Effect,
    Fade,
    Lamp,
    Law,
    Move,
    Servo,
    Show,
    Strip,
    StripLight,
    Switch,
    Throw,
)
from sim.rehearsal.fixed_motion import angle_steps, limits_of
from sim.rehearsal.followers import LEVEL_ONE, LampFollower, ServoFollower
from sim.rehearsal.motion import MotionPiece, begin, halting, resting
from sim.rehearsal.presence import Presence, frame_of
from sim.rehearsal.shining import ShiningRow
from sim.rehearsal.trajectories import Fading, Levels, Throwing, TimeSpan
from sim.rulebook import (
    ANGLE_STEPS_PER_DEG,
    CLOCK_PER_MS,
    FRAME_MS,
    GLIDE_STEP_MS,
    LEVEL_STEPS_PER_PCT,
    STOP_STEP_MS,
)
from sim.score.draws import drawn
from sim.score.laws import position
from sim.score.scaling import scaled
from sim.score.threads import glide_steps
from sim.score.tree import Act


def light_levels(light: float | StripLight) -> Levels:
    """A score's light in half percents of L*, whole numbers as in a table."""
    if isinstance(light, StripLight):
        return tuple(float(level) for level in channel_levels(light))
    return (float(round(LEVEL_STEPS_PER_PCT * light)),)


def levels_at(fading: Fading, time_ms: float) -> Levels:
    """The levels of a fade at a time; before it began, where it begins."""
    since = max(0.0, time_ms - fading.start_ms)
    if since >= fading.duration_ms or fading.duration_ms == 0.0:
        return fading.target
    share = float(position(fading.law, since / fading.duration_ms))
    return tuple(a + (b - a) * share for a, b in zip(fading.origin, fading.target, strict=True))


class OutputRows:
    """Rows of pieces by output name, and the means to add to them."""

    def __init__(self, show: Show, board: str, limits: dict[str, tuple[int, int]]) -> None:
        own = [output for output in show.rig.outputs if output.board == board]
        self.servos = {o.name: o for o in own if isinstance(o, Servo)}
        self.lamps = {o.name: o for o in own if isinstance(o, Lamp)}
        self.strips = {o.name: o for o in own if isinstance(o, Strip)}
        self.levers = {o.name: o for o in own if isinstance(o, Switch)}
        self.names = frozenset(o.name for o in own)
        self.motions: dict[str, list[MotionPiece]] = {name: [] for name in self.servos}
        self.powered: dict[str, list[TimeSpan]] = {name: [] for name in self.servos}
        self.lights: dict[str, list[Fading]] = {n: [] for n in (*self.lamps, *self.strips)}
        self._presences = {name: Presence() for name in self.lights}
        self.effects = {name: one.row for name, one in self._presences.items()}
        self.switches: dict[str, list[Throwing]] = {name: [] for name in self.levers}
        glide_ms = show.score.glide_ms
        self.shining = {
            one.output: ShiningRow(one, glide_ms)
            for one in show.rig.shines
            if one.output in self.lamps and one.servo in self.servos
        }
        self._limits = {n: limits_of(servo, limits[n]) for n, servo in self.servos.items()}
        self.followers = self._followers(show, limits)
        self.shown = -1
        """The time of the last frame that is out already."""
        self._since: dict[str, float] = {}
        self._stop_clock = (
            max(1, round(show.score.stop_ms / STOP_STEP_MS)) * STOP_STEP_MS * CLOCK_PER_MS
        )

    def _followers(
        self, show: Show, limits: Mapping[str, tuple[int, int]]
    ) -> dict[str, ServoFollower | LampFollower]:
        """What follows a source of this board, by output."""
        glide = glide_steps(show.score) * GLIDE_STEP_MS * CLOCK_PER_MS
        sensors = {one.name for one in show.rig.sensors}
        found: dict[str, ServoFollower | LampFollower] = {}
        for one in show.rig.follows:
            sensed = one.source in sensors
            if one.output in self.servos:
                servo = self.servos[one.output]
                found[servo.name] = ServoFollower(one, servo, sensed, limits[servo.name], glide)
            elif one.output in self.lamps:
                lamp = self.lamps[one.output]
                found[lamp.name] = LampFollower(one, lamp.safe_pct, sensed, glide)
        return found

    # -- the whole board --------------------------------------------------------------------

    def stand_by(self, now: int) -> None:
        """The quiet start: safe angles without pulses, dark, steady, switches safe."""
        for name, servo in self.servos.items():
            self.motions[name].append(resting(now, servo.safe_deg))
        for name, row in self.lights.items():
            dark = (0.0,) * (3 if name in self.strips else 1)
            row.append(Fading(*self._times(now), dark, dark))
        for shining in self.shining.values():
            shining.end(self._times(now)[1])
        for presence in self._presences.values():
            presence.clear(self._frame)
        self.throw_safe(now)

    def light_safe(self, now: int) -> None:
        """Lamps and strips jump to their safe light."""
        for name, row in self.lights.items():
            levels = self._safe_light(name)
            row.append(Fading(*self._times(now), levels, levels))

    def move_safe(self, now: int) -> None:
        """The controlled stop: everything goes to its safe state over the stop time."""
        self.hold(self.followers, now)
        for name, servo in self.servos.items():
            self._move(name, servo.safe_deg, self._stop_clock, MINIMUM_JERK, now)
        for name in self.lights:
            self._fade(name, self._safe_light(name), self._stop_clock, UNIFORM, now)

    def shine(self, taken: Collection[object], now: int) -> None:
        """Let the lamps shine with their moves that no cue has taken."""
        for name, shining in self.shining.items():
            if name not in taken:
                shining.begin(now / CLOCK_PER_MS)

    def throw_safe(self, now: int) -> None:
        for name, switch in self.levers.items():
            self._throw(name, switch.safe_on, now, None)

    def steady(self, names: Iterable[str], now: int) -> None:
        """Let the effects of those of `names` that are lights go."""
        for name in names:
            if name in self._presences:
                self._presences[name].take_off(self._frame)

    def enable(self, servos: int, now: int) -> None:
        """Let the pulses of the first so many servos begin, where they have not."""
        for name in islice(self.servos, servos):
            self._since.setdefault(name, now / CLOCK_PER_MS)

    def cut_power(self, now: float) -> None:
        """End all pulses."""
        self.hold(self.followers, self.shown)
        for name, since in self._since.items():
            self.powered[name].append(TimeSpan(since, now / CLOCK_PER_MS))
        self._since.clear()

    def motions_end(self) -> int:
        """When the last motion ends."""
        return max((self.output_end(name) for name in self.motions), default=0)

    # -- what follows a source ----------------------------------------------------------------

    def hold(self, names: Iterable[str], now: int) -> frozenset[str]:
        """Let those of `names` that follow brake and stay; which that were."""
        held = frozenset(n for n in names if n in self.followers and self.followers[n].follows)
        for name in held:
            follower = self.followers[name]
            if isinstance(follower, ServoFollower):
                follower.forget(now)
                place = follower.position, follower.speed
                self.motions[name].append(halting(now, *place, self._limits[name]))
                continue
            follower.forget(max(now, self.shown + 1))
            level = (follower.position / LEVEL_ONE,)
            goal = (float((follower.position + LEVEL_ONE // 2) // LEVEL_ONE),)
            self.lights[name].append(Fading(*self._times(now), level, goal, float(FRAME_MS)))
        return held

    def listen(self, values: Mapping[str, int | None]) -> list[str]:
        """The values of the sources in a frame; which outputs followed one that is live no more."""
        for follower in self.followers.values():
            follower.listen(values.get(follower.follow.source))
        return [n for n, one in self.followers.items() if one.follows and not one.has_source]

    def follow(self, taken: Collection[object], now: int) -> None:
        """Let what can follow a source do so; `taken`: what cues have."""
        for name, follower in self.followers.items():
            if not follower.has_source or name in taken:
                continue
            if isinstance(follower, ServoFollower):
                planned = self.motions[name][-1].planned
                follower.step(now, *planned.state(now), planned.end <= now)
            else:
                own = levels_at(self.lights[name][-1], now / CLOCK_PER_MS)[0]
                follower.step(now, round(LEVEL_ONE * own), self.output_end(name) <= now)

    @property
    def settled(self) -> bool:
        """Whether nothing that follows changes before something happens."""
        return all(one.settled for one in self.followers.values())

    # -- one output -------------------------------------------------------------------------

    def output_end(self, name: str) -> int:
        if name in self.motions:
            return self.motions[name][-1].planned.end
        if name not in self.lights:
            return 0  # a switch takes no time
        fading = self.lights[name][-1]
        return round((fading.start_ms + fading.duration_ms) * CLOCK_PER_MS)

    def lays_effect(self, act: Act) -> bool:
        return isinstance(act, Effect)

    def drawn(self, act: Act, count: int) -> Act:
        """In the steps of a table, as the board does."""
        if not isinstance(act, Move | Fade) or act.drawn is None:
            return act
        one = act.drawn
        lasts = drawn(act.duration_ms, one.most_ms, one.time_key, count)
        if not one.target_key:
            return replace(act, duration_ms=lasts, drawn=None)
        if isinstance(act, Move):
            ends = angle_steps(act.angle_deg), angle_steps(one.most)
            angle = drawn(*ends, one.target_key, count) / ANGLE_STEPS_PER_DEG
            return replace(act, duration_ms=lasts, angle_deg=angle, drawn=None)
        least, most = (light_levels(level)[0] for level in (act.light, one.most))
        level = drawn(int(least), int(most), one.target_key, count) / LEVEL_STEPS_PER_PCT
        return replace(act, duration_ms=lasts, light=level, drawn=None)

    def scaled(self, act: Act, scale: int) -> Act:
        """In the steps of a table, as the board does."""
        if not isinstance(act, Move):
            return act
        safe = angle_steps(self.servos[act.output].safe_deg)
        target = scaled(angle_steps(act.angle_deg), safe, scale)
        return replace(act, angle_deg=target / ANGLE_STEPS_PER_DEG)

    def shortened(self, act: Act, by_ms: int) -> Act:
        """The statement over so much less time, but not less than none."""
        if not isinstance(act, Move | Fade):
            return act
        return replace(act, duration_ms=max(0, act.duration_ms - by_ms))

    def takes_ms(self, act: Act) -> int:
        return act.duration_ms if isinstance(act, Move | Fade) else 0

    def glide(self, act: Act, now: int, duration_ms: int, cue: str) -> None:
        """Bring an output to the target of a statement over another time, by the glide's law."""
        match act:
            case Move():
                act = replace(act, duration_ms=duration_ms, law=MINIMUM_JERK)
            case Fade():
                act = replace(act, duration_ms=duration_ms, law=UNIFORM)
        self.act(act, now, cue)

    def act(self, act: Act, now: int, cue: str, least_ms: int = 0) -> None:
        """Carry out a statement of a cue's run at a time on the player's clock."""
        match act:
            case Move():
                ticks = max(act.duration_ms, least_ms) * CLOCK_PER_MS
                self._move(act.output, act.angle_deg, ticks, act.law, now, cue)
            case Fade():
                ticks = max(act.duration_ms, least_ms) * CLOCK_PER_MS
                self._fade(act.output, light_levels(act.light), ticks, act.law, now, cue)
            case Effect():
                presence = self._presences[act.output]
                if act.name == "steady":
                    presence.take_off(self._frame)
                else:
                    presence.lay(act, now, self._frame, cue)
            case Throw():
                self._throw(act.output, act.on, now, cue)

    def _move(
        self, name: str, target: float, asked: int, law: Law, now: int, cue: str | None = None
    ) -> None:
        row = self.motions[name]
        row.append(begin(row[-1], now, target, asked, law, self._limits[name], cue))

    def _fade(
        self, name: str, target: Levels, asked: int, law: Law, now: int, cue: str | None = None
    ) -> None:
        row, lasts = self.lights[name], asked / CLOCK_PER_MS
        origin = levels_at(row[-1], now / CLOCK_PER_MS)
        if name in self.shining:
            shining = self.shining[name]
            origin = (shining.seen(origin[0], now, self._seen(shining.shine.servo, now)),)
            shining.end(self._times(now)[1])
        row.append(Fading(*self._times(now), origin, target, lasts, law, cue))
        if lasts < FRAME_MS:
            self._presences[name].cut(self._frame)

    def _seen(self, name: str, now: int) -> tuple[int, int]:
        """Where a servo is and how fast, in the board's integers."""
        follower = self.followers.get(name)
        if isinstance(follower, ServoFollower) and follower.follows:
            return follower.position, follower.speed
        return self.motions[name][-1].planned.state(now)

    def _throw(self, name: str, on: bool, now: int, cue: str | None) -> None:
        self.switches[name].append(Throwing(*self._times(now), on, cue))

    @property
    def _frame(self) -> int:
        """The number of the frame that is being played."""
        return frame_of(self.shown)

    def _times(self, now: int) -> tuple[float, float]:
        """When a piece starts, and when it can first be seen."""
        return now / CLOCK_PER_MS, max(now, self.shown + 1) / CLOCK_PER_MS

    def _safe_light(self, name: str) -> Levels:
        if name in self.strips:
            return light_levels(self.strips[name].safe)
        return light_levels(self.lamps[name].safe_pct)
