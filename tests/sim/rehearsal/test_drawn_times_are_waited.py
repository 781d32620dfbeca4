"""What is drawn takes as long as was drawn: the next statement begins when it is over.

TABLE.md 2.9: the first value L up to the second one M, L + (((M - L + 1) r) >> 16).
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from sim.model import Board, Cue, Drawn, Fade, InTurn, Lamp, Repeat, Rig, Score, Show
from sim.rehearsal.rehearse import rehearse
from sim.score.draws import noise, numbered


@pytest.mark.parametrize("seed", [3, 200])
def test_a_fade_of_a_drawn_time_is_over_before_the_next_one_begins(seed: int) -> None:
    up = Fade("heart", 100.0, 200, drawn=Drawn(1, 800))
    down = Fade("heart", 0.0, 300)
    body = numbered(Repeat(InTurn((up, down)), None), seed)
    assert isinstance(body, Repeat)
    assert isinstance(body.body, InTurn)
    first = body.body.children[0]
    assert isinstance(first, Fade)
    assert first.drawn is not None
    score = Score("", (Cue("beat", "", InTurn((body,))),), idle=("beat",))
    show = Show(Rig((), (Board("b", "atmega328p", 1),), (Lamp("heart", "b", 2),)), score)
    row = [one for one in rehearse(show, (), 20_000).lights["heart"] if one.cue == "beat"]
    rises = [one for one in row if one.target[0] > 0.0]
    assert len(rises) > 20
    for rounds, one in enumerate(rises):
        assert one.duration_ms == 200 + (601 * noise(first.drawn.time_key, rounds) >> 16)
    for one, then in pairwise(row):
        assert one.start_ms + one.duration_ms == then.start_ms
    assert row[-1].start_ms > 19_000.0
