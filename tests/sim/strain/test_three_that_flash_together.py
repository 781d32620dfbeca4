"""Lights that blink every 950 ms: any two are a little too slow to flash too often, three are not.

WCAG 2.2: more than three flashes within a second are too many, so eight changes. Two that blink in
turn for 60 ms change at 0, 60, 80, 140, 950, 1010, 1030 and 1090 ms at the closest, or a frame
sooner or later; of three the eighth change comes by 1010 ms.
"""

from __future__ import annotations

from sim.model import Binding, Board, Cue, Fade, Hold, InTurn, Lamp, Repeat, Rig, Score, Show
from sim.strain.eye import Eye
from sim.strain.side_by_side import _PhaseSearch, side_by_side


def blinking(count: int) -> Show:
    lamps = tuple(Lamp(f"l{n}", "b", 2 + n) for n in range(count))
    cues = tuple(
        Cue(
            f"c{n}",
            "",
            Repeat(
                InTurn((Fade(lamp.name, 100.0, 0), Hold(60), Fade(lamp.name, 0.0, 0), Hold(890))),
                4,
            ),
        )
        for n, lamp in enumerate(lamps)
    )
    bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    score = Score("", cues, bindings, stop_button=30)
    return Show(Rig((), (Board("b", "atmega328p", 1),), lamps), score)


def test_two_pass_and_the_third_beside_the_closest_two_is_told() -> None:
    two, three = blinking(2), blinking(3)
    assert not list(side_by_side(Eye(two), two.score.cues, lambda *_: True, set()))
    (found,) = side_by_side(Eye(three), three.score.cues, lambda *_: True, set())
    named = {found.first.name, found.then.name, *(cue.name for cue, _ in found.also)}
    assert named == {"c0", "c1", "c2"}
    assert found.found.count >= 4


def test_how_close_two_come_is_kept_for_what_runs_beside_them() -> None:
    show = blinking(2)
    search = _PhaseSearch(Eye(show), show.score.cues, lambda *_: True)
    assert not list(search.pairs())
    assert 1020.0 < min(span_ms for span_ms, _ in search._closest) <= 1110.0
    for _, both in search._closest:
        assert {cue.name for cue, _ in both.starts} == {"c0", "c1"}
