"""Shows for the tests of scores and rehearsals, written out and at random."""

from __future__ import annotations

from hypothesis import strategies as st

from sim.model import (
    Binding,
    Board,
    CalibrationPoint,
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Law,
    Move,
    Press,
    Rating,
    Repeat,
    Rig,
    Score,
    Servo,
    Show,
    Step,
    Strip,
    StripLight,
    Switch,
    Throw,
    Together,
)
from sim.score.laws import LAW_NAMES

RATING = Rating(6.0, 400.0, 1.0, 2.0)

JAW = Servo(
    name="jaw",
    board="head",
    pin=1,
    points=(CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0)),
    travel_deg=(2.0, 55.0),
    ratings=(RATING,),
    safe_deg=4.0,
)
FIN = Servo(
    name="fin",
    board="head",
    pin=2,
    points=(
        CalibrationPoint(-45.0, 2000.0),
        CalibrationPoint(0.0, 1480.0),
        CalibrationPoint(45.0, 1000.0),
    ),
    travel_deg=(-35.0, 35.0),
    ratings=(RATING,),
)
LURE = Lamp("lure", "head", 22, safe_pct=5.0)
BELLY = Strip("belly", "head", 23, pixels=7, safe=StripLight((0, 48, 160), 20.0))
FAN = Switch("fan", "head", 13)
TAIL = Servo(
    name="tail",
    board="back",
    pin=1,
    points=(CalibrationPoint(-60.0, 1000.0), CalibrationPoint(60.0, 2000.0)),
    travel_deg=(-50.0, 50.0),
    ratings=(RATING,),
    safe_deg=-10.0,
)
EYE = Lamp("eye", "back", 22)

HEAD = Board("head", "atmega328p", 1)
BACK = Board("back", "atmega328p", 2)


def move(output: str, angle: float, ms: int = 1000, law: str = "3-4-5") -> Move:
    return Move(output, angle, ms, Law(law, *_parameters(law)))


def _parameters(law: str) -> tuple[float, float]:
    return (0.3 if law in ("trapezoid", "double-S") else 0.0), (0.2 if law == "double-S" else 0.0)


def show_of(*cues: Cue, **score: object) -> Show:
    """A show on one board, with buttons 1, 2, .. for the cues unless bindings are given."""
    bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    whole = Score("Test", cues, **{"bindings": bindings, "stop_button": 30, **score})  # type: ignore[arg-type]
    return Show(Rig(boards=(HEAD,), outputs=(JAW, FIN, LURE, BELLY, FAN)), whole)


# -- at random ----------------------------------------------------------------------------------

_RANGES = {"jaw": (2, 55), "fin": (-35, 35), "tail": (-50, 50)}
_SERVOS = tuple(_RANGES)


@st.composite
def _moves(draw: st.DrawFn, names: tuple[str, ...], laws: tuple[str, ...]) -> Move:
    name = draw(st.sampled_from(names))
    law = Law(
        draw(st.sampled_from(laws)),  # type: ignore[arg-type]
        draw(st.floats(0.05, 0.5)),
        draw(st.floats(0.05, 0.5)),
    )
    angle = draw(st.integers(*_RANGES[name])) + draw(st.sampled_from((0.0, 0.0, 0.25, -0.5)))
    low, high = _RANGES[name]
    return Move(name, min(max(angle, low), high), draw(st.integers(2, 150)) * 10, law)


_lights = st.builds(
    StripLight, st.tuples(*[st.integers(0, 255)] * 3), st.integers(0, 200).map(lambda n: n / 2)
)
_levels = st.integers(0, 200).map(lambda n: n / 2)
_fades = st.one_of(
    st.builds(Fade, st.sampled_from(("lure", "eye")), _levels, st.integers(0, 2000)),
    st.builds(Fade, st.just("belly"), _lights, st.integers(0, 2000)),
    st.builds(Fade, st.just("lure"), _levels, st.integers(1, 900), st.just(Law("cycloidal"))),
)
_effects = st.builds(
    Effect,
    st.sampled_from(("lure", "belly", "eye")),
    st.sampled_from(("steady", "breathe", "ember", "sparkle", "run")),
    st.integers(40, 3000),
    _levels,
    st.integers(0, 255),
    st.integers(1, 30),
)
_throws = st.builds(Throw, st.just("fan"), st.booleans())
_holds = st.builds(Hold, st.integers(1, 900))


def steps(names: tuple[str, ...] = _SERVOS, laws: tuple[str, ...] = LAW_NAMES) -> st.SearchStrategy:
    """A step of a cue; its repeats nest at most twice, so that boards can run it."""

    def wider(inner: st.SearchStrategy[Step]) -> st.SearchStrategy[Step]:
        rows = st.lists(inner, min_size=1, max_size=4).map(tuple)
        # a hold in the body keeps a repeat from spinning without taking time
        bodies = inner.map(lambda step: InTurn((step, Hold(30))))
        return st.one_of(
            st.builds(InTurn, rows),
            st.builds(Together, rows, st.sampled_from((0, 0, 120))),
            st.builds(Repeat, bodies, st.integers(1, 3)),
        )

    leaves = st.one_of(_moves(names, laws), _moves(names, laws), _fades, _effects, _throws, _holds)
    return st.recursive(leaves, wider, max_leaves=7)


@st.composite
def shows(draw: st.DrawFn, laws: tuple[str, ...] = LAW_NAMES) -> Show:
    """Two boards, up to five cues, idle and a lost cue among them."""
    names = [f"cue_{n}" for n in range(draw(st.integers(1, 5)))]
    cues = []
    for name in names:
        body = draw(steps(laws=laws))
        if draw(st.integers(0, 5)) == 0:
            body = Repeat(InTurn((body, Hold(50))), None, while_held=True)
        cues.append(Cue(name, "", body, draw(st.sampled_from(("take", "take", "wait", "refuse")))))
    idle: tuple[str, ...] = ()
    if draw(st.booleans()):
        idle = ("idle",)
        cues.append(Cue("idle", "", Repeat(InTurn((draw(steps(laws=laws)), Hold(50))), None)))
    bindings = tuple(Binding(n, name, draw(st.booleans())) for n, name in enumerate(names, start=1))
    lost = draw(st.sampled_from((None, names[0])))
    score = Score(
        "At random",
        tuple(cues),
        bindings,
        stop_button=30,
        lost_ms=None if lost is None else draw(st.integers(100, 2000)),
        lost_cue=lost,
        idle=idle,
        stop_ms=draw(st.integers(20, 2000)),
    )
    stated = draw(st.sampled_from((None, 300.0, 5000.0)))
    outputs = (
        _with_acceleration(JAW, stated),
        _with_acceleration(FIN, draw(st.sampled_from((None, 900.0)))),
        LURE,
        BELLY,
        FAN,
        TAIL,
        EYE,
    )
    return Show(Rig(boards=(HEAD, BACK), outputs=outputs), score)


def _with_acceleration(servo: Servo, limit: float | None) -> Servo:
    from dataclasses import replace

    return replace(servo, accel_deg_s2=limit)


@st.composite
def rehearsals(draw: st.DrawFn, show: Show, length_ms: int) -> list[Press]:
    """Presses at any time: buttons, cues by name, now and then stop, limp and standby."""
    buttons = [binding.button for binding in show.score.bindings]
    names = [cue.name for cue in show.score.cues]
    times = st.integers(0, length_ms)
    one = st.one_of(
        st.builds(Press, times, button=st.sampled_from(buttons), held_ms=st.integers(1, 3000)),
        st.builds(Press, times, button=st.sampled_from(buttons), held_ms=st.integers(1, 300)),
        st.builds(Press, times, cue=st.sampled_from(names)),
    )
    rare = st.builds(Press, times, action=st.sampled_from(("stop", "limp", "standby", "standby")))
    presses = draw(st.lists(one, min_size=1, max_size=14))
    return presses + draw(st.one_of(st.just([]), st.lists(rare, max_size=5)))
