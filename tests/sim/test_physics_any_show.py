"""Whatever a show holds, the physics answers with numbers and without an exception."""

from __future__ import annotations

from dataclasses import asdict
from math import isnan

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sim.model import (
    Adapter,
    Board,
    Box,
    CalibrationPoint,
    Cells,
    Cue,
    Effect,
    Fade,
    FourBar,
    Gear,
    Hold,
    InTurn,
    Lamp,
    Law,
    LeverPair,
    Load,
    Move,
    Plate,
    PointMass,
    Rating,
    Regulator,
    Repeat,
    Rig,
    Rod,
    Score,
    Servo,
    Show,
    Spring,
    Step,
    Strip,
    StripLight,
    Supply,
    Switch,
    Throw,
    Together,
    Usage,
    Wearer,
    Wire,
)
from sim.rig.pinch import pinch
from sim.rig.supply import highest_v
from sim.strain.eye import Eye
from sim.strain.heat import heats
from sim.strain.interrupted_light import interruptions as light_interruptions
from sim.strain.interruption import interruptions
from sim.strain.sag import lowest_voltages, sags, start_sags
from sim.strain.sizing import size

grams, metres = st.floats(0.0, 1.0), st.floats(0.001, 0.4)

bodies = st.one_of(
    st.builds(PointMass, grams, metres, st.floats(-180, 180)),
    st.builds(Rod, grams, metres),
    st.builds(Plate, grams, metres, metres, flat=st.booleans()),
    st.builds(Box, grams, metres, metres, metres),
)
loads = st.builds(
    Load,
    st.lists(bodies, max_size=2).map(tuple),
    st.floats(-90, 90),
    st.sampled_from(["level", "upright"]),
    st.lists(st.builds(Spring, st.floats(0, 2), st.floats(-90, 90)), max_size=1).map(tuple),
    st.floats(0.0, 0.1),
    st.booleans(),
)
drives = st.one_of(
    st.builds(Gear, st.sampled_from([-3.0, -1.0, 0.5, 1.0, 4.0])),
    st.builds(LeverPair, metres, metres),
    st.builds(FourBar, metres, metres, metres, metres, st.floats(-180, 180), st.booleans()),
)
one_rating = st.builds(
    Rating, st.just(6.0), st.floats(50.0, 900.0), st.floats(0.05, 4.0), st.floats(0.2, 5.0)
)
ratings = st.one_of(
    st.tuples(one_rating),
    st.just((Rating(4.8, 300.0, 0.8, 1.5), Rating(6.0, 380.0, 1.0, 2.0))),
)


@st.composite
def servos(draw: st.DrawFn, name: str, pin: int) -> Servo:
    low = draw(st.floats(-60.0, 20.0))
    high = low + draw(st.floats(5.0, 90.0))
    points = (CalibrationPoint(low - 5.0, 900.0), CalibrationPoint(high + 5.0, 2100.0))
    return Servo(
        name,
        "b",
        pin,
        points,
        (low, high),
        draw(ratings),
        draw(loads),
        draw(drives),
        safe_deg=draw(st.floats(low, high)),
        accel_deg_s2=draw(st.none() | st.floats(50.0, 20_000.0)),
    )


supplies = st.builds(
    Supply,
    st.just("p"),
    st.one_of(
        st.builds(Adapter, st.floats(3.0, 12.0), st.floats(0.1, 10.0)),
        st.builds(
            Cells,
            st.sampled_from(["li-ion", "lipo", "lifepo4", "nimh", "alkaline"]),
            st.integers(1, 6),
            st.floats(0.1, 5.0),
        ),
    ),
    st.none() | st.builds(Regulator, st.floats(3.0, 7.0), st.floats(0.1, 10.0)),
    st.none() | st.just(5.0),
)

laws = st.sampled_from(
    [Law(), Law("uniform"), Law("parabolic"), Law("double-S", 0.3, 0.2), Law("3-4-5", peak=0.3)]
)


def steps(rig: Rig) -> st.SearchStrategy[Step]:
    milliseconds = st.integers(0, 900)
    choices: list[st.SearchStrategy[Step]] = [st.builds(Hold, milliseconds)]
    for output in rig.outputs:
        name = st.just(output.name)
        if isinstance(output, Servo):
            choices.append(st.builds(Move, name, st.floats(*output.travel_deg), milliseconds, laws))
        elif isinstance(output, Lamp):
            choices.append(st.builds(Fade, name, st.floats(0, 100), milliseconds))
            kinds = st.sampled_from(["breathe", "ember", "sparkle", "run", "steady"])
            choices.append(st.builds(Effect, name, kinds, st.integers(40, 900)))
        elif isinstance(output, Strip):
            light = st.builds(StripLight, st.tuples(*[st.integers(0, 255)] * 3), st.floats(0, 100))
            choices.append(st.builds(Fade, name, light, milliseconds))
        else:
            choices.append(st.builds(Throw, name, st.booleans()))
    # a pause in each body keeps endless repeats from spinning
    body = st.lists(st.one_of(choices), min_size=1, max_size=3).map(
        lambda inner: InTurn((*inner, Hold(100)))
    )
    return st.one_of(
        body,
        st.builds(Repeat, body, st.none() | st.integers(0, 3), st.booleans()),
        st.builds(Together, st.lists(body, min_size=1, max_size=2).map(tuple), milliseconds),
    )


@st.composite
def shows(draw: st.DrawFn) -> Show:
    outputs = [draw(servos(f"s{n}", n)) for n in range(draw(st.integers(0, 2)))]
    outputs += draw(
        st.lists(st.sampled_from([Lamp("l", "b", 9), Strip("t", "b", 8, 5)]), max_size=1)
    )
    outputs += draw(st.lists(st.just(Switch("w", "b", 7, current_a=0.3)), max_size=1))
    supply = draw(st.none() | supplies)
    wire = draw(st.none() | st.builds(Wire, st.floats(0.0, 5.0), st.integers(10, 30)))
    board = Board("b", "atmega328p", 1, None if supply is None else "p", wire)
    wearer = Wearer(draw(st.floats(0, 180)), None, 25.0, draw(st.floats(0.0, 0.6)))
    rig = Rig(() if supply is None else (supply,), (board,), tuple(outputs), (), wearer)
    bodies_ = draw(st.lists(steps(rig), max_size=3))
    conflicts = st.sampled_from(["take", "wait", "refuse"])
    cues = tuple(Cue(f"c{n}", "", body, draw(conflicts)) for n, body in enumerate(bodies_))
    usage = tuple(Usage(cue.name, 30.0) for cue in cues[: draw(st.integers(0, 2))])
    idle = (cues[0].name,) if cues and draw(st.booleans()) else ()
    return Show(
        rig, Score("s", cues, idle=idle, usage=usage, run_time_h=draw(st.none() | st.just(2.0)))
    )


def numbers(value: object) -> list[float]:
    if isinstance(value, dict):
        return [n for inner in value.values() for n in numbers(inner)]
    if isinstance(value, list | tuple):
        return [n for inner in value for n in numbers(inner)]
    return [float(value)] if isinstance(value, float) else []


def flashes(show: Show) -> list[object]:
    eye = Eye(show)
    found: list[object] = [one.found for cue in show.score.cues for one in eye.flashes(cue)]
    return found + [one.found for one in light_interruptions(eye, show.score.cues)]


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(shows())
def test_every_question_about_any_show_gets_numbers(show: Show) -> None:
    volts = lowest_voltages(show)
    assert all(np.isfinite(v) and v >= 0.0 for v in volts.values())
    answers: list[object] = [*sags(show), *start_sags(show), *heats(show), *flashes(show)]
    answers += [*interruptions(show, volts), size(show)]
    for output in show.rig.outputs:
        if isinstance(output, Servo):
            found = pinch(output, highest_v(show.rig, "b"), 200.0)
            answers += [found] if found is not None else []
    for answer in answers:
        assert not any(map(isnan, numbers(asdict(answer)))), answer  # type: ignore[call-overload]
