"""The rehearsal of a whole show: cues to their ends, held ones twice, idle for its period.

The rules are the project's own (`sim.rehearsal.run_through`); figures are worked by hand. Boards
are ready after 400 ms (two servos on the head), pauses take 600 ms, a frame 20 ms.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import (
    Binding,
    Cue,
    Hold,
    InTurn,
    Law,
    Move,
    Press,
    Repeat,
    Show,
    Step,
    Together,
)
from sim.rehearsal import run_through as running
from sim.rehearsal.run_through import LongRehearsalError, played_out, run_through
from sim.rehearsal.trajectories import CueRun, Trajectories
from sim.rulebook import FRAME_MS
from tests.sim.small_shows import BACK, HEAD, TAIL, show_of

PAUSE_MS = 600


def jaw(angle: float, ms: int = 1000) -> Move:
    return Move("jaw", angle, ms, Law("3-4-5"))


def fin(angle: float, ms: int = 1000) -> Move:
    return Move("fin", angle, ms, Law("3-4-5"))


def runs(played: Trajectories, name: str) -> list[CueRun]:
    return [run for run in played.runs if run.cue == name]


def test_every_cue_is_played_once_and_idle_first() -> None:
    show = show_of(
        Cue("a", "", jaw(50)),
        Cue("b", "", Repeat(fin(20, 300), None, while_held=True)),
        Cue("c", "", fin(-20)),
        Cue("idle", "", Repeat(InTurn((jaw(9), jaw(5))), None)),
        idle=("idle",),
        bindings=(Binding(1, "a"), Binding(2, "b")),
    )
    played = run_through(show)
    assert [(p.button, p.cue) for p in played.presses] == [(1, None), (2, None), (None, "c")]
    assert {run.cue for run in played.runs} == {"a", "b", "c", "idle"}
    assert played.refusals == ()


def test_a_cue_is_pressed_a_pause_after_the_last_has_run_out() -> None:
    """A run begins with the frame before the one that takes its press: each lasts 20 ms less."""
    show = show_of(Cue("a", "", jaw(50, 700)), Cue("b", "", jaw(9, 300)), Cue("c", "", jaw(5, 100)))
    first, second, third = run_through(show).presses
    assert first == Press(400 + PAUSE_MS, button=1)
    assert second == Press(1000 + 680 + PAUSE_MS, button=2)
    assert third == Press(2280 + 280 + PAUSE_MS, button=3)
    assert [press.button for press in run_through(show, only=["c", "a"]).presses] == [1, 3]


def gentle(show: Show, acceleration: float = 60.0) -> Show:
    """The show with a jaw that may not start and brake as hard as it is written to."""
    outputs = tuple(
        replace(output, accel_deg_s2=acceleration) if output.name == "jaw" else output
        for output in show.rig.outputs
    )
    return replace(show, rig=replace(show.rig, outputs=outputs))


def test_a_cue_that_takes_longer_than_it_is_written_is_not_cut_off_by_the_next() -> None:
    """46 deg at 60 deg/s2 take at least 2 sqrt(46/60) = 1.75 s, and 2.1 s by 3-4-5."""
    show = gentle(
        show_of(
            Cue("open", "", jaw(50, 1000)),
            Cue("back", "", InTurn((jaw(4, 100), Hold(500)))),
            Cue("next", "", fin(9, 300)),
        )
    )
    played = run_through(show)
    starts = [runs(played, name)[0].start_ms for name in ("open", "back", "next")]
    opening, back = (p for p in played.motions["jaw"] if p.end_ms > p.start_ms)
    assert opening.end_ms - opening.start_ms == pytest.approx(2104, abs=25)
    assert back.end_ms - back.start_ms == pytest.approx(2104, abs=25)
    # the last move of a cue is not waited for by the board, but by whoever watches
    assert starts[1] == pytest.approx(opening.end_ms + PAUSE_MS, abs=FRAME_MS)
    assert starts[2] == pytest.approx(back.end_ms + PAUSE_MS, abs=FRAME_MS)


def test_the_last_cue_runs_out_however_far_it_is_stretched() -> None:
    body = InTurn((jaw(4, 20), jaw(50, 20)) * 9)
    show = gentle(show_of(Cue("open", "", jaw(50, 1000)), Cue("back", "", body)))
    for played in (run_through(show), played_out(show, [Press(900, button=1), Press(3500, 2)])):
        (back,) = runs(played, "back")
        assert back.end_ms - back.start_ms > 17 * 2000
        stands = played.motions["jaw"][-1].end_ms
        assert back.end_ms <= stands <= played.length_ms - PAUSE_MS <= stands + 0.25 * stands


def test_a_long_cue_runs_out_too_where_it_takes_four_times_as_long_as_it_is_written() -> None:
    """Eighty moves of 46 deg in 0.5 s, which take 2.1 s each: 168 s where 40 s are written."""
    show = gentle(show_of(Cue("nods", "", InTurn((jaw(50, 500), jaw(4, 500)) * 40))))
    played = played_out(show, [Press(900, button=1)])
    (nods,) = runs(played, "nods")
    # the board does not wait for the last move
    assert nods.end_ms - nods.start_ms == pytest.approx(79 * 2104 + 500, rel=0.02)
    assert played.motions["jaw"][-1].end_ms + PAUSE_MS <= played.length_ms


def test_the_next_cue_waits_for_the_board_that_takes_longest() -> None:
    """The jaw takes 2.1 s on one board, the tail 0.3 s on the other."""
    show = gentle(
        show_of(
            Cue("both", "", Together((jaw(50, 1000), Move("tail", 0.0, 300, Law("3-4-5"))))),
            Cue("next", "", fin(9, 300)),
        )
    )
    for boards in ((HEAD, BACK), (BACK, HEAD)):
        rig = replace(show.rig, boards=boards, outputs=(*show.rig.outputs, TAIL))
        played = run_through(replace(show, rig=rig))
        assert {run.board for run in runs(played, "both")} == {"head", "back"}
        opening = next(p for p in played.motions["jaw"] if p.end_ms > p.start_ms)
        start = runs(played, "next")[0].start_ms
        assert start == pytest.approx(opening.end_ms + PAUSE_MS, abs=FRAME_MS)


def test_a_held_cue_that_is_stretched_is_held_for_two_passes_too() -> None:
    loop = Repeat(InTurn((jaw(9, 1000), jaw(4, 1000))), None, while_held=True)
    show = gentle(show_of(Cue("open", "", jaw(50, 1000)), Cue("c", "", loop)))
    (run,) = runs(run_through(show), "c")
    # from 50 deg to 9 deg in some 2 s instead of 1 s, and three moves as they are written
    assert run.end_ms - run.start_ms == pytest.approx(3000 + 1990, abs=100)


@pytest.mark.parametrize("ms", [60, 300, 4000, 9000])
@pytest.mark.parametrize("bound", [False, True])
def test_a_held_cue_is_held_for_two_passes_of_its_loop(ms: int, bound: bool) -> None:
    body = InTurn((jaw(9, ms), jaw(4, ms)))
    held = Cue("held", "", body if bound else Repeat(body, None, while_held=True))
    show = show_of(held, Cue("next", "", jaw(5)), bindings=(Binding(1, "held", while_held=bound),))
    played = run_through(show)
    (run, *again) = runs(played, "held")
    assert again == []
    assert run.end_ms - run.start_ms == pytest.approx(4 * ms, abs=2 * FRAME_MS)
    assert runs(played, "next")[0].start_ms >= run.end_ms + PAUSE_MS - FRAME_MS


def test_a_loop_that_is_held_inside_a_cue_is_passed_twice_and_the_rest_once() -> None:
    loop = Repeat(InTurn((jaw(9, 400), jaw(4, 400))), None, while_held=True)
    show = show_of(
        Cue("c", "", InTurn((fin(20, 3000), loop, fin(0, 2000)))), bindings=(Binding(1, "c"),)
    )
    (run,) = runs(run_through(show), "c")
    assert run.end_ms - run.start_ms == pytest.approx(3000 + 2 * 800 + 2000, abs=3 * FRAME_MS)


def test_a_cue_without_an_end_is_watched_for_eight_seconds_held_or_not() -> None:
    endless = Cue("endless", "", Repeat(jaw(9, 300), None))
    bound = show_of(endless, bindings=(Binding(1, "endless", while_held=True),))
    assert run_through(bound).presses == (Press(1000, button=1, held_ms=7960),)
    assert run_through(show_of(endless)).presses == (Press(1000, button=1),)
    assert run_through(bound).length_ms >= 1000 + 8000


def test_what_comes_behind_a_cue_without_an_end_waits_for_its_eight_seconds() -> None:
    """It goes on until the next one takes its part, a pause later: that is not counted as its."""
    endless = Cue("endless", "", Repeat(jaw(9, 300), None))
    played = run_through(show_of(endless, Cue("b", "", jaw(50))))
    assert [press.at_ms for press in played.presses] == [1000, 1000 + 8000 + PAUSE_MS]


@pytest.mark.parametrize(
    ("body", "lasts"),
    [
        (InTurn((jaw(9, 500), jaw(5, 500))), 1000),
        (InTurn((jaw(9, 9000), jaw(5, 9000))), 18000),
        (Repeat(InTurn((jaw(9, 500), jaw(5, 500))), None), 8000),
        # a way in of 2 s, then loops of 6 and 10 s that meet after 30 s
        (
            InTurn(
                (
                    Hold(2000),
                    Together(
                        (
                            Repeat(InTurn((jaw(9, 3000), jaw(5, 3000))), None),
                            Repeat(InTurn((fin(9, 5000), fin(5, 5000))), None),
                        )
                    ),
                )
            ),
            32000,
        ),
        # the same from the start beside one with a way in: all have begun after 2 s
        (
            Together(
                (
                    InTurn((Hold(2000), Repeat(InTurn((jaw(9, 3000), jaw(5, 3000))), None))),
                    Repeat(InTurn((fin(9, 5000), fin(5, 5000))), None),
                )
            ),
            32000,
        ),
        # loops that meet after 21 h only: the longer one
        (
            Together(
                (
                    Repeat(InTurn((jaw(9, 4001), jaw(5, 4002))), None),
                    Repeat(InTurn((fin(9, 5003), fin(5, 4507))), None),
                )
            ),
            9510,
        ),
    ],
)
def test_idle_is_watched_for_its_whole_period_and_not_pressed(body: Step, lasts: int) -> None:
    show = show_of(Cue("still", "", body), Cue("a", "", fin(5)), idle=("still",))
    (press,) = run_through(show).presses
    assert (press.at_ms, press.button) == (1000 + lasts, 2)
    (alone,) = run_through(show, only=["a"]).presses
    assert alone.at_ms == 1000
    nothing = replace(show, score=replace(show.score, cues=show.score.cues[:1], bindings=()))
    assert run_through(nothing).length_ms == 400 + lasts + 2 * PAUSE_MS


def test_of_several_strands_idle_lasts_as_long_as_the_longest() -> None:
    """Passes of 2 s and of 10 s; the pause before the first press follows."""
    strands = (
        Cue("short", "", Repeat(InTurn((jaw(9), jaw(5))), None)),
        Cue("long", "", Repeat(InTurn((fin(9, 5000), fin(5, 5000))), None)),
    )
    show = show_of(
        *strands, Cue("a", "", Move("tail", 5, 1000, Law("3-4-5"))), idle=("short", "long")
    )
    show = replace(
        show, rig=replace(show.rig, boards=(HEAD, BACK), outputs=(*show.rig.outputs, TAIL))
    )
    (press,) = run_through(show).presses
    assert press.at_ms == 1000 + 10_000


def test_presses_of_ones_own_last_until_what_they_start_is_over() -> None:
    cues = (Cue("long", "", jaw(50, 5000)), Cue("short", "", Hold(100)))
    show = show_of(*cues, stop_ms=900)
    after = 2 * PAUSE_MS
    assert played_out(show, ()).length_ms == 400 + after
    both = (Press(1000, button=1), Press(1500, button=2))
    assert played_out(show, both).length_ms == 6000 + after
    assert played_out(show, (Press(1000, button=2, held_ms=700),)).length_ms == 1700 + after
    named = (Press(1000, cue="short", held_ms=700),)
    assert played_out(show, named).length_ms == 1100 + after
    assert played_out(show, (Press(1000, action="stop"),)).length_ms == 1900 + after
    assert played_out(show, reversed(both)).presses == both


def test_a_cue_that_is_refused_takes_its_written_time() -> None:
    busy = Cue("busy", "", Repeat(jaw(9, 500), None))
    shy = Cue("shy", "", jaw(5, 700), conflict="refuse")
    played = run_through(show_of(busy, shy, Cue("c", "", fin(9))))
    assert [refusal.cue for refusal in played.refusals] == ["shy"]
    at = {press.button: press.at_ms for press in played.presses}
    assert at[3] == at[2] + 700 + PAUSE_MS


@given(st.integers(1, 29), st.integers(0, 1500))
def test_no_cue_of_many_begins_before_the_one_before_has_ended(count: int, ms: int) -> None:
    show: Show = show_of(
        *(Cue(f"c{n}", "", jaw(5 + 40 * (n % 2), max(1, ms))) for n in range(count))
    )
    played = run_through(show)
    spans = sorted((run.start_ms, run.end_ms) for run in played.runs)
    assert len(spans) == count
    ends = [end for _, end in spans]
    assert all(start > end for (start, _), end in zip(spans[1:], ends[:-1], strict=True))
    assert ends[-1] < played.length_ms


HOUR_MS = 3_600_000


def test_a_show_of_many_hours_is_not_played_and_is_told_what_would_do() -> None:
    day = Cue("day", "", InTurn((*[Hold(HOUR_MS)] * 5, jaw(50))))
    show = show_of(day, Cue("a", "", fin(20)))
    with pytest.raises(LongRehearsalError, match=r"takes 5 h to play, and at most 2 h .* few cues"):
        run_through(show)
    with pytest.raises(LongRehearsalError):
        played_out(show, (Press(1000, cue="day"),))
    assert runs(run_through(show, ["a"]), "a")
    stopped = played_out(show, (Press(1000, cue="day"), Press(60_000, action="stop")))
    assert runs(stopped, "day")[0].end_ms == pytest.approx(60_000, abs=2 * FRAME_MS)
    assert stopped.length_ms < 120_000


def test_just_so_long_is_rehearsed(monkeypatch: pytest.MonkeyPatch) -> None:
    show = show_of(Cue("a", "", fin(20, 3000)))
    presses = (Press(1000, cue="a"),)
    length = 1000 + 3000 + 2 * PAUSE_MS
    monkeypatch.setattr(running, "LONGEST_REHEARSAL_MS", length)
    assert played_out(show, presses).length_ms == length
    monkeypatch.setattr(running, "LONGEST_REHEARSAL_MS", length - 1)
    with pytest.raises(LongRehearsalError):
        played_out(show, presses)


def test_looks_end_when_they_have_taken_their_time_and_the_last_one_serves(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    show = show_of(
        Cue("a", "", Repeat(fin(20, 300), None, while_held=True)),
        Cue("b", "", jaw(50)),
        bindings=(Binding(1, "a"), Binding(2, "b")),
    )
    looked: list[int] = []
    rehearse = running.rehearse

    def counted(show: Show, presses: tuple[Press, ...], length_ms: int) -> Trajectories:
        looked.append(length_ms)
        return rehearse(show, presses, length_ms)

    monkeypatch.setattr(running, "rehearse", counted)
    run_through(show)
    every = list(looked)
    assert len(every) > 1
    for most_ms, looks in ((every[0], 1), (sum(every[:2]) - 1, 1), (sum(every[:2]), 2)):
        looked.clear()
        monkeypatch.setattr(running, "LONGEST_REHEARSAL_MS", most_ms)
        played = run_through(show)
        assert looked == every[:looks]
        assert {run.cue for run in played.runs} == {"a", "b"}


def test_a_loop_with_a_part_for_letting_go_is_let_go_in_its_third_pass() -> None:
    """Two passes of 600 ms are seen whole, and of the third one enough to see that it is cut."""
    loop = Repeat(InTurn((jaw(9, 300), jaw(4, 300))), None, while_held=True)
    chew = Cue("chew", "", loop, let_go="chew let go")
    part = Cue("chew let go", "", jaw(0, 400))
    played = run_through(show_of(chew, part, bindings=(Binding(1, "chew"),)))
    (run,) = runs(played, "chew")
    assert 2 * 600 < run.end_ms - run.start_ms < 3 * 600
    assert len(runs(played, "chew let go")) == 1
