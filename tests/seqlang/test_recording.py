"""What was recorded by hand becomes a gesture that its servo and the show can do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from seqlang.check import check
from seqlang.loading import Loaded, load, load_string, load_text
from seqlang.recording import (
    FittedPart,
    Take,
    fitted_part,
    free_name,
    gesture_lines,
    tried,
    usual_tolerance,
    why_no_name,
    with_gesture,
)
from seqlang.text.source import Source
from sim.model import Hold, Law, Move, Servo
from sim.rig.standstill import pulse_us
from sim.score.laws import position
from tests.seqlang.flap_show import FLAP, SHOW
from tests.seqlang.show_text import servo

TEXT = SHOW.format(address=1, far=40)
Way = tuple[float, float, Law | None]
"""Where to, in how many seconds, by which law; None: it stands."""


@pytest.fixture
def show(tmp_path: Path) -> Loaded:
    path = tmp_path / "flap.cues"
    path.write_text(TEXT)
    return load(path)


def flap(loaded: Loaded) -> Servo:
    assert loaded.show is not None
    (one, *_) = [output for output in loaded.show.rig.outputs if isinstance(output, Servo)]
    return one


def take(one: Servo, start: float, *ways: Way, waits_s: float = 0.5) -> Take:
    """Pulses at every 40 ms of a part that goes these ways, and waits before and behind them."""
    times_s = np.arange(0.0, sum(way[1] for way in ways) + 2 * waits_s, 0.04)
    places, at_s, place = np.full(times_s.shape, start), waits_s, start
    for target, lasts_s, law in ways:
        if law is not None:
            after = times_s >= at_s
            places[after] = (
                place + (target - place) * position(law, (times_s - at_s) / lasts_s)[after]
            )
        at_s, place = at_s + lasts_s, target
    pulses = np.round(2.0 * (1000.0 + 1000.0 * places / 90.0)) / 2.0
    return Take(one.name, tuple(times_s.tolist()), tuple(pulses.tolist()))


def fitted(loaded: Loaded, *ways: Way, start: float = 10.0, waits_s: float = 0.5) -> FittedPart:
    one = flap(loaded)
    assert loaded.show is not None
    return fitted_part(loaded.show.rig, one, take(one, start, *ways, waits_s=waits_s), 1.5)


def test_a_take_becomes_the_moves_that_it_was_made_of(show: Loaded) -> None:
    part = fitted(show, (50.0, 2.0, Law()), (50.0, 1.0, None), (20.0, 1.5, Law()))
    assert part.told == ()
    assert [step for step in part.steps if isinstance(step, Hold)] == [Hold(1000)]
    moves = [step for step in part.steps if isinstance(step, Move)]
    assert [(move.angle_deg, move.duration_ms, move.law) for move in moves] == [
        (50.0, 2000, Law()),
        (20.0, 1500, Law()),
    ]


def test_what_went_beyond_the_travel_is_drawn_in_and_told(show: Loaded) -> None:
    part = fitted(show, (80.0, 2.0, Law()), (40.0, 2.0, Law()))
    assert "10.0 deg beyond the travel" in part.told[0]
    assert max(step.angle_deg for step in part.steps if isinstance(step, Move)) <= 70.0


@pytest.mark.parametrize(("beyond", "is_told"), [(0.0, False), (0.04, False), (0.09, True)])
def test_what_a_board_cannot_show_beyond_the_travel_is_not_told(
    beyond: float, is_told: bool, show: Loaded
) -> None:
    """A board makes pulses of half a microsecond, which is 0.045 deg here (TABLE.md 1.3)."""
    part = fitted(show, (70.0 + beyond, 2.0, Law()), (40.0, 2.0, Law()))
    told = ("the hand went 0.1 deg beyond the travel; the gesture goes to its end",) * is_told
    assert part.told == told
    assert max(step.angle_deg for step in part.steps if isinstance(step, Move)) <= 70.0


def test_a_take_that_went_beyond_stands_at_the_end_of_the_travel_meanwhile(show: Loaded) -> None:
    """Drawn in, it stands there for as long as it was beyond, and not a moment less."""
    one = flap(show)
    assert show.show is not None
    pulses = [1000.0 + 1000.0 * place / 90.0 for place in (10.0, 40.0, 75.0, 75.0, 75.0, 40.0)]
    part = fitted_part(show.show.rig, one, Take(one.name, (0, 1, 2, 3, 4, 5), tuple(pulses)), 1.5)
    assert part.told[0] == "the hand went 5.0 deg beyond the travel; the gesture goes to its end"
    stand = next(n for n, step in enumerate(part.steps) if isinstance(step, Hold))
    before = part.steps[stand - 1]
    assert isinstance(before, Move)
    assert before.angle_deg == pytest.approx(70.0, abs=0.5)
    assert part.steps[stand].duration_ms == pytest.approx(2000, abs=300)  # type: ignore[union-attr]
    assert part.motion.worst_miss <= 1.5


def test_a_move_that_is_too_quick_for_the_servo_lasts_longer_and_that_is_told(show: Loaded) -> None:
    part = fitted(show, (60.0, 0.1, Law("uniform")))
    (move,) = part.steps
    assert isinstance(move, Move)
    (stretch,) = part.motion.stretches
    assert move.duration_ms > stretch.duration_ms
    words = f"took {stretch.duration_ms} ms by hand; the servo needs {move.duration_ms} ms"
    assert words in part.told[0]


def test_the_gesture_stands_behind_the_text_which_is_not_changed(show: Loaded) -> None:
    assert show.show is not None
    part = fitted(show, (50.0, 2.0, Law("4-5-6-7")))
    lines = gesture_lines("nod", [part], show.show.rig)
    assert lines[0] == "gesture nod"
    assert lines[-1] == "    flap to 50 deg in 2000 ms, 4-5-6-7"
    assert all(line.startswith("    # by hand: flap from 10 deg") for line in lines[1:-1])
    text = with_gesture(TEXT, lines)
    assert text == TEXT + "\n" + "\n".join(lines) + "\n"
    again = load_string(text, "flap.cues")
    errors = [finding for finding in again.findings if finding.severity == "error"]
    assert errors == []


def test_a_text_with_tabs_without_an_end_or_with_a_gap_is_gone_on_with() -> None:
    lines = ("gesture nod", "    together", "        hold 1 s")
    assert with_gesture("a\n\tb\n", lines).endswith(
        "\tb\n\ngesture nod\n\ttogether\n\t\thold 1 s\n"
    )
    assert with_gesture("a", lines).startswith("a\n\ngesture nod\n    together\n")
    assert with_gesture("a\n\n", lines).startswith("a\n\ngesture nod\n")


def test_parts_that_were_recorded_one_after_another_move_together(tmp_path: Path) -> None:
    path = tmp_path / "both.cues"
    path.write_text(TEXT.replace("cue wave", servo("fin", "PB2", FLAP, "box") + "cue wave"))
    loaded = load(path)
    assert loaded.show is not None
    rig = loaded.show.rig
    one, other = [output for output in rig.outputs if isinstance(output, Servo)]
    parts = [
        fitted_part(rig, one, take(one, 10.0, (50.0, 2.0, Law())), 1.5),
        fitted_part(rig, other, take(other, 0.0, (30.0, 1.0, Law()), waits_s=1.2), 1.5),
    ]
    lines = gesture_lines("both", parts, rig)
    assert [line.strip() for line in lines[3:]] == [
        "together",
        "in turn",
        "hold 500 ms",
        "flap to 50 deg in 2000 ms",
        "in turn",
        "hold 1200 ms",
        "fin to 30 deg in 1000 ms",
    ]
    made = tried(loaded, "both", lines)
    assert made.wrong == ()


def test_what_the_show_asks_for_is_found_out_in_a_copy_that_plays_the_gesture(
    show: Loaded,
) -> None:
    """A first move may begin anywhere that the show leaves the part."""
    lines = ("gesture nod", "    flap to 20 deg in 60 ms", "    flap to 21 deg in 500 ms")
    before = dict(show.sources)
    made = tried(show, "nod", lines)
    assert made.wrong == ()
    ((was, is_now),) = made.longer
    assert was == lines[1].strip()
    assert made.lines == ("gesture nod", f"    {is_now}", lines[2])
    assert dict(show.sources) == before
    text = with_gesture(TEXT, made.lines).replace(
        'cue lift "', 'cue played\n    play nod\ncue lift "'
    )
    assert not check(load_string(text, "flap.cues")).failed


def test_what_no_remedy_mends_is_told(show: Loaded) -> None:
    lines = ("gesture nod", "    play nod")
    made = tried(show, "nod", lines)
    assert made.lines == lines
    assert [finding.name for finding in made.wrong] == ["cue-calls-itself"]


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("nod", ""),
        ("Nod_2", ""),
        ("wave", "the show has a cue or a gesture of that name"),
        ("gesture", "that is a word of the language"),
        ("2nod", "a name is letters"),
        ("no d", "a name is letters"),
        ("", "a name is letters"),
    ],
)
def test_a_gesture_has_a_name_that_is_free(show: Loaded, name: str, why: str) -> None:
    found = why_no_name(name, show)
    assert found.startswith(why)
    assert bool(found) == bool(why)


def test_a_name_is_found_where_none_is_given(show: Loaded) -> None:
    assert free_name(show) == "by_hand"
    assert free_name(show, "wave") == "wave_2"
    assert free_name(show, "wave", but="wave_2") == "wave_3"


SIDES = """supply pack
    source adapter 6 V, 10 A
mirror left, right
    board wing: atmega328p, address (left: 1, right: 2)
        feed pack
    lamp glow: wing pin PD6
    cue beat
        glow fade to 40 % in 1 s
    row of 2
        lamp dot: wing pin (PD3, PD5)
        cue tap
            dot fade to 40 % in 1 s
remote
    button 1: go beat
    button 2: go tap
    stop button 3
"""


@pytest.mark.parametrize("name", ["beat", "left_beat", "tap", "tap_1", "right_tap_2"])
def test_a_name_of_a_side_or_of_a_row_is_taken(name: str) -> None:
    loaded = load_text(Source("sides.cues", SIDES))
    assert not [one for one in loaded.findings if one.severity == "error"]
    assert "of that name" in why_no_name(name, loaded)
    assert why_no_name(f"{name}_by_hand", loaded) == ""


def test_two_things_of_a_name_that_may_be_either_are_told_as_several() -> None:
    text = SIDES + "gesture beat\n    hold 1 s\ngesture by_hand\n    hold 1 s\n"
    told = [one.message for one in load_text(Source("sides.cues", text)).findings]
    assert "there are two cues or gestures called `beat`" in told


def test_a_part_along_a_line_is_allowed_a_share_of_its_travel(show: Loaded) -> None:
    one = flap(show)
    assert usual_tolerance(one) == 1.5
    spins = replace(one, load=replace(one.load, spins=True), travel_deg=(-50.0, 50.0))
    assert usual_tolerance(spins) == pytest.approx(3.0)
    assert float(pulse_us(one, 45.0)) == 1500.0
