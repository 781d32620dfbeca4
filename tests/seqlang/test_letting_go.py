"""What a cue does when its button is let go: from the text to what is seen."""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.meaning.write_show import text_of
from seqlang.text.source import Source
from sim.model import Move, Press, Show, part_name
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.run_through import run_through
from sim.rehearsal.trajectories import Trajectories
from sim.score.planned_moves import planned_moves, rest_angles
from sim.score.tree import ready_ms
from sim.strain.usage import Book

RIG = """
supply pack
    source adapter 6 V, 10 A
board hand: atmega328p, address 1
    feed pack
servo finger: hand pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 70 deg
    rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
    load rod 12 g, 80 mm
servo thumb: hand pin PB2
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 70 deg
    rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
    load rod 12 g, 60 mm
lamp eye: hand pin PD6
"""
GRAB = """
cue grab "Closes"
    finger to 30 deg in 500 ms
    hold 300 ms
    finger to 60 deg in 500 ms
    when let go
        finger to 0 deg in 400 ms
"""
REMOTE = """
remote
    button 1: go grab
    stop button 9
"""


def loaded(cues: str = GRAB, remote: str = REMOTE) -> Show:
    found = load_text(Source("x.cues", RIG + cues + remote))
    assert found.findings == ()
    assert found.show is not None
    return found.show


def played(show: Show, *presses: Press, length_ms: int = 5000) -> Trajectories:
    return rehearse(show, presses, ready_ms(show) + length_ms)


def runs(seen: Trajectories) -> list[str]:
    return [run.cue for run in sorted(seen.runs, key=lambda run: run.start_ms)]


def test_a_part_goes_back_from_where_it_is_in_the_frame_in_which_the_button_goes_up() -> None:
    show = loaded()
    start = ready_ms(show) + 200
    seen = played(show, Press(start, button=1, held_ms=240))
    rest, up, back = seen.motions["finger"]
    assert (rest.target_deg, up.target_deg, back.target_deg) == (0.0, 30.0, 0.0)
    assert back.start_ms == start + 240 - 20  # the frame before, whose pulses still stand
    assert back.brake_ms > 0.0
    assert 0.0 < back.way_deg * -1.0 < 30.0
    assert runs(seen) == ["grab", "grab let go"]


def test_a_cue_that_is_done_waits_for_its_button() -> None:
    show = loaded(GRAB + "\ncue doze\n    eye fade to 40 % in 1 s\nidle: go doze\n")
    start = ready_ms(show) + 200
    seen = played(show, Press(start, button=1, held_ms=3000))
    grab = next(run for run in seen.runs if run.cue == "grab")
    part = next(run for run in seen.runs if run.cue == "grab let go")
    assert grab.end_ms == start + 3000
    assert part.end_ms == pytest.approx(start + 3000 - 20 + 400)
    while_held = [r for r in seen.runs if r.cue == "doze" and start < r.start_ms < grab.end_ms]
    assert while_held == []


def test_a_cue_started_by_name_is_done_to_its_end_and_then_its_part() -> None:
    show = loaded()
    seen = played(show, Press(ready_ms(show) + 200, cue="grab"))
    assert [piece.target_deg for piece in seen.motions["finger"]] == [0.0, 30.0, 60.0, 0.0]
    assert runs(seen) == ["grab", "grab let go"]


def test_a_tap_within_one_frame_does_the_part_alone() -> None:
    show = loaded()
    seen = played(show, Press(ready_ms(show) + 201, button=1, held_ms=5))
    assert [piece.target_deg for piece in seen.motions["finger"]] == [0.0, 0.0]


def test_a_second_press_takes_over_from_the_part() -> None:
    show = loaded()
    start = ready_ms(show) + 200
    first, second = Press(start, button=1, held_ms=300), Press(start + 400, button=1, held_ms=2000)
    seen = played(show, first, second)
    assert runs(seen) == ["grab", "grab let go", "grab", "grab let go"]


def test_a_rehearsal_holds_the_button_until_the_cue_stands_still() -> None:
    seen = run_through(loaded())
    assert runs(seen) == ["grab", "grab let go"]
    assert [piece.target_deg for piece in seen.motions["finger"]] == [0.0, 30.0, 60.0, 0.0]
    (grab, part) = seen.runs
    assert part.start_ms >= grab.start_ms + 1300
    assert seen.length_ms >= part.end_ms


def test_a_part_is_planned_from_wherever_its_cue_may_be_let_go() -> None:
    show = loaded()
    assert rest_angles(show)["finger"] == (0.0, 30.0, 60.0)
    ways = {(one.from_deg, one.cue) for one in planned_moves(show) if one.move.angle_deg == 0.0}
    assert ways == {(angle, part_name("grab")) for angle in (0.0, 30.0, 60.0)}


def test_a_part_whose_pace_follows_from_its_way_has_time_for_the_farthest() -> None:
    show = loaded(GRAB.replace("in 400 ms", "at 120 deg/s, uniform"))
    (part,) = [cue for cue in show.score.cues if cue.name == "grab let go"]
    (move,) = [step for step in getattr(part.body, "children", ()) if isinstance(step, Move)]
    assert move.duration_ms == 500  # 60 deg


def test_a_part_that_is_too_quick_is_found_though_the_cue_itself_is_not() -> None:
    found = check(load_text(Source("x.cues", RIG + GRAB.replace("400 ms", "90 ms") + REMOTE)))
    errors = [one for one in found.findings if one.severity == "error"]
    assert "servo-speed" in {one.name for one in errors}
    assert any("when let go" in RIG + GRAB for one in errors)


def test_a_light_that_flashes_when_let_go_is_found() -> None:
    flicker = """
cue glow
    eye fade to 60 % in 1 s
    when let go
        repeat 20 times
            eye fade to 100 % in 60 ms
            eye fade to 0 % in 60 ms
"""
    remote = REMOTE.replace("grab", "glow")
    found = check(load_text(Source("x.cues", RIG + flicker + remote)))
    assert "general-flash" in {one.name for one in found.findings}


def test_the_part_counts_as_often_as_its_cue_in_the_mix_of_an_hour() -> None:
    show = loaded(remote=REMOTE + "usage\n    grab 60 per hour\n")
    shares = {one.cue: one.share for one in Book(show).mix().shares}
    assert shares["grab"] == pytest.approx(60 * 1.3 / 3600)
    assert shares["grab let go"] == pytest.approx(60 * 0.4 / 3600)


@pytest.mark.parametrize(
    "cue",
    [
        "cue a\n    when let go\n        eye off\n    eye on\n",
        "cue a\n    eye on\n    together\n        when let go\n            eye off\n",
        "cue a\n    when let go\n        eye off\n    when let go\n        eye off\n",
        "cue a\n    when let go\n        when let go\n            eye off\n",
    ],
)
def test_a_part_that_does_not_end_its_cue_is_an_error(cue: str) -> None:
    (one,) = load_text(Source("x.cues", RIG + cue)).findings
    assert one.name == "wrong-kind"
    assert "behind everything else" in one.message


def test_nobody_holds_a_button_while_a_part_runs() -> None:
    text = "cue a\n    when let go\n        repeat while held\n            hold 1 s\n"
    (one,) = load_text(Source("x.cues", RIG + text)).findings
    assert one.name == "wrong-kind"
    assert "nobody holds" in one.message


def test_a_played_cue_leaves_its_part_out() -> None:
    show = loaded(GRAB + "\ncue twice\n    play grab\n    play grab\n")
    (twice,) = [cue for cue in show.score.cues if cue.name == "twice"]
    assert twice.let_go is None
    assert "when let go" in text_of(show)
    assert text_of(show).count("when let go") == 1
