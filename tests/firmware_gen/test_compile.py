"""From a show to bytes: what each part of it becomes, and what does not fit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import shows
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.compiler.show import CompileError, compile_show, faults
from firmware_gen.crc import cue_tag
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import LAW_IDS, LOOP_FOREVER, LOOP_HELD
from firmware_gen.table.ops import (
    ActOp,
    Delay,
    ForkTo,
    GoOnTo,
    Loop,
    LoopBack,
    Modulate,
    TableOp,
    Turn,
)
from firmware_gen.table.records import (
    BindingRecord,
    InputRecord,
    LampRecord,
    LawRecord,
    StripRecord,
    SwitchRecord,
    Table,
)
from seqlang.loading import load
from sim.model import (
    Binding,
    Board,
    CalibrationPoint,
    Cue,
    Effect,
    Fade,
    Hold,
    Input,
    InTurn,
    Lamp,
    Law,
    Move,
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
from sim.score.planned_moves import motion_limits

RED, BLUE = StripLight((255, 0, 0)), StripLight((0, 0, 255), 50.0)
JAW = Servo(
    "jaw",
    "head",
    ATMEGA328P.pin("PB1"),
    (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0)),
    (2.0, 55.5),
    (Rating(6.0, 353.0, 0.9, 2.0),),
    safe_deg=4.0,
)
FIN = replace(JAW, name="fin", pin=ATMEGA328P.pin("PB2"))
LURE = Lamp("lure", "head", ATMEGA328P.pin("PD6"), safe_pct=20.0)
BELLY = Strip("belly", "head", ATMEGA328P.pin("PD7"), 30, "grb", 0.02, 1.0)
HORN = Switch("horn", "head", ATMEGA328P.pin("PC0"), True, False)


def show(*bodies: Step, outputs=(JAW, FIN, LURE, BELLY, HORN), **more) -> Show:
    cues = tuple(Cue(f"c{n}", "", body, mark=100 + n) for n, body in enumerate(bodies))
    rig = Rig(boards=(Board("head", "atmega328p", 3, mark=1),), outputs=outputs)
    return Show(rig, Score("test", cues, **more))


def table(*bodies: Step, **more) -> Table:
    return compile_show(show(*bodies, **more)).boards[0].table


def ops(body: Step, **more) -> tuple[TableOp, ...]:
    made = table(body, **more)
    return made.threads[made.cues[0].start]


def move(angle: float, ms: int = 300, law: Law | None = None, output: str = "jaw") -> Move:
    return Move(output, angle, ms, law or Law())


# -- records -----------------------------------------------------------------------------------


def test_a_servo_takes_its_calibration_travel_and_safe_angle_in_hundredths_and_ticks() -> None:
    made = show(move(50))
    record = compile_show(made).boards[0].table.outputs[0]
    assert record.points == ((0, 1800), (9000, 4200))
    assert (record.travel, record.safe, record.pin) == ((200, 5550), 400, 1)
    assert (record.speed_limit, record.acceleration_limit) == motion_limits(made)["jaw"]


def test_lamps_strips_switches_and_inputs_become_their_records() -> None:
    made = replace(
        show(Fade("belly", RED, 100)),
        rig=replace(
            show().rig,
            inputs=(
                Input(2, "head", ATMEGA328P.pin("PC1")),
                Input(3, "other", ATMEGA328P.pin("PC2")),
            ),
        ),
    )
    found = compile_show(made).boards[0].table
    assert found.outputs[2] == LampRecord(22, 40)
    # 1 A over 20 mA a channel: 50 channels of 255 are 12750, in units of 256: 49
    assert found.outputs[3] == StripRecord(23, 30, 2, 49, 0)
    assert found.outputs[4] == SwitchRecord(8, True, False)
    assert found.inputs == (InputRecord(9, 2, True),)


def test_a_cap_that_can_never_be_reached_is_left_out() -> None:
    assert table(Hold(10), outputs=(replace(BELLY, cap_a=1.8),)).outputs[0].cap == 0
    assert table(Hold(10), outputs=(replace(BELLY, cap_a=1.79),)).outputs[0].cap == 89
    assert table(Hold(10), outputs=(replace(BELLY, cap_a=None),)).outputs[0].cap == 0


def test_colours_are_kept_once_each() -> None:
    made = table(InTurn((Fade("belly", RED, 100), Fade("belly", BLUE, 100), Fade("belly", RED, 1))))
    assert len(made.colours) == 3  # black, the safe light, comes first
    assert made.colours[0] == (0, 0, 0)
    targets = [op.target for op in made.threads[0] if isinstance(op, ActOp)]
    assert targets == [1, 2, 1]


def test_law_0_is_the_one_most_moves_follow() -> None:
    cycloidal = Law("cycloidal")
    made = table(InTurn((move(10), move(20, law=cycloidal), move(30, law=cycloidal))))
    assert made.laws == (LawRecord(LAW_IDS["cycloidal"]), LawRecord(LAW_IDS["3-4-5"]))
    assert [op.law for op in made.threads[0] if isinstance(op, ActOp)] == [1, None, None]


def test_a_uniform_fade_needs_no_law_and_a_uniform_move_does() -> None:
    made = table(
        InTurn((Fade("lure", 50.0, 100), move(20), move(30), move(10, law=Law("uniform"))))
    )
    assert [op.law for op in made.threads[0] if isinstance(op, ActOp)] == [None, None, None, 1]
    assert made.laws[1] == LawRecord(LAW_IDS["uniform"])


def test_header_fields_follow_the_score() -> None:
    made = table(
        move(10),
        move(20),
        idle=("c1",),
        glide_ms=1240,
        lost_cue="c0",
        lost_ms=1950,
        stop_button=4,
        stop_ms=1200,
        bindings=(Binding(1, "c1"), Binding(2, "c0", True)),
    )
    assert (made.glide, made.lost, made.lost_time) == (62, 0, 20)
    assert [cue.strand for cue in made.cues] == [False, True]
    assert (made.stop_button, made.stop_time, made.address) == (4, 60, 3)
    assert made.bindings == (BindingRecord(1, 1, False), BindingRecord(2, 0, True))
    assert [cue.tag for cue in made.cues] == [cue_tag("c0"), cue_tag("c1")]


def test_without_a_lost_cue_nothing_counts_as_lost() -> None:
    assert table(Hold(10)).lost_time == 0


# -- code --------------------------------------------------------------------------------------


def test_a_move_in_turn_waits_within_its_op() -> None:
    assert ops(InTurn((move(50, 260), move(4, 390)))) == (
        ActOp(0, 5000, 260, wait=True),
        ActOp(0, 400, 390, wait=True),
    )


def test_what_runs_together_shares_a_thread_in_the_order_of_time() -> None:
    body = Together(
        (InTurn((Hold(100), move(50, 300))), Fade("lure", 50.0, 250), Throw("horn", True))
    )
    assert ops(body) == (
        ActOp(2, 100, 250),
        Turn(4, True),
        Delay(100),
        ActOp(0, 5000, 300, wait=True),
    )


def test_a_wait_longer_than_the_move_before_it_takes_the_fewest_bytes() -> None:
    # 760 ms alone take two bytes, 500 ms one; 560 ms and 300 ms take one each
    assert ops(InTurn((move(50, 260), Hold(500)))) == (ActOp(0, 5000, 260, wait=True), Delay(500))
    assert ops(InTurn((move(50, 260), Hold(300)))) == (ActOp(0, 5000, 260), Delay(560))
    assert ops(InTurn((move(50, 260), Hold(5000)))) == (ActOp(0, 5000, 260, wait=True), Delay(5000))


def test_repeats_become_loops_and_short_ones_are_written_out() -> None:
    two = InTurn((move(50), move(4)))
    assert ops(Repeat(two, 3))[0] == Loop(3)
    assert ops(Repeat(two, None))[0] == Loop(LOOP_FOREVER)
    assert ops(Repeat(two, None, while_held=True))[0] == Loop(LOOP_HELD)
    assert ops(Repeat(move(50), 2)) == (ActOp(0, 5000, 300, wait=True),) * 2
    assert ops(Repeat(move(50), 1)) == (ActOp(0, 5000, 300, wait=True),)


def test_a_repeat_beside_something_gets_a_thread_of_its_own() -> None:
    nod = Repeat(InTurn((move(50), move(4))), 5)
    made = table(Together((nod, Fade("lure", 50.0, 900))))
    main = made.threads[made.cues[0].start]
    assert main[0] == ForkTo(1)
    assert made.cues[0].threads == 2
    assert made.threads[1][0] == Loop(5)
    assert made.threads[1][-1] == LoopBack()
    assert sum(op.duration_ms for op in main if isinstance(op, Delay)) == 3000  # the longest child


def test_long_waits_are_one_op_and_what_is_left_of_a_second_another() -> None:
    assert ops(InTurn((Hold(150_000), Throw("horn", True))))[:1] == (Delay(150_000),)
    assert ops(InTurn((Hold(150_040), Throw("horn", True))))[:2] == (Delay(150_000), Delay(40))
    day = InTurn((Hold(86_400_000), Throw("horn", True)))
    assert ops(day)[:2] == (Delay(65_535_000), Delay(20_865_000))


def test_a_repeat_of_holds_is_one_wait() -> None:
    def size(*steps: Step) -> int:
        return len(compile_show(show(InTurn((*steps, Throw("horn", True))))).boards[0].data)

    nothing, hour = size(), 3_600_000
    assert size(Hold(hour)) == nothing + 3
    assert size(Repeat(Hold(hour), 24)) == nothing + 6
    assert size(Repeat(InTurn((Hold(hour), Repeat(Hold(1000), 60))), 23)) == nothing + 6


def test_effects_keep_their_numbers() -> None:
    effect = Effect("belly", "sparkle", 600, 50.0, 9, 30)
    assert ops(effect) == (Modulate(3, 3, 600, 100, 9, 30),)
    assert ops(Effect("belly", "steady")) == (Modulate(3, 0),)


def test_cues_that_end_alike_share_the_end() -> None:
    rest = InTurn((move(4, 1500), move(10, 800, output="fin"), Fade("lure", 0.0, 700)))
    made = table(InTurn((move(50), rest)), InTurn((move(30), Hold(50), rest)), rest)
    starts = [cue.start for cue in made.cues]
    assert made.threads[starts[0]][-1] == GoOnTo(starts[2])
    assert made.threads[starts[1]][-1] == GoOnTo(starts[2])
    assert len(made.threads[starts[2]]) == 3
    assert starts[2] > max(starts[:2])


def test_cues_that_are_alike_share_their_thread() -> None:
    made = table(move(50), move(50))
    assert [cue.start for cue in made.cues] == [0, 0]
    assert len(made.threads) == 1


# -- boards ------------------------------------------------------------------------------------


def two_boards() -> Show:
    boards = (Board("tail", "atmega328p", 9), Board("head", "atmega328p", 3))
    tail = replace(JAW, name="tail", board="tail")
    made = show(
        Together((move(50), InTurn((Hold(400), move(20, output="tail"))))),
        move(30, output="tail"),
        outputs=(JAW, tail),
    )
    return replace(made, rig=replace(made.rig, boards=boards))


def test_each_board_gets_its_share_in_the_cues_own_time() -> None:
    compiled = compile_show(two_boards())
    assert [board.name for board in compiled.boards] == ["head", "tail"]
    head, tail = (board.table for board in compiled.boards)
    assert head.threads == ((ActOp(0, 5000, 300, wait=True), Delay(400)),)
    assert tail.threads[tail.cues[0].start] == (Delay(400), ActOp(0, 2000, 300, wait=True))
    assert head.show == tail.show == compiled.number
    assert len(head.cues) == 1


def test_a_board_that_takes_part_in_idle_knows_the_cues_that_use_its_outputs_only() -> None:
    made = two_boards()
    idle = replace(made, score=replace(made.score, idle=("c0",)))
    head = compile_show(idle).boards[0].table
    assert [(cue.outputs, cue.strand) for cue in head.cues] == [(1, True)]


def test_the_same_show_gives_the_same_bytes() -> None:
    one, two = compile_show(two_boards()), compile_show(two_boards())
    assert [board.data for board in one.boards] == [board.data for board in two.boards]
    assert one.digest == two.digest
    other = compile_show(show(move(50)))
    assert other.digest != one.digest


def test_marks_lead_from_ops_to_statements() -> None:
    board = compile_show(
        show(InTurn((replace(move(50), mark=7), replace(move(4), mark=8))))
    ).boards[0]
    code = board.encoded.sections["code"][0]
    assert board.marks == ((code, 7), (code + 3, 8))


# -- what does not fit -------------------------------------------------------------------------


def _colours(count: int) -> Step:
    lights = [StripLight((n, 255 - n, 0)) for n in range(0, 4 * count, 4)]
    return InTurn(tuple(Fade("belly", light, 50, mark=n) for n, light in enumerate(lights)))


def _laws(count: int) -> Step:
    shares = [Law("trapezoid", 0.1 + n / 100) for n in range(count)]
    return InTurn(tuple(replace(move(30, 900, law), mark=n) for n, law in enumerate(shares)))


@pytest.mark.parametrize(
    ("made", "name", "mark"),
    [
        (show(_colours(64)), "too-many-colours", 63),
        (show(_laws(17)), "too-many-laws", 16),
        (show(*[move(20 + n) for n in range(33)]), "too-many-cues", 132),
        (show(Hold(1), outputs=(replace(BELLY, cap_a=0.01, mark=5),)), "cap-too-small", 5),
        (show(replace(move(20, 70_000), mark=6)), "duration-too-long", 6),
        (show(Repeat(move(20), 70_000, mark=6)), "too-many-passes", 6),
        (
            show(Repeat(Repeat(Repeat(Repeat(_laws(2), 2), 2), 2, mark=4), 2)),
            "repeats-too-deep",
            -1,
        ),
        (
            show(Together(tuple(Repeat(InTurn((move(9), move(8))), 3) for _ in range(11)))),
            "too-many-threads",
            100,
        ),
        (show(Hold(1), lost_cue="c0", lost_ms=30_000), "lost-time-too-long", -1),
        (show(Hold(1), stop_ms=6_000), "stop-too-long", -1),
        (
            show(
                Hold(1),
                outputs=(
                    replace(
                        JAW,
                        points=tuple(CalibrationPoint(10.0 * n, 900.0 + 100 * n) for n in range(9)),
                        mark=3,
                    ),
                ),
            ),
            "too-many-points",
            3,
        ),
        (show(Hold(1), outputs=(replace(LURE, pin=ATMEGA328P.pin("PC0")),)), "table", 1),
        (show(Fade("lure", 150.0, 100)), "table", 1),
        (show(move(400.0)), "table", 1),
        (show(Effect("lure", "ember", 100_000)), "table", 1),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_does_not_fit_is_named_with_its_place(made: Show, name: str, mark: int) -> None:
    with pytest.raises(CompileError) as caught:
        compile_show(made)
    assert (caught.value.name, caught.value.mark) == (name, mark)
    assert [fault.name for fault in faults(made)] == [name]
    assert caught.value.asked is None or caught.value.asked != caught.value.limit


def test_just_as_much_as_fits_is_no_fault() -> None:
    for made in (show(_colours(63)), show(_laws(16)), show(*[move(20 + n) for n in range(32)])):
        assert list(faults(made)) == []
        assert decode(compile_show(made).boards[0].data).cues


# -- the shows that ship -----------------------------------------------------------------------

SHOWS = sorted(Path(shows.__file__).parent.glob("*/*.cues"))


@pytest.mark.parametrize("path", SHOWS, ids=[path.stem for path in SHOWS])
def test_every_table_of_a_demo_show_fits_a_slot(path: Path) -> None:
    loaded = load(path)
    assert loaded.show is not None
    for board in compile_show(loaded.show).boards:
        assert board.fits
        assert len(board.data) <= 500
        assert decode(board.data) == board.table
