"""Frames in which nothing can happen on a board are not played, each worked by hand.

Two servos take ten frames each until the board is ready (TABLE.md, section 2).
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from sim.model import Board, Cue, Fade, Follow, Hold, InTurn, Lamp, Press, Rig, Score, Sensor, Show
from sim.rehearsal import rehearse
from sim.rehearsal.sampling import sample
from sim.rulebook import FRAME_MS
from tests.sim.small_shows import move, show_of


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Every frame that is played from now on."""
    frames: list[int] = []
    frame = rehearse._PlayedBoard.frame

    def counted(board: rehearse._PlayedBoard, number: int) -> None:
        frames.append(number)
        frame(board, number)

    monkeypatch.setattr(rehearse._PlayedBoard, "frame", counted)
    return frames


def following() -> Show:
    """A lamp that goes over to 20 % from its safe 5; a cue brings it to 60 % and keeps it."""
    hold = Cue("hold", "", InTurn((Fade("lure", 60.0, 100), Hold(1000))))
    rig = Rig(
        boards=(Board("head", "atmega2560", 1),),
        outputs=(Lamp("lure", "head", 22, safe_pct=5.0),),
        sensors=(Sensor("voice", "head", 54),),
        follows=(Follow("lure", "voice", 0.0, 1.0, 20.0, 80.0),),
    )
    return Show(rig, Score("one", (hold,), ()))


def test_a_board_that_starts_plays_the_frames_in_which_servos_get_their_pulses(
    played: list[int],
) -> None:
    """And once it is ready one more, in which what began in that frame may go on."""
    rehearse.rehearse(show_of(Cue("a", "", move("jaw", 9))), (), 2000)
    assert played == [0, 10, 20, 21]


READY = [0, 10, 20, 21]
"""Frames until the board is ready, as above."""


def test_a_cue_is_played_as_it_starts_and_ends_and_where_its_button_moves(
    played: list[int],
) -> None:
    """Down in frame 50, up in frame 55; it runs from 980 to 1980 ms, which frame 99 takes. Behind
    each comes one more frame, in which what has changed may go on."""
    rehearse.rehearse(show_of(Cue("a", "", move("jaw", 9))), (Press(1000, button=1),), 4000)
    assert played == [*READY, 50, 51, 55, 56, 99, 100]


def test_a_stop_is_played_as_it_begins_and_when_all_parts_stand(played: list[int]) -> None:
    """It counts from 1980 ms on and takes 1.5 s: limp in frame 174."""
    show = show_of(Cue("a", "", move("jaw", 9)), stop_ms=1500)
    rehearse.rehearse(show, (Press(2000, action="stop"),), 6000)
    assert played == [*READY, 100, 101, 174, 175]


def test_a_silence_is_looked_at_when_it_has_come_to_its_length(played: list[int]) -> None:
    """From 1000 ms on, and 1.5 s are lost: frame 125. The cue runs from 2480 to 3480 ms."""
    show = show_of(Cue("a", "", move("jaw", 9)), lost_ms=1500, lost_cue="a", bindings=())
    rehearse.rehearse(show, (), 6000, [(1000.0, inf)])
    assert played == [*READY, 125, 126, 174, 175]


@pytest.mark.parametrize(("length_ms", "frames"), [(999, []), (1000, [50]), (1020, [50, 51])])
def test_the_last_frame_is_the_one_that_begins_by_the_end(
    length_ms: int, frames: list[int], played: list[int]
) -> None:
    show = show_of(Cue("a", "", move("jaw", 9)))
    rehearse.rehearse(show, (Press(1000, cue="a"),), length_ms)
    assert played == [*READY, *frames]


def test_what_is_taken_while_it_goes_over_to_its_source_needs_no_more_frames(
    played: list[int],
) -> None:
    """It is taken in frame 5, and kept for longer than the rehearsal lasts."""
    rehearse.rehearse(following(), (Press(100, cue="hold"),), 1000)
    assert {1, 2, 3, 4, 5} < set(played)
    assert not set(range(15, 50)) & set(played)


def test_what_is_given_back_follows_from_where_the_cue_has_left_it() -> None:
    given_back = rehearse.rehearse(following(), (Press(1000, cue="hold"),), 4000)
    first, second = given_back.followed["lure"]
    assert first.end_ms < 1000.0 < 2000.0 < second.times_ms[0] <= 2100.0 + FRAME_MS
    times = [second.times_ms[0], second.times_ms[0] + 1000.0]
    level = sample(given_back, times).lamps["lure"].level_pct
    assert level == pytest.approx([60.0, 20.0], abs=0.5)


def test_what_has_gone_over_to_its_source_needs_no_more_frames(played: list[int]) -> None:
    """The glide takes 800 ms, which are 40 frames, and its way less than a second."""
    rehearse.rehearse(following(), (), 4000)
    assert {1, 2, 20, 39, 40} < set(played)
    assert not set(range(100, 200)) & set(played)


def test_what_adds_a_slow_fade_goes_on_with_it(played: list[int]) -> None:
    """From 5 to 6 % in 20 s: so slow that it is at one level for some frames. At its middle it is
    half a percent from rest, and the source wants 20 %."""
    slow = Cue("idle", "", InTurn((Fade("lure", 6.0, 20_000), Hold(60_000))))
    show = following()
    rig = replace(show.rig, follows=(replace(show.rig.follows[0], mixed=True),))
    found = rehearse.rehearse(Show(rig, Score("one", (slow,), (), idle=("idle",))), (), 30_000)
    level = sample(found, [10_000.0, 15_000.0, 25_000.0]).lamps["lure"].level_pct
    assert level == pytest.approx([20.5, 20.75, 21.0], abs=0.01)
    assert set(range(100, 999)) < set(played)
    assert not set(range(1100, 1500)) & set(played)
