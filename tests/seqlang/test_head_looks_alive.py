"""The head of the demo shows moves in the times that people's eyes, lids and ribs take.

Sources, each beside its check:

* blinks a minute, eyes straight ahead: 8 to 21 (95 % limits), M. J. Doughty, Optometry and Vision
  Science 78 (10), 2001, 712-725, abstract.
* a blink lasts under half a second in all but 0.2 % of cases, and half of them are not complete:
  Ousler and others, Clinical Ophthalmology 8, 2014, 869-874, abstract.
* a saccade of A degrees takes about 2.2 A + 21 ms: R. H. S. Carpenter, Movements of the Eyes, 1988,
  from memory. An eye of plastic is not quicker than that.
* 12 to 20 breaths a minute at rest, and out twice as long as in: common practice, no source.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

import shows
from seqlang.loading import load
from sim.model import Move, Press
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.takeover import POSITIONS_PER_DEG
from sim.rehearsal.trajectories import Trajectories
from sim.score.draws import at_its_hardest
from sim.score.tree import acts

HEAD = Path(shows.__file__).parent / "head" / "head.cues"
MINUTES = 10


@cache
def alone() -> Trajectories:
    """The head, when nobody touches the remote."""
    return rehearse(load(str(HEAD)).show, (), MINUTES * 60_000)


def closings() -> list[tuple[float, float, float]]:
    """When each blink begins and ends (ms), and how far down it goes (deg)."""
    row = [piece for piece in alone().motions["lids"] if piece.cue == "blink"][1:]
    return [
        (down.start_ms, up.end_ms, down.planned.target / POSITIONS_PER_DEG)
        for down, up in zip(row[::2], row[1::2], strict=False)
    ]


def test_it_blinks_as_often_and_as_long_as_people_do() -> None:
    blinks = closings()
    assert 8 <= len(blinks) / MINUTES <= 21
    lasts = [end - start for start, end, _ in blinks]
    assert max(lasts) < 500


def test_it_blinks_after_times_that_differ_and_not_always_whole() -> None:
    blinks = closings()
    waits = np.diff([start for start, _, _ in blinks])
    assert np.std(waits) / np.mean(waits) > 0.3
    assert len(set(waits)) > 0.9 * len(waits)
    depths = {round(depth) for _, _, depth in blinks}
    assert len(depths) > 1


def test_its_eyes_jump_no_quicker_than_eyes_do() -> None:
    show = at_its_hardest(load(str(HEAD)).show)
    gaze = next(cue for cue in show.score.cues if cue.name == "gaze")
    moves = [act for act in acts(gaze.body) if isinstance(act, Move)]
    for before, move in zip((moves[-1], *moves), moves, strict=False):
        way = abs(move.angle_deg - before.angle_deg)
        assert move.duration_ms >= 2.2 * way + 21, move


def test_it_breathes_as_often_as_people_do_and_longer_out_than_in() -> None:
    row = [piece for piece in alone().motions["neck"] if piece.cue == "breathe"]
    times = [piece.start_ms for piece in row]
    breaths = np.diff(times[::2])
    assert 12 <= 60_000 / float(np.mean(breaths)) <= 20
    ins, outs = np.diff(times)[::2], np.diff(times)[1::2]
    assert 1.9 < float(np.mean(outs) / np.mean(ins)) < 2.1


def test_lids_and_eyes_go_on_while_it_nods_and_the_neck_comes_back() -> None:
    show = load(str(HEAD)).show
    nodding = rehearse(show, (Press(20_000, button=1),), 40_000)
    still = rehearse(show, (), 40_000)
    for name in ("lids", "eyes", "jaw"):
        assert nodding.motions[name] == still.motions[name]
    assert nodding.lights["glow"] == still.lights["glow"]
    nod = next(run for run in nodding.runs if run.cue == "nod")
    back = next(one for one in nodding.motions["neck"] if one.start_ms >= nod.end_ms)
    assert back.cue == "breathe"
    assert back.start_ms == nod.end_ms
    assert back.end_ms - back.start_ms >= show.score.glide_ms
