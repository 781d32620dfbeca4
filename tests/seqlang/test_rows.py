"""Rows of like parts: what differs among them, and how they move one after another."""

from __future__ import annotations

import pytest
from rig_text import good, loaded, names

from firmware_gen.compiler.show import compile_show
from seqlang.check import check
from seqlang.loading import Loaded
from seqlang.meaning.write_show import without_marks
from seqlang.text.names import MOST_IN_ROW
from sim.model import Effect, Fade, Hold, Lamp, Move, PointMass, Rod, Servo
from sim.score.tree import in_time, walk

TOP = """\
supply pack
    source adapter 6 V, 20 A
board hand: atmega328p, address 1
    feed pack, 200 mm of 18 AWG
"""
SERVO = """\
        pulse 900 us at 0 deg, 2100 us at 90 deg
        travel 0 deg to 70 deg
        rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
"""
PINS = ("PB1", "PB2", "PB3", "PD3", "PD4")


def row(count: int, *lines: str, load: str = "rod 16 g, 90 mm") -> str:
    pins = ", ".join(PINS[:count])
    return (
        TOP
        + f"row of {count}\n    servo finger: hand pin ({pins})\n{SERVO}        load {load}\n"
        + "".join(f"    {line}\n" for line in lines)
    )


def cue(*lines: str, rig: str = row(5)) -> Loaded:
    return loaded(rig + "cue act\n" + "".join(f"    {line}\n" for line in lines))


def fingers(found: Loaded) -> list[Servo]:
    assert found.show is not None
    return [one for one in found.show.rig.outputs if isinstance(one, Servo)]


def starts(found: Loaded) -> dict[str, list[int]]:
    """When each output starts to move in the cue `act`, by its name, in ms."""
    assert found.show is not None
    body = next(one.body for one in found.show.score.cues if one.name == "act")
    begun: dict[str, list[int]] = {}
    for at, one in in_time(body):
        if isinstance(one, Move | Fade | Effect):
            begun.setdefault(one.output, []).append(round(at))
    return begun


def assert_same(found: Loaded, by_hand: Loaded) -> None:
    """Two texts that are one show, and one table."""
    assert found.show is not None
    assert by_hand.show is not None
    assert without_marks(found.show) == without_marks(by_hand.show)
    assert [b.data for b in compile_show(found.show).boards] == [
        b.data for b in compile_show(by_hand.show).boards
    ]


# -- what differs ----------------------------------------------------------------------------------


def test_each_thing_of_a_row_has_its_number_and_its_pin() -> None:
    found = good(loaded(row(5)))
    assert [one.name for one in fingers(found)] == [f"finger_{n}" for n in range(1, 6)]
    assert len({one.pin for one in fingers(found)}) == 5


def test_a_first_value_and_a_step_give_each_thing_its_own() -> None:
    found = good(loaded(row(4, load="rod (16 g, step -1.5 g), (90 mm, step -6 mm)")))
    rods = [body for one in fingers(found) for body in one.load.bodies]
    assert all(isinstance(rod, Rod) for rod in rods)
    assert [(round(r.mass_kg * 1000, 6), round(r.length_m * 1000, 6)) for r in rods] == [  # type: ignore[union-attr]
        *((16, 90), (14.5, 84), (13, 78), (11.5, 72)),
    ]


def test_a_step_may_be_a_constant_and_the_first_value_a_sum() -> None:
    given = "given less = 2 g\n" + row(3, load="((10 g + 4 g), step (0 g - less)) at 50 mm")
    bodies = [body for one in fingers(good(loaded(given))) for body in one.load.bodies]
    assert all(isinstance(body, PointMass) for body in bodies)
    assert [round(body.mass_kg * 1000, 6) for body in bodies] == [14, 12, 10]


def test_lamps_and_wired_buttons_stand_in_a_row_as_well() -> None:
    text = row(
        3,
        *("lamp nail: hand pin (PD5, PD6, PD7)", "    colour (red, #00ff00, blue)"),
        "input (4, step 1): hand pin (PC0, PC1, PC2)",
    )
    show = good(loaded(text)).show
    assert show is not None
    lamps = [one for one in show.rig.outputs if isinstance(one, Lamp)]
    assert [one.colour for one in lamps] == [(255, 0, 0), (0, 255, 0), (0, 0, 255)]
    assert [one.button for one in show.rig.inputs] == [4, 5, 6]


def test_a_row_may_be_spread_over_boards() -> None:
    text = TOP + (
        "board arm: atmega328p, address 2\n    feed pack\n"
        f"row of 2\n    servo finger: (hand, arm) pin PB1\n{SERVO}"
    )
    assert [one.board for one in fingers(good(loaded(text)))] == ["hand", "arm"]


def test_each_part_of_a_tail_stands_on_the_one_before_it() -> None:
    text = TOP + (
        "row of 3\n    servo tail: hand pin (PB1, PB2, PB3)\n"
        "        on tail at (0 mm, 60 mm, 50 mm)\n"
        f"        level at 80 deg\n{SERVO}        load rod 10 g, 60 mm\n"
    )
    first, second, third = fingers(good(loaded(text)))
    assert first.mount is None
    assert second.mount is not None
    assert third.mount is not None
    assert [second.mount.on, third.mount.on] == ["tail_1", "tail_2"]
    assert [second.mount.at_m, third.mount.at_m] == [pytest.approx(0.06), pytest.approx(0.05)]


# -- in cues ---------------------------------------------------------------------------------------


def test_the_name_of_a_row_means_all_of_it_and_a_number_one() -> None:
    assert_same(
        cue("finger to 30 deg in 1 s", "finger_3 to 10 deg in 1 s"),
        cue(
            "finger_1 and finger_2 and finger_3 and finger_4 and finger_5 to 30 deg in 1 s",
            "finger_3 to 10 deg in 1 s",
        ),
    )


def test_a_part_of_a_row_goes_from_one_thing_through_another() -> None:
    assert_same(
        cue("finger_2 through finger_4 and finger_1 to 30 deg in 1 s"),
        cue("finger_2 and finger_3 and finger_4 and finger_1 to 30 deg in 1 s"),
    )


def test_each_thing_may_go_to_a_place_of_its_own_in_one_statement() -> None:
    assert_same(
        cue("finger to (30 deg, step 5 deg) in 1 s", rig=row(3)),
        cue("finger_1 to 30 deg, finger_2 to 35 deg, finger_3 to 40 deg in 1 s", rig=row(3)),
    )


@pytest.mark.parametrize(
    ("order", "count", "due"),
    [
        ("", 3, [0, 100, 200]),
        (" from the end", 3, [200, 100, 0]),
        (" from the middle", 5, [200, 100, 0, 100, 200]),
        (" from the middle", 4, [100, 0, 0, 100]),
        (" from both ends", 5, [0, 100, 200, 100, 0]),
        (" from both ends", 4, [0, 100, 100, 0]),
        (" from both ends", 2, [0, 0]),
    ],
)
def test_a_row_is_staggered_in_each_order(order: str, count: int, due: list[int]) -> None:
    found = cue(
        f"stagger 100 ms along finger{order}", "    finger to 30 deg in 1 s", rig=row(count)
    )
    begun = starts(found)
    assert [begun[f"finger_{n}"] for n in range(1, count + 1)] == [[at] for at in due]


def test_a_part_of_a_row_is_staggered_in_the_order_in_which_it_is_written() -> None:
    found = cue("stagger 100 ms along finger_4 through finger_2", "    finger to 30 deg in 1 s")
    assert starts(found) == {"finger_4": [0], "finger_3": [100], "finger_2": [200]}


def test_in_turn_along_a_row_each_waits_for_the_one_before() -> None:
    found = cue("in turn along finger from the end", "    finger to 30 deg in 1 s", rig=row(3))
    assert starts(found) == {"finger_3": [0], "finger_2": [1000], "finger_1": [2000]}


def test_the_statements_below_are_done_by_each_one_after_another() -> None:
    assert_same(
        cue(
            *("stagger 100 ms along finger", "    finger to (30 deg, 40 deg) in 1 s"),
            *("    hold (100 ms, 200 ms)", "    finger to 0 deg in 1 s"),
            rig=row(2),
        ),
        cue(
            *("stagger 100 ms", "    in turn", "        finger_1 to 30 deg in 1 s"),
            *("        hold 100 ms", "        finger_1 to 0 deg in 1 s"),
            *("    in turn", "        finger_2 to 40 deg in 1 s"),
            *("        hold 200 ms", "        finger_2 to 0 deg in 1 s"),
            rig=row(2),
        ),
    )


def test_all_names_of_a_row_go_along_with_it() -> None:
    rig = row(3, "lamp nail: hand pin (PD5, PD6, PD7)", "cue tap", "    finger to 40 deg in 1 s")
    found = cue(
        "stagger 100 ms along finger",
        *("    together", "        play tap", "        nail fade to 50 % in 1 s"),
        rig=rig,
    )
    due = {f"finger_{n}": [(n - 1) * 100] for n in (1, 2, 3)}
    assert starts(found) == due | {f"nail_{n}": [(n - 1) * 100] for n in (1, 2, 3)}


def test_rows_within_rows_go_through_all_pairs() -> None:
    rig = row(2) + "row of 2\n    lamp dot: hand pin (PD5, PD6)\n"
    found = cue(
        *("in turn along finger", "    in turn along dot"),
        *("        together", "            finger to 10 deg in 1 s"),
        "            dot fade to (10 %, 20 %) in 1 s",
        rig=rig,
    )
    assert starts(found)["dot_2"] == [1000, 3000]
    assert starts(found)["finger_2"] == [2000, 3000]


MIRRORED = """\
supply pack
    source adapter 6 V, 20 A
mirror left, right
    board wing: atmega328p, address (left: 1, right: 2)
        feed pack, 300 mm of 18 AWG
    row of 3
        servo feather: wing pin (left: (PB1, PB2, PB3), right: (PD3, PD4, PD5))
            pulse 900 us at 0 deg, 2100 us at 90 deg
            travel 0 deg to 70 deg
            rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
            load rod (16 g, step -2 g), 90 mm
"""


def test_a_mirrored_row_goes_along_on_both_sides() -> None:
    found = cue(
        "stagger 100 ms along feather from the end", "    feather to 30 deg in 1 s", rig=MIRRORED
    )
    for side in ("left", "right"):
        assert [starts(found)[f"{side}_feather_{n}"] for n in (1, 2, 3)] == [[200], [100], [0]]


def test_the_row_of_one_side_goes_along_alone() -> None:
    found = cue("stagger 100 ms along left_feather", "    feather to 30 deg in 1 s", rig=MIRRORED)
    assert set(starts(found)) == {f"left_feather_{n}" for n in (1, 2, 3)}


def test_a_number_without_a_side_means_it_on_both() -> None:
    found = cue("feather_2 to 30 deg in 1 s", rig=MIRRORED)
    assert set(starts(found)) == {"left_feather_2", "right_feather_2"}


def test_an_effect_runs_along_a_row_with_what_differs() -> None:
    rig = row(3, "lamp nail: hand pin (PD5, PD6, PD7)")
    found = cue(
        *("nail fade to 60 % in 1 s", "nail breathe every (2 s, step 500 ms), depth 30 %"),
        "hold 3 s",
        rig=rig,
    )
    assert found.show is not None
    body = found.show.score.cues[0].body
    assert [s.period_ms for s in walk(body) if isinstance(s, Effect)] == [2000, 2500, 3000]


# -- limits and mistakes ---------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "passes"), [(1, False), (2, True), (32, True), (33, False)])
def test_a_row_has_two_to_thirty_two_things(count: int, passes: bool) -> None:
    assert MOST_IN_ROW == 32
    text = TOP + f"row of {count}\n    lamp dot: hand pin PD5\n"
    assert ("number-out-of-range" in names(loaded(text))) is not passes


def test_rows_along_rows_have_a_limit_that_is_told() -> None:
    rows = "".join(f"row of 32\n    lamp dot{n}: hand pin PD5\n" for n in range(4))
    lines, indent = [], ""
    for n in range(4):
        lines.append(f"{indent}in turn along dot{n}")
        indent += "    "
    found = cue(*lines, f"{indent}dot3 fade to 10 % in 1 s", rig=TOP + rows)
    assert "show-too-long" in names(found)
    assert "show-too-long" in {one.name for one in check(found).findings}


def test_long_lists_of_rows_have_the_same_limit() -> None:
    dots = "row of 32\n    lamp dot: hand pin PD5\n"
    line = "dot and " * 100 + "dot fade to 10 % in 1 s"
    assert "show-too-long" in names(cue(*[line] * 20, rig=TOP + dots))
    entry = f"    servo finger: hand pin PB1\n{SERVO}        load rod 16 g, 90 mm\n"
    many = "".join(entry.replace("finger", f"finger{n}") for n in range(400))
    assert "show-too-long" in names(loaded(TOP + "row of 32\n" + many))


@pytest.mark.parametrize(
    ("line", "finding", "says"),
    [
        (
            "finger to (10 deg, 20 deg) in 1 s",
            "values-do-not-fit",
            "5 things, and here are 2 values",
        ),
        ("finger_2 to (10 deg, 20 deg) in 1 s", "values-do-not-fit", "here are 2 values"),
        ("hold (1 s, 2 s)", "values-do-not-fit", "one thing here, but several values"),
        ("finger_2 through nail to 3 deg in 1 s", "not-a-row", "not two things of one row"),
        ("finger to (30 deg, step 5 mm) in 1 s", "unit-mismatch", "cannot be added"),
        ("finger_6 to 3 deg in 1 s", "unknown-name", "no output `finger_6`"),
    ],
)
def test_a_slip_about_a_row_has_its_answer(line: str, finding: str, says: str) -> None:
    found = cue(line).findings
    assert [one.name for one in found] == [finding]
    assert says in found[0].message


def test_a_misspelt_row_is_answered_with_the_nearest() -> None:
    (one,) = cue("stagger 100 ms along fingr", "    finger to 30 deg in 1 s").findings
    assert one.name == "not-a-row"
    assert one.fix is not None
    assert one.fix.text == "finger"


def test_what_differs_in_what_moves_at_the_same_time_is_an_error() -> None:
    found = cue(
        *(
            "stagger 100 ms along finger from the middle",
            "    finger to 30 deg in (1 s, step 100 ms)",
        ),
    )
    assert names(found) == ["values-do-not-fit"]
    assert "move at the same time" in found.findings[0].message


def test_the_worst_of_a_row_is_told_and_the_others_named() -> None:
    found = cue(
        "finger to 60 deg in 1 s",
        *("stagger 100 ms along finger", "    finger to 0 deg in (200 ms, step -20 ms)"),
    )
    (one,) = (f for f in check(found).findings if f.name == "servo-speed")
    assert "`finger_5`" in one.message
    assert any("nearly the same goes for `finger_1`" in note for note in one.notes)


def test_a_change_never_puts_one_number_in_the_place_of_a_step() -> None:
    found = cue("finger to 60 deg in 1 s", "finger_1 to (70 deg, step 20 deg) in 1 s")
    far = [f for f in check(found).findings if f.name == "target-outside-travel"]
    assert [f.fix for f in far] == [None] * len(far)


def test_holds_are_those_of_each_thing() -> None:
    found = cue("in turn along finger", "    hold (100 ms, step 50 ms)", rig=row(3))
    assert found.show is not None
    body = found.show.score.cues[0].body
    assert [s.duration_ms for s in walk(body) if isinstance(s, Hold)] == [100, 150, 200]


def test_a_ripple_costs_little_more_than_the_moves_it_is_made_of() -> None:
    """A row is stored as its moves, each once: nothing is stored of the row itself."""
    rig = row(5)
    plain = cue("finger to 30 deg in 1 s", rig=rig)
    ripple = cue("stagger 100 ms along finger", "    finger to 30 deg in 1 s", rig=rig)
    assert plain.show is not None
    assert ripple.show is not None
    sizes = [len(compile_show(one.show).boards[0].data) for one in (plain, ripple) if one.show]
    assert sizes[1] <= sizes[0] + 5 * 8
