"""The integer player against the rehearsal: planned alike to the bit, shown within one tick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings

import shows
from firmware_gen.chips import CHIPS
from seqlang.loading import load
from sim.model import (
    Binding,
    Board,
    CalibrationPoint,
    Channel,
    Cue,
    Effect,
    Fade,
    Follow,
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
    Sensor,
    Servo,
    Show,
    Step,
    Strip,
    StripLight,
    Switch,
    Throw,
    Together,
    part_name,
)
from sim.rehearsal.run_through import run_through
from tests.firmware_gen.random_tables import dices
from tests.sim.played_both_ways import compare

TICK_US = 0.5
SHOWS = sorted(Path(shows.__file__).parent.glob("*/*.cues"))


def demo(path: Path) -> Show:
    show = load(path).show
    assert show is not None
    return show


def random_presses(dice: Random, show: Show, length_ms: int) -> tuple[Press, ...]:
    """Anything that may happen in a performance, at any millisecond."""
    cues = [cue.name for cue in show.score.cues]
    buttons = [binding.button for binding in show.score.bindings]
    presses: list[Press] = []
    at = dice.randint(0, 1500)
    while at < length_ms:
        kind = dice.random()
        if kind < 0.5 or not buttons:
            presses.append(Press(at, cue=dice.choice(cues)))
        elif kind < 0.94:
            held = dice.choice((20, 100, 700, 2500))
            presses.append(Press(at, button=dice.choice(buttons), held_ms=held))
        else:
            presses.append(Press(at, action=dice.choice(("stop", "stop", "limp"))))
            at += dice.choice((30, 700, 2500))
            presses.append(Press(at, action="standby"))
        at += dice.choice((7, 60, 230, 800, 2500))
    return tuple(presses)


def agree(show: Show, presses: tuple[Press, ...], length_ms: int) -> bool:
    """Player and rehearsal through the same presses: within a tick, and the same outputs on."""
    found = compare(show, presses, length_ms)
    assert found.at == []
    assert found.pulse_us <= TICK_US
    return found.lamp < 0.01 and found.strip < 0.02


@pytest.mark.parametrize("path", SHOWS, ids=[path.stem for path in SHOWS])
def test_every_cue_of_a_demo_show_plays_as_rehearsed(path: Path) -> None:
    show = demo(path)
    whole = run_through(show)
    assert agree(show, whole.presses, whole.length_ms)


@pytest.mark.parametrize("path", SHOWS, ids=[path.stem for path in SHOWS])
@given(dice=dices())
@settings(max_examples=12)
def test_demo_cues_that_interrupt_one_another_play_as_rehearsed(path: Path, dice: Random) -> None:
    show = demo(path)
    assert agree(show, random_presses(dice, show, 20_000), 20_500)


@given(dices())
@settings(max_examples=60)
def test_random_shows_play_as_rehearsed(dice: Random) -> None:
    show = random_show_with_strands(dice)
    assert agree(show, random_presses(dice, show, 8_000), 8_500)


def test_a_lamp_under_run_is_as_light_as_rehearsed() -> None:
    """Found by the long run: 0.01007 of full light from the ideal."""
    run = Effect("lamp", "run", 333, 70.0, 126, 3)
    cue = Cue("shine", "", InTurn((run, Fade("lamp", 100.0, 20), Hold(6000))))
    rig = Rig(boards=(Board("b", "atmega328p", 1),), outputs=(Lamp("lamp", "b", 22),))
    found = compare(Show(rig, Score("lamp", (cue,))), (Press(500, cue="shine"),), 6000)
    assert found.lamp < 0.001


def test_a_move_taken_over_just_before_the_end_of_travel_starts_as_rehearsed() -> None:
    """A position rounded onto the end of travel left no room for a brake of 0.3 ms: 0.576 us."""
    dice = Random(223)
    show = random_show(dice, (Law("double-S", 1 / 3, 1 / 4),))
    assert agree(show, random_presses(dice, show, 12_000), 12_500)


def test_stretched_moves_end_when_the_board_ends_them() -> None:
    """Planned in real numbers, moves ended 12/256 ms apart; at 675 deg/s that was 0.598 us."""
    dice = Random(1510501)
    show = random_show(dice)
    assert agree(show, random_presses(dice, show, 12_000), 12_500)


@given(dices())
@settings(max_examples=60)
def test_outputs_that_follow_sticks_and_voices_play_as_rehearsed(dice: Random) -> None:
    show = random_show_with_follows(dice)
    presses = (*random_presses(dice, show, 8_000), *random_values(dice, show, 8_000))
    assert agree(show, presses, 8_500)


@pytest.mark.long
@given(dices())
@settings(max_examples=2000)
def test_many_outputs_that_follow_play_as_rehearsed(dice: Random) -> None:
    show = random_show_with_follows(dice)
    presses = (*random_presses(dice, show, 12_000), *random_values(dice, show, 12_000))
    assert agree(show, presses, 12_500)


@pytest.mark.long
@given(dices())
@settings(max_examples=3000)
def test_many_random_shows_play_as_rehearsed(dice: Random) -> None:
    show = random_show_with_strands(dice)
    assert agree(show, random_presses(dice, show, 12_000), 12_500)


# -- random shows ------------------------------------------------------------------------------

LAWS = (
    *(Law(name) for name in ("3-4-5", "harmonic", "cycloidal", "4-5-6-7", "parabolic")),
    Law("modified sine"),
    Law("modified trapezoid"),
    Law("trapezoid", 0.25),
    Law("trapezoid", 0.4),
    Law("double-S", 0.4, 0.3),
    Law("double-S", 0.1, 0.5),
    Law("double-S", 1 / 3, 1 / 4),
    Law("3-4-5", peak=0.3),
    Law("cycloidal", peak=0.74),
    Law("parabolic", peak=0.26),
    Law("double-S", 0.4, 0.3, 0.6),
)


_Outputs = tuple[Servo | Lamp | Strip | Switch, ...]


def random_show(dice: Random, laws: Sequence[Law] = LAWS) -> Show:
    """A show of one or two boards whose cues nest in any way that a table holds.

    Moves are no faster than servos are (700 deg/s).
    """
    boards = ("left", "right")[: dice.choice((1, 1, 2))]
    outputs = tuple(_output(dice, number, dice.choice(boards)) for number in range(5))
    names = [f"cue{number}" for number in range(dice.randint(2, 4))]
    cues = tuple(
        Cue(name, "", _step(dice, outputs, laws), dice.choice(("take", "take", "wait", "refuse")))
        for name in names
    )
    bindings = tuple(
        Binding(number + 1, name, dice.random() < 0.4) for number, name in enumerate(names)
    )
    score = Score(
        "random",
        _with_parts(dice, cues, outputs, laws),
        bindings,
        stop_button=9,
        idle=dice.choice(((), (names[0],))),
        stop_ms=dice.choice((200, 1500)),
    )
    rig = Rig(boards=tuple(Board(b, "atmega328p", n + 1) for n, b in enumerate(boards)))
    return Show(Rig(boards=rig.boards, outputs=outputs), score)


def random_show_with_strands(dice: Random) -> Show:
    """The same, every other time with two strands of idle, neither on an output of the other."""
    show = random_show(dice)
    other = Random(f"strands {dice.getstate()[1][:8]}")
    if other.random() < 0.5:
        return show
    outputs = other.sample(show.rig.outputs, len(show.rig.outputs))
    cut = other.randint(1, len(outputs) - 1)
    strands = tuple(
        Cue(name, "", _step(other, tuple(part), LAWS))
        for name, part in (("strand0", outputs[:cut]), ("strand1", outputs[cut:]))
    )
    score = replace(
        show.score,
        cues=(*show.score.cues, *strands),
        idle=tuple(strand.name for strand in strands),
        glide_ms=other.choice((0, 20, 300, 800, 5100)),
    )
    return replace(show, score=score)


def random_show_with_follows(dice: Random) -> Show:
    """The same on chips with senses, with a stick and a voice on each board that servos and lamps
    follow, some of them mixed with idle."""
    show = random_show_with_strands(dice)
    boards = tuple(replace(board, chip="atmega2560") for board in show.rig.boards)
    outputs = tuple(replace(one, pin=_PINS_2560[n]) for n, one in enumerate(show.rig.outputs))
    pins = (CHIP_2560.pin(name) for name in ("PL0", "PE7", "PL1"))
    channels = tuple(
        Channel(f"stick_{board.name}", board.name, pin, ())
        for board, pin in zip(boards, pins, strict=False)
    )
    sensors = tuple(
        Sensor(
            f"voice_{board.name}",
            *(board.name, CHIP_2560.pin("PF0"), dice.choice((0.0, 0.1))),
            *(dice.choice((0.0, 0.05)), dice.choice((0.0, 0.4))),
        )
        for board in boards
    )
    follows = tuple(
        _follow(dice, one)
        for one in outputs
        if isinstance(one, Servo | Lamp) and dice.random() < 0.8
    )
    rig = replace(
        show.rig,
        boards=boards,
        outputs=outputs,
        channels=channels,
        sensors=sensors,
        follows=follows,
    )
    return replace(show, rig=rig)


CHIP_2560 = CHIPS["atmega2560"]
_PINS_2560 = tuple(CHIP_2560.pin(name) for name in ("PA0", "PA1", "PA2", "PB4", "PA4"))


def _follow(dice: Random, one: Servo | Lamp) -> Follow:
    low, high = (0.0, 80.0) if isinstance(one, Servo) else (0.0, 100.0)
    sensed = dice.random() < 0.4
    values = (0.1, 0.7) if sensed else dice.choice(((1000.0, 2000.0), (1450.0, 1550.0)))
    ends = (dice.choice((low, 12.5, 33.33)), dice.choice((60.0, high)))
    return Follow(
        *(one.name, f"{'voice' if sensed else 'stick'}_{one.board}", *values),
        *(ends if dice.random() < 0.5 else ends[::-1]),
        way_ms=dice.choice((200, 500, 1500)),
        mixed=isinstance(one, Servo) and dice.random() < 0.5,
    )


def random_values(dice: Random, show: Show, length_ms: int) -> tuple[Press, ...]:
    """Hands on sticks, and voices: still for long, turned round in mid-way, off and on."""
    found: list[Press] = []
    for one in (*show.rig.channels, *show.rig.sensors):
        at = dice.randint(0, 3000)
        while at < length_ms:
            if isinstance(one, Sensor):
                value: float | None = dice.choice((0.0, 0.05, 0.4, 0.7, 1.0, dice.random()))
            else:
                value = dice.choice((None, 900.0, 1000.0, 1501.0, 2000.0, dice.uniform(900, 2100)))
            found.append(Press(at, source=one.name, value=value))
            at += dice.choice((20, 60, 60, 200, 300, 900, 2500))
    return tuple(found)


def _with_parts(
    dice: Random, cues: tuple[Cue, ...], outputs: _Outputs, laws: Sequence[Law]
) -> tuple[Cue, ...]:
    """The cues, some with a part for letting go; the dice themselves are thrown as without."""
    other = Random(str(dice.getstate()[1][:8]))
    found: list[Cue] = []
    for cue in cues:
        if other.random() < 0.4:
            part = Cue(part_name(cue.name), "", _step(other, outputs, laws))
            found += [replace(cue, let_go=part.name), part]
        else:
            found.append(cue)
    return tuple(found)


def _output(dice: Random, number: int, board: str) -> Servo | Lamp | Strip | Switch:
    name = f"out{number}"
    if number < 2 or dice.random() < 0.4:
        ends = dice.choice(((900.0, 2100.0), (2200.0, 800.0)))
        points = (CalibrationPoint(-10.0, ends[0]), CalibrationPoint(90.0, ends[1]))
        accel = dice.choice((None, None, 4000.0))
        return Servo(
            name,
            board,
            number,
            points,
            (0.0, 80.0),
            (Rating(6.0, 353.0, 0.9, 2.0),),
            safe_deg=dice.choice((0.0, 12.5)),
            accel_deg_s2=accel,
        )
    kind = dice.choice(("lamp", "strip", "switch"))
    if kind == "lamp" and number in (3,):
        return Lamp(name, board, 22, safe_pct=dice.choice((0.0, 20.0)))
    if kind == "strip" and number == 4:
        return Strip(name, board, 20, dice.choice((1, 8, 30)), dice.choice(("grb", "rgb")))
    return Switch(name, board, 8 + number)


def _step(dice: Random, outputs: _Outputs, laws: Sequence[Law], depth: int = 0) -> Step:
    kind = dice.random()
    if depth >= 4 or kind < 0.3:
        return _act(dice, outputs, laws)
    if kind < 0.38:
        return Hold(dice.choice((20, 150, 400, 333)))
    inside = tuple(_step(dice, outputs, laws, depth + 1) for _ in range(dice.randint(1, 3)))
    if kind < 0.65:
        return InTurn(inside)
    if kind < 0.85 or depth > 2:
        return Together(inside, dice.choice((0, 0, 80, 170)))
    body = InTurn((*inside, Hold(dice.choice((40, 200)))))
    return Repeat(body, dice.choice((2, 3)))


def _act(dice: Random, outputs: _Outputs, laws: Sequence[Law]) -> Step:
    output = dice.choice(outputs)
    duration = dice.choice((260, 333, 500, 815))
    match output:
        case Servo():
            law = dice.choice(laws)
            return Move(output.name, dice.choice((0.0, 12.5, 33.33, 60.0, 80.0)), duration, law)
        case Switch():
            return Throw(output.name, dice.random() < 0.5)
    if dice.random() < 0.3:
        name = dice.choice(("steady", "breathe", "ember", "sparkle", "run"))
        return Effect(output.name, name, dice.choice((100, 333)), 70.0, dice.randint(0, 255), 3)
    if isinstance(output, Lamp):
        return Fade(output.name, dice.choice((0.0, 35.5, 100.0)), duration)
    colour = dice.choice(((255, 80, 0), (0, 40, 255), (255, 255, 255)))
    return Fade(output.name, StripLight(colour, dice.choice((0.0, 40.0, 100.0))), duration)
