"""Any show, written as text and loaded, is the same show."""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate

from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from seqlang.loading import load_text
from seqlang.meaning.rig import MOST_AH
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.text.source import Source
from sim import model
from sim.model import Rig, Score, Show
from sim.rig.regions import REGIONS
from sim.rig.slide import PINION_M, ratio_of
from sim.rulebook import PEAK_SHARES, STOP_STEP_MS
from sim.score.tree import walk
from sim.strain.coupling import coupled_show

NAMES = st.text("abcdefghijklmnopqrstuvwxyz_", min_size=4, max_size=8).map(lambda n: n + "_x")
TITLES = st.text(st.characters(blacklist_categories=("C", "Zl", "Zp"), blacklist_characters='"'))
POSITIVE = st.floats(1e-6, 1e6)
CURRENTS = st.floats(1e-6, 1000)
ANGLES = st.integers(-32000, 32000).map(lambda n: n / 100)
LEVELS = st.integers(0, 200).map(lambda n: n / 2)
COLOURS = st.tuples(*[st.integers(0, 255)] * 3)
PINS = st.sampled_from(sorted(ATMEGA328P.pins.values()))
SHARES = st.floats(1e-3, 0.5)
MS = st.integers(1, 86_400_000)


def laws() -> st.SearchStrategy[model.Law]:
    plain = ("uniform", "parabolic", "harmonic", "cycloidal", "3-4-5", "4-5-6-7")
    even = st.one_of(
        st.sampled_from([*plain, "modified sine", "modified trapezoid"]).map(model.Law),
        SHARES.map(lambda alpha: model.Law("trapezoid", alpha)),
        st.tuples(SHARES, SHARES).map(lambda two: model.Law("double-S", *two)),
    )
    peaks = st.just(0.5) | st.floats(*PEAK_SHARES)
    return st.builds(
        lambda law, peak: law if law.name == "uniform" else replace(law, peak=peak), even, peaks
    )


def strip_lights() -> st.SearchStrategy[model.StripLight]:
    return st.one_of(st.just(model.BLACK), st.builds(model.StripLight, COLOURS, LEVELS))


@st.composite
def loads(draw: st.DrawFn) -> model.Load:
    offset, start = st.floats(-360, 360), st.floats(-10, 10)
    bodies = st.one_of(
        st.builds(model.PointMass, POSITIVE, st.floats(0, 10), offset),
        st.builds(model.Rod, POSITIVE, POSITIVE, start, offset),
        st.builds(model.Plate, POSITIVE, POSITIVE, POSITIVE, start, offset, st.booleans()),
        st.builds(model.Box, POSITIVE, POSITIVE, POSITIVE, POSITIVE, start, offset),
    )
    return model.Load(
        tuple(draw(st.lists(bodies, max_size=3))),
        draw(offset),
        draw(st.sampled_from(["level", "upright"])),
        tuple(draw(st.lists(st.builds(model.Spring, POSITIVE, offset), max_size=2))),
        draw(st.floats(0, 10)),
        draw(st.booleans()),
    )


def drives() -> st.SearchStrategy[model.Drive]:
    angle = st.floats(-360, 360)
    return st.one_of(
        st.floats(0.01, 1000).map(model.Gear),
        st.builds(model.LeverPair, POSITIVE, POSITIVE, st.none() | angle),
        st.builds(model.FourBar, *[POSITIVE] * 4, angle, st.booleans()),
    )


@st.composite
def servos(draw: st.DrawFn, name: str, board: str) -> model.Servo:
    low, high = sorted(draw(st.lists(ANGLES, min_size=2, max_size=2, unique=True)))
    angles = sorted(draw(st.lists(ANGLES, min_size=2, max_size=5, unique=True)))
    pulses = st.floats(400, 2600)
    volts = sorted(draw(st.lists(POSITIVE, min_size=1, max_size=2, unique=True)))
    limits = sorted(draw(st.lists(pulses, min_size=2, max_size=2, unique=True)))
    return model.Servo(
        name,
        board,
        draw(PINS),
        tuple(model.CalibrationPoint(a, draw(pulses)) for a in angles),
        (low, high),
        tuple(
            model.Rating(
                v, draw(POSITIVE), draw(POSITIVE), draw(CURRENTS), draw(st.none() | st.floats(0, 9))
            )
            for v in volts
        ),
        load=draw(loads()),
        drive=draw(drives()),
        safe_deg=draw(ANGLES),
        accel_deg_s2=draw(st.none() | POSITIVE),
        idle_a=draw(st.floats(0, 10)),
        dead_band_us=draw(st.floats(0, 100)),
        pulse_range_us=(limits[0], limits[1]),
        tip_m=draw(st.none() | POSITIVE),
        rotor_kg_m2=draw(st.floats(0, 10)),
        drive_efficiency=draw(st.just(1.0) | st.floats(0.01, 1)),
        backlash_deg=draw(st.floats(0, 10)),
        grip=draw(st.none() | grips((low, high))),
        **draw(nips()),
    )


def grips(travel_deg: tuple[float, float]) -> st.SearchStrategy[model.Grip]:
    """With a force at a distance, or with all that the servo has."""
    met = (st.sampled_from(travel_deg), st.sampled_from([-1, 1]), st.floats(0.001, 3600))
    return st.builds(model.Grip, *met) | st.builds(model.Grip, *met, POSITIVE, POSITIVE)


def nips() -> st.SearchStrategy[dict[str, object]]:
    edge = st.none() | st.tuples(POSITIVE, POSITIVE)
    stated = st.fixed_dictionaries({"nip_m": POSITIVE, "nip_edge_m": edge})
    return st.just({}) | stated


@st.composite
def rods(draw: st.DrawFn, name: str, board: str) -> model.Servo:
    """A servo that pushes along a line, or a hinged part by a ram."""
    one = draw(servos(name, board))
    ratings = tuple(replace(r, no_load_a=None) for r in one.ratings)
    one = replace(one, ratings=ratings, linear=True, mount=None)
    if draw(st.booleans()):
        ram = model.Ram(draw(POSITIVE), draw(POSITIVE), draw(st.floats(-360, 360)))
        return replace(one, drive=ram, drive_efficiency=draw(st.just(1.0) | st.floats(0.01, 1)))
    slide = model.Slide(draw(st.just(0.0) | POSITIVE), draw(st.floats(-90, 90)))
    load = replace(one.load, bodies=(), slide=slide, level_deg=0.0, axis="level", lowers=False)
    grip = one.grip and replace(one.grip, at_m=PINION_M if one.grip.force_n else 0.0)
    winds = draw(st.none() | st.builds(model.Drum, POSITIVE) | st.builds(model.Rack, POSITIVE))
    gear = model.Gear(draw(st.floats(0.01, 1000)) if winds is None else ratio_of(winds))
    gear = replace(gear, winds=winds)
    one = replace(one, linear=winds is None)
    return replace(one, load=load, drive=gear, grip=grip, tip_m=None, nip_m=None, nip_edge_m=None)


@st.composite
def rotors(draw: st.DrawFn, name: str, board: str) -> model.Servo:
    """A servo that turns its part round and round; it can stand still."""
    one = draw(servos(name, board))
    places = sorted({0.0, *(point.angle_deg for point in one.points)})
    points = tuple(model.CalibrationPoint(place, draw(st.floats(400, 2600))) for place in places)
    load = replace(one.load, level_deg=0.0, springs=(), lowers=False, spins=True)
    low, high = one.travel_deg
    return replace(
        one,
        points=points,
        travel_deg=(min(low, 0.0), max(high, 0.01)),
        load=load,
        drive=model.Gear(draw(st.floats(0.01, 1000))),
        accel_deg_s2=None,
        backlash_deg=0.0,
        grip=None,
        nip_m=None,
        nip_edge_m=None,
    )


@st.composite
def outputs(draw: st.DrawFn, name: str, board: str) -> model.Output:
    pin = draw(PINS)
    kind = draw(st.integers(0, 5))
    if kind == 5:
        return draw(rotors(name, board))
    if kind == 4:
        return draw(rods(name, board))
    if kind == 0:
        return draw(servos(name, board))
    if kind == 1:
        count = draw(st.integers(1, 50))
        return model.Lamp(
            *(name, board, pin, draw(POSITIVE), draw(POSITIVE), count, draw(COLOURS)),
            safe_pct=draw(LEVELS),
            trims=draw(trims(1)),
        )
    if kind == 2:
        order = draw(st.sampled_from(["rgb", "rbg", "grb", "gbr", "brg", "bgr"]))
        pixels, cap = draw(st.integers(1, 100)), draw(st.none() | POSITIVE)
        return model.Strip(
            *(name, board, pin, pixels, order, draw(POSITIVE), cap, draw(strip_lights())),
            pitch_m=draw(POSITIVE),
            shifter=draw(st.booleans()),
            feed_v=draw(st.sampled_from([None, 5.0, 3.7])),
            trims=draw(trims(3)),
        )
    return model.Switch(
        name, board, pin, draw(st.booleans()), draw(st.booleans()), draw(st.floats(0, 10))
    )


def trims(channels: int) -> st.SearchStrategy[tuple[float, ...]]:
    """None where all the light is given."""
    shares = st.integers(3, 256).map(lambda steps: steps / 256)
    row = st.tuples(*[shares] * channels)
    return st.just(()) | row.filter(lambda made: min(made) < 1.0)


def fuses() -> st.SearchStrategy[tuple[object, ...]]:
    kind = st.sampled_from(["blade", "UL fast", "UL slow", "IEC fast", "IEC slow"])
    return st.just((None,)) | st.tuples(POSITIVE, kind)


def wires() -> st.SearchStrategy[model.Wire]:
    gauge, bundled = st.integers(0, 40), st.integers(1, 100)
    strands = st.tuples(st.integers(1, 1000), gauge)
    return st.one_of(
        st.builds(model.Wire, POSITIVE, gauge, st.none(), st.booleans(), bundled),
        st.builds(model.Wire, POSITIVE, gauge, strands, st.just(False), bundled),
    )


@st.composite
def rigs(draw: st.DrawFn, names: list[str]) -> Rig:
    source = st.one_of(
        st.builds(model.Adapter, POSITIVE, POSITIVE),
        st.builds(
            model.Cells,
            st.sampled_from(["li-ion", "lipo", "lifepo4", "nimh", "alkaline"]),
            st.integers(1, 20),
            st.floats(0.001, MOST_AH),
            st.integers(1, 9),
            st.none() | st.floats(0, 100),
        ),
    )
    on_board = st.builds(model.OnBoard, POSITIVE, st.floats(0, 9))
    regulator = st.builds(model.Regulator, POSITIVE, POSITIVE, st.floats(0, 9), st.floats(0.01, 1))
    supply = model.Supply(names[0], draw(source), draw(st.none() | regulator), *draw(fuses()))
    board = model.Board(
        names[1],
        ATMEGA328P.name,
        draw(st.integers(1, 254)),
        names[0],
        draw(st.none() | wires()),
        electrics=ATMEGA328P.electrics,
        logic=draw(st.none() | st.just(model.Direct()) | on_board),
        joins=ATMEGA328P.joins,
    )
    inputs = st.lists(
        st.builds(model.Input, st.integers(1, 31), st.just(names[1]), PINS, st.booleans()),
        max_size=3,
    )
    wearer = st.builds(
        model.Wearer,
        st.floats(0, 180),
        st.sampled_from([None, *REGIONS]),
        st.floats(-40, 85),
        st.floats(0, 0.9),
        st.sampled_from(["stands", "walks", "dances", "jumps"]),
        st.floats(0, 24),
        st.floats(0.05, 1000.0),
    )
    made = [draw(outputs(name, names[1])) for name in names[2:6]]
    mounted(draw, made)
    return Rig((supply,), (board,), tuple(made), tuple(draw(inputs)), draw(wearer))


def mounted(draw: st.DrawFn, made: list[model.Output]) -> None:
    """Lets some of the servos with hinges or lines stand on such servos before them."""
    places = [
        n
        for n, output in enumerate(made)
        if isinstance(output, model.Servo) and not output.load.spins
    ]
    servos_made = [one.name for one in made if isinstance(one, model.Servo)]
    for n, light in enumerate(made):
        if isinstance(light, model.Lamp | model.Strip) and servos_made and draw(st.booleans()):
            at_m = draw(st.none() | st.floats(0, 10))
            seat = model.LightPlace(draw(st.sampled_from(servos_made)), at_m)
            made[n] = replace(light, rides=seat)
    # parts that slide and turned hinge lines do not go together
    flat = any(isinstance(made[n], model.Servo) and made[n].load.slide for n in places)  # type: ignore[union-attr]
    across = st.just(0.0) if flat else ANGLES
    for n, carriers in zip(places[1:], accumulate([p] for p in places), strict=False):
        on = draw(st.none() | st.sampled_from([made[p].name for p in carriers]))
        servo = made[n]
        assert isinstance(servo, model.Servo)
        if on is not None:
            turn = ANGLES if servo.load.slide is None else st.just(0.0)
            numbers = (st.floats(0, 10), ANGLES, turn, st.floats(0, 10), across)
            mount = model.Mount(on, *(draw(number) for number in numbers))
            load = replace(servo.load, level_deg=0.0, axis="level")
            made[n] = replace(servo, mount=mount, load=load)


def steps(rig: Rig) -> st.SearchStrategy[model.Step]:
    kinds: list[st.SearchStrategy[model.Step]] = [st.builds(model.Hold, MS)]
    for output in rig.outputs:
        name = st.just(output.name)
        if isinstance(output, model.Servo):
            kinds.append(st.builds(model.Move, name, ANGLES, MS, laws()))
        elif isinstance(output, model.Switch):
            kinds.append(st.builds(model.Throw, name, st.booleans()))
        else:
            light = LEVELS if isinstance(output, model.Lamp) else strip_lights()
            kinds.append(st.builds(model.Fade, name, light, MS, laws()))
            effect = st.sampled_from(["breathe", "ember", "sparkle", "run"])
            numbers = (st.integers(40, 65535), LEVELS, st.integers(0, 255), st.integers(1, 100))
            kinds.append(st.builds(model.Effect, name, effect, *numbers))
            kinds.append(name.map(lambda n: model.Effect(n, "steady")))
    return st.recursive(st.one_of(kinds), _blocks, max_leaves=12)


def _blocks(inner: st.SearchStrategy[model.Step]) -> st.SearchStrategy[model.Step]:
    several = st.lists(inner, min_size=1, max_size=3).map(tuple)
    turn = several.map(model.InTurn)
    return st.one_of(
        turn,
        st.builds(model.Together, several, st.just(0) | st.integers(1, 5000)),
        st.builds(model.Repeat, turn, st.none()),
        turn.map(lambda body: model.Repeat(body, None, while_held=True)),
        # A counted repeat runs for at most a day; the check of that is not the subject here.
        st.builds(model.Repeat, st.just(model.InTurn((model.Hold(5),))), st.integers(1, 65534)),
    )


@st.composite
def shows(draw: st.DrawFn) -> Show:
    names = draw(st.lists(NAMES, min_size=9, max_size=9, unique=True))
    rig = draw(rigs(names))
    body = st.lists(steps(rig), min_size=1, max_size=4).map(lambda s: model.InTurn(tuple(s)))
    cues = tuple(
        model.Cue(name, draw(TITLES), draw(body), draw(st.sampled_from(["take", "wait", "refuse"])))
        for name in names[6:]
    )
    no_hands = body.filter(lambda s: not any(getattr(one, "while_held", False) for one in walk(s)))
    cues = tuple(
        one
        for cue in cues
        for one in (
            (
                replace(cue, let_go=model.part_name(cue.name)),
                model.Cue(model.part_name(cue.name), "", draw(no_hands)),
            )
            if draw(st.booleans())
            else (cue,)
        )
    )
    some = st.sampled_from(names[6:])
    bindings = draw(
        st.lists(st.builds(model.Binding, st.integers(1, 31), some, st.booleans()), max_size=3)
    )
    lost = draw(st.booleans())
    usage = [model.Usage(n, draw(st.floats(0, 1e5))) for n in draw(st.sets(some))]
    score = Score(
        draw(TITLES),
        cues,
        tuple(bindings),
        draw(st.none() | st.integers(1, 31)),
        draw(st.integers(100, 90_000)) if lost else None,
        draw(some) if lost else None,
        idle := tuple(draw(st.lists(some, max_size=2, unique=True))),
        draw(st.integers(0, 255)) * STOP_STEP_MS if idle else Score("").glide_ms,
        draw(st.integers(20, 90_000)),
        tuple(usage),
        draw(st.none() | POSITIVE),
    )
    return coupled_show(Show(rig, score))


@settings(max_examples=120)
@given(shows())
def test_a_show_written_as_text_and_loaded_is_the_same_show(show: Show) -> None:
    found = load_text(Source("x.cues", text_of(show)))
    assert found.findings == ()
    assert found.show is not None
    assert without_marks(found.show) == show


@settings(max_examples=40)
@given(shows())
def test_writing_a_loaded_show_again_gives_the_same_text(show: Show) -> None:
    first = text_of(show)
    again = load_text(Source("x.cues", first)).show
    assert again is not None
    assert text_of(again) == first


@settings(max_examples=40)
@given(shows())
def test_every_value_of_a_loaded_show_knows_its_place(show: Show) -> None:
    text = text_of(show)
    found = load_text(Source("x.cues", text))
    assert len(found.origins) > 0
    for mark in found.origins:
        origin = found.origins[mark]
        assert 0 <= origin.span.start < origin.span.end <= len(text)
        for _, span in origin.parts:
            assert 0 <= span.start < span.end <= len(text)
