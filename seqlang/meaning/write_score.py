"""A score as text: cues and their statements, what starts them, and how much they are used."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from seqlang.meaning.write_numbers import INDENT, number, percent, quantity
from sim.model import (
    BLACK,
    MINIMUM_JERK,
    UNIFORM,
    Binding,
    Cue,
    Effect,
    Fade,
    Follow,
    Hold,
    InTurn,
    Law,
    Move,
    OneOf,
    Repeat,
    Rig,
    Scaling,
    Score,
    Servo,
    Step,
    StripLight,
    Throw,
    Together,
    bound_lines,
)
from sim.rig.slide import of_part
from sim.score.draws import draws_time
from sim.score.tree import named_cues


def score_lines(score: Score, rig: Rig, units: Mapping[str, str]) -> Iterator[str]:
    """All of a score; `units`: of which each servo's places are."""
    parts = {cue.name: cue for cue in score.cues}
    for cue in named_cues(score):
        yield from _cue(cue, parts.get(cue.let_go or ""), rig, units)
    yield from started_lines(score)
    if score.usage or score.run_time_h is not None:
        yield "usage"
        for usage in score.usage:
            yield f"{INDENT}{usage.cue} {number(usage.per_hour)} per hour"
        if score.run_time_h is not None:
            yield f"{INDENT}run time {quantity(score.run_time_h, 'h')}"


def started_lines(score: Score) -> Iterator[str]:
    """What starts cues: idle and the remote."""
    if score.idle:
        usual = Score("").glide_ms == score.glide_ms
        back = "" if usual else f", back in {quantity(score.glide_ms, 'ms')}"
        yield f"idle: go {', '.join(score.idle)}{back}"
    yield "remote"
    yield from (f"{INDENT}{line}" for line in map(_bound, bound_lines(score)))
    if score.lost_ms is not None and score.lost_cue is not None:
        yield f"{INDENT}lost {score.lost_ms} ms: go {score.lost_cue}"
    if score.low_cue is not None:
        yield f"{INDENT}battery low: go {score.low_cue}"
    if score.stop_button is not None:
        yield f"{INDENT}stop button {score.stop_button}"
    yield f"{INDENT}stop in {score.stop_ms} ms"


def _bound(line: Sequence[Binding]) -> str:
    first = line[0]
    press = {"down": "", "long": f" long {first.long_ms} ms", "twice": " twice", "up": " let go"}
    cues = ", ".join(one.cue for one in line)
    listed = "next of " if first.manner == "next" else ""
    behind = " while held" if first.while_held else ""
    if first.manner == "toggle":
        behind = " until pressed again"
    return f"button {first.button}{press[first.kind]}: go {listed}{cues}{behind}"


def _cue(cue: Cue, part: Cue | None, rig: Rig, units: Mapping[str, str]) -> Iterator[str]:
    title = f' "{cue.title}"' if cue.title else ""
    busy = f", if busy {cue.conflict}" if cue.conflict != "take" else ""
    seed = "" if cue.seed is None else f", seed {cue.seed}"
    yield f"cue {cue.name}{title}{busy}{seed}{scaling_words(cue, rig)}"
    yield from _steps(cue.body, 1, units)
    if part is not None:
        yield f"{INDENT}when let go"
        yield from _steps(part.body, 2, units)


def step_lines(body: Step, depth: int, rig: Rig) -> list[str]:
    """A body's lines, so many levels further in; `rig` knows in which units parts are measured."""
    return list(_steps(body, depth, units_of_parts(rig)))


def _steps(body: Step, depth: int, units: Mapping[str, str]) -> Iterator[str]:
    for child in body.children if isinstance(body, InTurn) else (body,):
        yield from _step(child, depth, units)


def _step(step: Step, depth: int, units: Mapping[str, str]) -> Iterator[str]:
    before = INDENT * depth
    if isinstance(step, Move):
        unit = units.get(step.output, "deg")
        pace = f"in {_time(step)}{_law(step.law, MINIMUM_JERK)}"
        goal = f"to {quantity(step.angle_deg, unit)}{_most(step, unit)}"
        yield f"{before}{step.output} {goal} {pace}"
    elif isinstance(step, Fade):
        pace = f"in {_time(step)}{_law(step.law, UNIFORM)}"
        yield f"{before}{step.output} fade to {light_words(step.light)}{_most(step, '%')} {pace}"
    elif isinstance(step, Throw):
        yield f"{before}{step.output} {'on' if step.on else 'off'}"
    elif isinstance(step, Effect):
        yield before + _effect(step)
    elif isinstance(step, Together) and draws_time(step):
        yield before + _statement(step, units)
    elif isinstance(step, Hold):
        yield f"{before}hold {_time(step)}"
    else:
        yield from _block(step, depth, units)


def _statement(step: Together, units: Mapping[str, str]) -> str:
    """Several outputs in one statement, which end at the same time, whatever is drawn."""
    targets, pace = [], ""
    for child in step.children:
        assert isinstance(child, Move | Fade)
        usual = MINIMUM_JERK if isinstance(child, Move) else UNIFORM
        if isinstance(child, Move):
            unit = units.get(child.output, "deg")
            goal = f"to {quantity(child.angle_deg, unit)}{_most(child, unit)}"
        else:
            goal = f"fade to {light_words(child.light)}{_most(child, '%')}"
        targets.append(f"{child.output} {goal}")
        pace = f"in {_time(child)}{_law(child.law, usual)}"
    return f"{', '.join(targets)} {pace}"


def _time(step: Move | Fade | Hold) -> str:
    drawn = f" .. {step.drawn.most_ms} ms" if step.drawn and step.drawn.time_key else ""
    return f"{step.duration_ms} ms{drawn}"


def _most(step: Move | Fade, unit: str) -> str:
    """The end of a range of targets; nothing where there is one target."""
    if step.drawn is None or not step.drawn.target_key:
        return ""
    return f" .. {quantity(step.drawn.most, unit)}"


def _block(
    step: InTurn | Together | Repeat | OneOf, depth: int, units: Mapping[str, str]
) -> Iterator[str]:
    children: tuple[Step, ...]
    if isinstance(step, Repeat):
        often = "for ever" if step.times is None else f"{step.times} times"
        header = f"repeat {'while held' if step.while_held else often}"
        children = step.body.children if isinstance(step.body, InTurn) else (step.body,)
    elif isinstance(step, InTurn):
        header, children = "in turn", step.children
    elif isinstance(step, OneOf):
        header, children = "one of", step.children
    else:
        interval = step.interval_ms
        header = f"stagger {interval} ms" if interval else "together"
        children = step.children
    yield INDENT * depth + header
    for child in children:
        yield from _step(child, depth + 1, units)


def _law(law: Law, usual: Law) -> str:
    if law == usual:
        return ""
    if law.peak != 0.5:
        return f"{_even_law(replace(law, peak=0.5))}, fastest at {percent(law.peak)}"
    return _even_law(law)


def _even_law(law: Law) -> str:
    if law.name == "trapezoid":
        return f", trapezoid {number(law.alpha)}"
    if law.name == "double-S":
        return f", double-S {number(law.alpha)}, {number(law.beta)}"
    return f", {law.name}"


def _effect(effect: Effect) -> str:
    if effect.name == "steady":
        return f"{effect.output} steady"
    return (
        f"{effect.output} {effect.name} every {effect.period_ms} ms, "
        f"depth {quantity(effect.depth_pct, '%')}, seed {effect.seed}, width {effect.width}"
    )


def light_words(light: float | StripLight) -> str:
    """A lamp's level, or a strip's colour and level."""
    if not isinstance(light, StripLight):
        return quantity(light, "%")
    return (
        "off"
        if light == BLACK
        else f"{colour_words(light.colour)} {quantity(light.level_pct, '%')}"
    )


def colour_words(colour: tuple[int, int, int]) -> str:
    """As CSS writes it: `#rrggbb`."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def units_of_parts(rig: Rig) -> Mapping[str, str]:
    """By servo, the unit of its part's places."""
    servos = (o for o in rig.outputs if isinstance(o, Servo))
    return {one.name: of_part(one).place for one in servos}


def values_of_source(one: Follow | Scaling, rig: Rig) -> str:
    """Both values of a source."""
    sensed = any(sensor.name == one.source for sensor in rig.sensors)
    ends = one.source_from, one.source_to
    return " to ".join(percent(end) if sensed else quantity(end, "us") for end in ends)


def scaling_words(cue: Cue, rig: Rig) -> str:
    """What a cue's header says of how far it goes, if it says anything."""
    one = cue.scaling
    if one is None:
        return ""
    shares = f"{quantity(one.from_pct, '%')} to {quantity(one.to_pct, '%')}"
    otherwise = quantity(one.else_pct, "%")
    return f", as far as {one.source} from {values_of_source(one, rig)}, {shares}, else {otherwise}"
