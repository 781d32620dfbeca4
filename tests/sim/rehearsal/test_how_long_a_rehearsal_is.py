"""How long what is pressed is watched, to the millisecond, each length worked by hand.

The rules are the project's own (`sim.rehearsal.run_through`): what is pressed is laid out by the
planned lengths, with two pauses of 600 ms behind it, and played. What then takes longer is played
anew. A board with two servos is ready after 400 ms, and takes a press up at the end of the frame
before, 20 ms earlier.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.model import (
    Band,
    Binding,
    Channel,
    Cue,
    Hold,
    InTurn,
    Press,
    Repeat,
    Show,
    Step,
    Throw,
    Together,
)
from sim.rehearsal import run_through as running
from sim.rehearsal.run_through import LongRehearsalError, played_out, run_through
from tests.sim.small_shows import move, show_of

READY_MS = 400
PAUSE_MS = 600
BEHIND_MS = 2 * PAUSE_MS
STOP_MS = 900
STOP_BUTTON = 30
ENDLESS_MS = 8000
"""How long what has no end is watched."""

LONG = Cue("long", "", InTurn((Throw("fan", True), Hold(3000))))
SHORT = Cue("short", "", Hold(500))
ENDLESS = Cue("endless", "", Repeat(InTurn((Throw("fan", True), Hold(300))), None))
CHEW = Cue("chew", "", InTurn((Throw("fan", True), Hold(1000))), let_go="shut")
SHUT = Cue("shut", "", InTurn((Throw("fan", False), Hold(700))))
STICK = Channel("stick", "head", 35, (Band(1700.0, 2100.0, 1),))


def show_with(*bindings: Binding, **score: object) -> Show:
    cues = (LONG, SHORT, ENDLESS, CHEW, SHUT)
    show = show_of(*cues, bindings=bindings, stop_ms=STOP_MS, **score)
    return replace(show, rig=replace(show.rig, channels=(STICK,)))


SHOW = show_with(Binding(1, "long"), Binding(2, "short"), Binding(3, "endless"), Binding(4, "chew"))


def lasts(show: Show, *presses: Press) -> int:
    """How long the rehearsal is up to the pauses behind it."""
    return played_out(show, presses).length_ms - BEHIND_MS


@pytest.mark.parametrize(
    ("presses", "until_ms"),
    [
        ((), READY_MS),
        ((Press(0, cue="short"),), 500),
        ((Press(0, button=2, held_ms=1),), 500),
        ((Press(0, action="limp"),), STOP_MS),
        ((Press(1000, button=1),), 4000),
        ((Press(1000, cue="long"),), 4000),
        ((Press(1000, button=1), Press(1000, button=2)), 4000),
        ((Press(1000, button=1), Press(3900, button=2)), 4400),
        # a button lasts as long as it is held, a cue that is named does not
        ((Press(1000, button=2, held_ms=500),), 1500),
        ((Press(1000, button=2, held_ms=501),), 1501),
        ((Press(1000, cue="short", held_ms=501),), 1500),
        # what has no end
        ((Press(1000, button=3),), 1000 + ENDLESS_MS),
        ((Press(1000, button=3, held_ms=9000),), 10_000),
        # a part for letting go comes behind its cue
        ((Press(1000, button=4),), 2700),
        ((Press(1000, button=4, held_ms=1500),), 3200),
        ((Press(1000, cue="chew"),), 2700),
        # a stop, by whatever means, ends what was pressed before
        ((Press(1000, action="stop"),), 1000 + STOP_MS),
        ((Press(1000, button=STOP_BUTTON),), 1000 + STOP_MS),
        ((Press(1000, button=STOP_BUTTON, held_ms=STOP_MS + 1),), 1001 + STOP_MS),
        ((Press(1000, button=1), Press(1500, action="stop")), 1500 + STOP_MS),
        ((Press(1000, button=1), Press(1500, button=STOP_BUTTON)), 1500 + STOP_MS),
        ((Press(1000, button=1), Press(1500, action="limp")), 1500 + STOP_MS),
        ((Press(1000, button=1), Press(3500, action="stop")), 3500 + STOP_MS),
        ((Press(1000, button=1), Press(1500, button=2)), 4000),
        ((Press(500, action="stop"), Press(1000, button=1)), 4000),
        # a button that nothing is bound to
        ((Press(1000, button=9),), 1000 + STOP_MS),
    ],
)
def test_what_is_pressed_is_watched_for_its_planned_length(
    presses: tuple[Press, ...], until_ms: int
) -> None:
    assert lasts(SHOW, *presses) == max(until_ms, READY_MS)


def test_a_board_is_watched_until_it_is_ready_and_a_moment_takes_no_time() -> None:
    moment = Cue("moment", "", Throw("fan", True))
    show = show_of(moment, stop_ms=100)
    for early in (Press(0, button=1), Press(300, cue="moment"), Press(0, action="limp")):
        assert lasts(show, early) == READY_MS
    assert lasts(show, Press(1000, cue="moment")) == 1000
    assert lasts(show, Press(1000, button=1)) == 1100


def test_of_the_cues_of_a_button_the_longest_counts() -> None:
    both = show_with(Binding(1, "short"), Binding(1, "long"))
    assert lasts(both, Press(1000, button=1)) == 4000


def test_idle_is_watched_only_if_nothing_is_pressed() -> None:
    idle = Cue("idle", "", InTurn((Throw("fan", True), Hold(5000))))
    show = show_of(idle, SHORT, idle=("idle",), bindings=(Binding(2, "short"),))
    assert lasts(show) == READY_MS + 5000
    assert lasts(show, Press(1000, button=2)) == 1500


@pytest.mark.parametrize(
    ("value", "until_ms"),
    [(1699.0, 1000 + STOP_MS), (1700.0, 4000), (2100.0, 4000), (2101.0, 1000 + STOP_MS)],
)
def test_a_stick_in_a_band_is_as_long_as_the_cue_of_its_button(value: float, until_ms: int) -> None:
    assert lasts(SHOW, Press(1000, source="stick", value=value)) == until_ms
    other = Press(1000, source="knob", value=value)
    assert lasts(SHOW, other) == 1000 + STOP_MS


def test_a_radio_that_falls_silent_is_as_long_as_the_cue_for_that() -> None:
    silent = Press(1000, source="stick", value=None)
    assert lasts(SHOW, silent) == 1000 + STOP_MS
    assert lasts(show_with(lost_ms=500, lost_cue="long"), silent) == 4000
    there = Press(1000, source="stick", value=1500.0)
    assert lasts(show_with(lost_ms=500, lost_cue="long"), there) == 1000 + STOP_MS


# -- what takes longer than planned ----------------------------------------------------------------


def waiting(first_ms: int, second_ms: int) -> Show:
    """A cue that waits until the one before it is over."""
    first = Cue("first", "", InTurn((Throw("fan", True), Hold(first_ms))))
    second = Cue("second", "", InTurn((Throw("fan", False), Hold(second_ms))), conflict="wait")
    return show_of(first, second)


@pytest.mark.parametrize(
    ("at_ms", "length_ms"),
    [
        # it runs from 1980 to 2980 ms: one pause behind that is enough, less is not
        (1380, 1380 + 1000 + BEHIND_MS),
        (1379, 2980 + BEHIND_MS),
        (1002, 2980 + BEHIND_MS),
    ],
)
def test_what_ends_less_than_a_pause_before_the_end_is_watched_for_two_more(
    at_ms: int, length_ms: int
) -> None:
    presses = (Press(1000, button=1), Press(at_ms, button=2))
    assert played_out(waiting(1000, 1000), presses).length_ms == length_ms


@pytest.mark.parametrize(
    ("hold_ms", "length_ms"),
    [
        # 1 s + 5 s + two pauses, and eight seconds more
        (5000, 7200 + 8000),
        # a quarter of more than 32 s is more: 42200 -> 52750 -> 65937 -> 82421
        (40_000, 82_421),
    ],
)
def test_what_goes_on_at_the_end_gets_eight_seconds_or_a_quarter_more(
    hold_ms: int, length_ms: int
) -> None:
    presses = (Press(1000, button=1), Press(1000, button=2))
    played = played_out(waiting(hold_ms, hold_ms), presses)
    assert played.length_ms == length_ms
    assert max(run.end_ms for run in played.runs) == 980 + 2 * hold_ms


def test_a_stop_that_takes_longer_than_planned_is_watched_to_its_end() -> None:
    """From 50 deg to 4 deg at 60 deg/s2 takes some 2.1 s, where 100 ms are planned."""
    show = show_of(Cue("open", "", move("jaw", 50)), stop_ms=100)
    jaw, *others = show.rig.outputs
    gentle = replace(jaw, accel_deg_s2=60.0)  # type: ignore[type-var]
    show = replace(show, rig=replace(show.rig, outputs=(gentle, *others)))
    presses = (Press(1000, button=1), Press(9000, action="stop"))
    played = played_out(show, presses)
    stopping = next(span for span in played.modes if span.mode == "stopping")
    assert stopping.end_ms - stopping.start_ms == pytest.approx(2104, abs=25)
    assert played.length_ms == 9000 + 100 + BEHIND_MS + ENDLESS_MS


def test_what_has_no_end_is_not_waited_for() -> None:
    """Neither idle, though what it does is written with an end: it begins anew."""
    idle = Cue("idle", "", InTurn((move("jaw", 9, 5000), move("jaw", 5, 5000))))
    show = show_of(idle, ENDLESS, idle=("idle",), bindings=(Binding(1, "endless"),))
    assert lasts(show, Press(1000, button=1)) == 1000 + ENDLESS_MS


def test_eight_looks_are_taken_and_no_more() -> None:
    """Eighty moves that take some 2.1 s each where 20 ms are written: 168 s.

    3800, then eight seconds more each time up to 35800; then 44750, 55937 and 69921.
    """
    body = InTurn((move("jaw", 50, 20), move("jaw", 4, 20)) * 40)
    show = show_of(Cue("nods", "", body))
    jaw, *others = show.rig.outputs
    gentle = replace(jaw, accel_deg_s2=60.0)  # type: ignore[type-var]
    show = replace(show, rig=replace(show.rig, outputs=(gentle, *others)))
    assert played_out(show, (Press(1000, button=1),)).length_ms == 69_921


def test_a_look_takes_no_more_than_is_left_of_the_time_for_looks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A first look of 7.2 s, a second one of 15.2 s."""
    presses = (Press(1000, button=1), Press(1000, button=2))
    for most_ms, length_ms in ((22_400, 15_200), (22_399, 7200)):
        monkeypatch.setattr(running, "LONGEST_REHEARSAL_MS", most_ms)
        assert played_out(waiting(5000, 5000), presses).length_ms == length_ms


def test_two_hours_are_rehearsed_and_no_more() -> None:
    """A cue from the first second on, and two pauses behind it."""
    most_ms = 2 * 60 * 60 * 1000
    for over_ms in (0, 1):
        hold = Cue("hold", "", Hold(most_ms - 1000 - BEHIND_MS + over_ms))
        show = show_of(hold)
        if not over_ms:
            assert played_out(show, (Press(1000, button=1),)).length_ms == most_ms
            continue
        with pytest.raises(LongRehearsalError, match=r"takes 2 h to play, and at most 2 h are"):
            played_out(show, (Press(1000, button=1),))


# -- periods ---------------------------------------------------------------------------------------


def loops(*periods_ms: int, after_ms: int = 0) -> Step:
    """Endless loops side by side, each of one throw and a hold."""
    rows = tuple(Repeat(InTurn((Throw("fan", True), Hold(period))), None) for period in periods_ms)
    return InTurn((Hold(after_ms), Together(rows))) if after_ms else Together(rows)


@pytest.mark.parametrize(
    ("body", "lasts_ms"),
    [
        # they meet after ten minutes, and a millisecond later
        (loops(24_000, 6250), 600_000),
        (loops(437, 1373), 8000),
        (loops(8009, 13_001), 13_001),
        (loops(3000, 5000), 15_000),
        (loops(3000, 5000, after_ms=1), 15_001),
        (loops(7999), 8000),
        (loops(8001), 8001),
        # what never comes to its end has no period, and what stands behind it is not reached
        (InTurn((loops(9000), loops(20_000))), 9000),
        (Repeat(InTurn((Hold(100), loops(9000))), None), 9100),
        (
            InTurn((Hold(100), Repeat(Repeat(InTurn((Throw("fan", True), Hold(9000))), None), 2))),
            9100,
        ),
    ],
)
def test_idle_is_watched_until_all_its_loops_begin_anew_together(body: Step, lasts_ms: int) -> None:
    show = show_of(Cue("idle", "", body), idle=("idle",), bindings=())
    assert run_through(show).length_ms == READY_MS + lasts_ms + BEHIND_MS


# -- turns -----------------------------------------------------------------------------------------


def pressed(show: Show) -> list[tuple[int, int | str | None, int]]:
    """When what is pressed, and for how long."""
    return [(p.at_ms, p.button or p.cue, p.held_ms) for p in run_through(show).presses]


def held(*steps: Step, before: tuple[Step, ...] = (), let_go: str | None = None) -> Cue:
    return Cue("held", "", InTurn((*before, Repeat(InTurn(steps), None, True))), let_go=let_go)


THROW = (Throw("fan", True), Hold(301))


@pytest.mark.parametrize(
    ("cue", "held_ms", "next_ms"),
    [
        # let go in the middle of the second pass: it runs two from 980 ms on
        (held(*THROW), 301 + 150, 980 + 2 * 301),
        (held(*THROW, before=(Hold(1000),)), 1000 + 301 + 150, 980 + 1000 + 2 * 301),
        # no press is shorter than 100 ms: of 10 ms that is some ten passes
        (held(Throw("fan", True), Hold(10)), 100, 1090),
        # what has a part for that, in the middle of the third: taken up from the frame before on
        (held(*THROW, let_go="shut"), 2 * 301 + 150, 1740 + 700),
        (held(*THROW, before=(Hold(50),), let_go="shut"), 50 + 752, 1800 + 700),
    ],
)
def test_a_loop_is_held_for_two_passes_and_one_with_a_part_for_letting_go_into_the_third(
    cue: Cue, held_ms: int, next_ms: int
) -> None:
    cues = (cue, SHUT, SHORT) if cue.let_go else (cue, SHORT)
    show = show_of(*cues, bindings=(Binding(1, "held"), Binding(2, "short")))
    assert pressed(show) == [(1000, 1, held_ms), (next_ms + PAUSE_MS, 2, 100)]


def test_a_cue_with_a_part_for_letting_go_is_held_until_it_has_stood_for_a_pause() -> None:
    show = show_of(CHEW, SHUT, bindings=(Binding(1, "chew"),))
    assert pressed(show)[0] == (1000, 1, 1000 + PAUSE_MS)


def test_what_is_started_otherwise_than_by_a_plain_press_is_played_by_its_name() -> None:
    for kind in ("long", "twice"):
        bindings = (
            Binding(1, "long"),
            Binding(1, "short", kind=kind, long_ms=800),  # so that a down of it is not decided
            Binding(3, "endless", manner="toggle"),
            Binding(4, "chew"),
        )
        assert [who for _, who, _ in pressed(show_with(*bindings))] == [
            "long",
            "short",
            "endless",
            4,
        ]


def test_what_has_no_end_of_its_own_is_watched_as_planned_with_its_part_for_letting_go() -> None:
    """Nothing holds a cue that is started by its name: one without an end is let go by nobody."""
    endless = replace(ENDLESS, let_go="shut")
    show = show_of(endless, SHUT, SHORT, bindings=(Binding(2, "short"),))
    assert pressed(show) == [(1000, "endless", 100), (1000 + 8000 + 700 + PAUSE_MS, 2, 100)]
    alone = show_of(ENDLESS, SHORT, bindings=(Binding(2, "short"),))
    assert pressed(alone) == [(1000, "endless", 100), (1000 + 8000 + PAUSE_MS, 2, 100)]


def test_what_is_refused_takes_its_planned_time_with_its_part_for_letting_go() -> None:
    """Held for 1 s and a pause; its part would take 0.7 s."""
    shy = replace(CHEW, conflict="refuse")
    bindings = (Binding(1, "endless"), Binding(2, "chew"), Binding(3, "short"))
    show = show_of(ENDLESS, shy, SHUT, SHORT, bindings=bindings)
    second = 1000 + 8000 + PAUSE_MS
    third = second + 1000 + PAUSE_MS + 700 + PAUSE_MS
    assert pressed(show) == [(1000, 1, 100), (second, 2, 1600), (third, 3, 100)]
