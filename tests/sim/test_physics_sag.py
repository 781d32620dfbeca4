"""The lowest voltage in a show, and the cues that bring it there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firmware_gen.chips.atmega328p import CHIP
from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cells,
    Cue,
    Fade,
    InTurn,
    Lamp,
    Load,
    Move,
    PointMass,
    Press,
    Rating,
    Regulator,
    Rig,
    Score,
    Servo,
    Show,
    Step,
    Strip,
    StripLight,
    Supply,
    Together,
    Wearer,
    Wire,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rig import battery, servo, wire
from sim.rig.holding_torque import worst_hold
from sim.rig.supply import highest_v, moving_v
from sim.score.tree import ready_ms
from sim.strain.envelope import assess
from sim.strain.reachable import Reachable
from sim.strain.sag import brightest, lowest_voltages, sags, start_sags
from sim.strain.torque_and_current import work

POINTS = (CalibrationPoint(-45.0, 900.0), CalibrationPoint(90.0, 2100.0))

PACK = Supply("pack", Cells("li-ion", 2, 3.0, resistance_ohm=0.3))


def servo_named(name: str, pin: int, board: str = "b") -> Servo:
    return Servo(
        name,
        board,
        pin,
        POINTS,
        (-40.0, 60.0),
        (Rating(6.0, 353.0, 0.92, 2.1),),
        load=Load((PointMass(0.14, 0.08),), level_deg=10.0, friction_nm=0.01),
    )


A, B, C = servo_named("a", 1), servo_named("b", 2), servo_named("c", 3)

BOARD_A = CHIP.electrics.idle_a


def show_of(*cues: Cue, servos: tuple[Servo, ...] = (A, B, C), idle: tuple[str, ...] = ()) -> Show:
    board = Board("b", CHIP.name, 1, "pack", Wire(1.0, 22), electrics=CHIP.electrics)
    rig = Rig((PACK,), (board,), servos, wearer=Wearer(tilt_deg=15.0))
    return Show(rig, Score("s", cues, idle=idle))


def swing(name: str, body: Step) -> Cue:
    return Cue(name, "", body)


def quick(output: str) -> Move:
    return Move(output, 55.0, 350)


def test_cues_that_share_no_output_may_pull_together() -> None:
    (alone,) = sags(show_of(swing("one", quick("a"))))
    (both,) = sags(show_of(swing("one", quick("a")), swing("two", quick("b"))))
    assert alone.cues == ("one",)
    assert set(both.cues) == {"one", "two"}
    assert both.voltage_v < alone.voltage_v
    assert both.supply_a > alone.supply_a


def test_the_bound_is_no_higher_than_any_rehearsal() -> None:
    cues = (
        swing("one", InTurn((quick("a"), Move("a", -30.0, 420)))),
        swing("two", Together((quick("b"), Move("c", -20.0, 500)), 150)),
    )
    show = show_of(*cues)
    (found,) = sags(show)
    at = ready_ms(show) + 20
    for offset in (0, 60, 140, 260, 400):
        presses = [Press(at, cue="one"), Press(at + offset, cue="two")]
        seen = sample(rehearse(show, presses, at + 2500), np.arange(at, at + 2400, 4.0))
        lowest = float(work(show.rig, seen).board_v["b"].min())
        assert found.voltage_v <= lowest + 1e-6
    assert found.voltage_v > lowest - 1.0


def test_one_move_s_worst_instant_by_hand() -> None:
    show = show_of(swing("one", quick("a")))
    (found,) = sags(show)
    volts = highest_v(show.rig, "b")
    peak = float(assess(show.rig, A, 0.0, 55.0, 350, quick("a").law, volts).peak_torque_nm[0])
    hold = worst_hold(A, Wearer(tilt_deg=15.0)).torque_nm

    def amperes(volts: float) -> float:
        line = servo.line(A, volts)
        held = float(servo.current_a(line, hold))
        return BOARD_A + float(servo.current_a(line, peak, moving=1.0)) + 2 * held

    empty, full = (float(battery.rest_v(PACK.source, c)) for c in (battery.EMPTY_CHARGE, 1.0))  # type: ignore[arg-type]
    ohm = 0.3 + wire.loop_ohm(Wire(1.0, 22), 25.0)
    lowest_v = empty - ohm * amperes(found.voltage_v)
    assert found.voltage_v == pytest.approx(lowest_v, abs=2e-3)
    # it draws most while the battery is full
    assert found.board_a > amperes(found.voltage_v)
    assert found.board_a == pytest.approx(amperes(full - ohm * found.board_a), rel=2e-3)


def test_a_starting_servo_draws_its_stall_current() -> None:
    show = show_of(swing("one", Move("a", 5.0, 2000)))
    (start,) = start_sags(show)
    (running,) = sags(show)
    assert start.starting in {"a", "b", "c"}
    assert start.voltage_v < running.voltage_v
    full = float(battery.rest_v(PACK.source, 1.0))  # type: ignore[arg-type]
    ohm = 0.3 + wire.loop_ohm(Wire(1.0, 22), 25.0)
    line = servo.line(A, full - ohm * start.board_a)
    # a jump over the whole travel is not over when the next servo gets its first pulse
    hold_nm = worst_hold(A, Wearer(tilt_deg=15.0)).torque_nm
    jump = Reachable(show).jump("a")
    assert jump is not None
    still_nm = jump.after_nm(0.2)
    assert still_nm > hold_nm
    others_a = float(servo.current_a(line, still_nm, 1.0)) + float(servo.current_a(line, hold_nm))
    assert start.board_a == pytest.approx(BOARD_A + float(line.stall_a) + others_a, rel=1e-3)


def test_light_counts_at_the_show_s_brightest() -> None:
    lamp, strip = Lamp("l", "b", 9, count=4), Strip("s", "b", 8, 50)
    board = Board("b", "atmega328p", 1, "pack")
    dim, bright = StripLight((255, 255, 255), 20.0), StripLight((255, 0, 0), 100.0)
    cue = Cue("c", "", InTurn((Fade("s", dim, 10), Fade("s", bright, 10), Fade("l", 50.0, 10))))
    show = Show(Rig((PACK,), (board,), (lamp, strip)), Score("s", (cue,)))
    most = brightest(show)
    assert most["l"] == pytest.approx(0.1841865, rel=1e-5)  # CIE L* 50 (see the light tests)
    dim_y = ((20.0 + 16.0) / 116.0) ** 3
    assert most["s"] == pytest.approx(50 * (0.02 * (1.0 + 2 * dim_y) + 0.001), rel=1e-3)
    capped = replace(strip, cap_a=0.3)
    rig = replace(show.rig, outputs=(lamp, capped))
    assert brightest(replace(show, rig=rig))["s"] == pytest.approx(0.35)


def test_a_board_without_a_supply_stands_at_its_servos_rated_voltage() -> None:
    rig = Rig((), (Board("b", "atmega328p", 1),), (A,))
    assert lowest_voltages(Show(rig, Score("s"))) == {"b": 6.0}
    assert sags(Show(rig, Score("s"))) == ()
    bare = Rig((), (Board("b", "atmega328p", 1),), ())
    assert lowest_voltages(Show(bare, Score("s"))) == {"b": 5.0}


def test_every_board_of_a_supply_feels_the_others() -> None:
    boards = tuple(
        Board(name, "atmega328p", n, "pack", Wire(1.0, 22)) for n, name in ((1, "b"), (2, "far"))
    )
    pair = (A, servo_named("d", 1, "far"))
    cue = Cue("x", "", Together((quick("a"), Move("d", 5.0, 3000))))
    both = sags(Show(Rig((PACK,), boards, pair), Score("s", (cue,))))
    alone = sags(Show(Rig((PACK,), boards, pair[:1]), Score("s", (Cue("x", "", quick("a")),))))
    assert both[0].voltage_v < alone[0].voltage_v
    assert both[0].supply_a == pytest.approx(sum(s.board_a for s in both), rel=0.2)


def test_more_than_sixteen_servos_are_taken_at_once() -> None:
    many = tuple(servo_named(f"s{n}", n) for n in range(18))
    big = Supply("pack", Adapter(6.0, 60.0))
    board = Board("b", "atmega328p", 1, "pack", Wire(0.3, 14))
    cues = tuple(Cue(f"c{n}", "", quick(f"s{n}")) for n in range(18))
    (found,) = sags(Show(Rig((big,), (board,), many), Score("s", cues)))
    assert len(found.cues) == 18


def test_a_move_alone_sees_a_voltage_between_rest_and_the_worst() -> None:
    show = show_of(swing("x", Together((quick("a"), quick("b"), quick("c")))))
    alone = float(moving_v(show.rig, A, 0.12))
    assert lowest_voltages(show)["b"] < alone < highest_v(show.rig, "b")
    assert CHIP.electrics.brown_out_v < CHIP.electrics.clock_v < alone


def test_a_regulator_keeps_the_feed_while_it_has_headroom() -> None:
    regulated = Supply("pack", Cells("li-ion", 3, 3.0), Regulator(6.0, 8.0))
    show = show_of(swing("x", quick("a")))
    show = replace(show, rig=replace(show.rig, supplies=(regulated,)))
    (found,) = sags(show)
    drop = found.board_a * wire.loop_ohm(Wire(1.0, 22), 25.0)
    assert found.voltage_v == pytest.approx(6.0 - drop, abs=1e-5)
    assert found.source_a < found.supply_a
