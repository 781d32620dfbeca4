"""Which cue runs from when to when, by the rules of TABLE.md, sections 2.2 to 2.7, worked by hand.

Boards without servos are ready in frame 0. A press counts from the frame before the one that takes
it up: 20 ms earlier.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from sim.model import (
    Binding,
    Board,
    Conflict,
    Cue,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Press,
    Repeat,
    Rig,
    Score,
    Show,
    Switch,
    Throw,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.trajectories import Trajectories

FANS = tuple(Switch(f"fan{n}", "b", n) for n in range(4))
LAMP = Lamp("lamp", "b", 30, safe_pct=0.0)


def lasting(
    name: str, *fans: int, ms: int, conflict: Conflict = "take", let_go: str | None = None
) -> Cue:
    throws = tuple(Throw(f"fan{fan}", True) for fan in fans)
    return Cue(name, "", InTurn((*throws, Hold(ms))), conflict, let_go=let_go)


def show_of(*cues: Cue, bindings: tuple[Binding, ...] | None = None, **score: object) -> Show:
    if bindings is None:
        bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    whole = Score("t", cues, bindings, **{"stop_button": 30, **score})  # type: ignore[arg-type]
    return Show(Rig((), (Board("b", "atmega328p", 1),), (*FANS, LAMP)), whole)


def runs(played: Trajectories) -> list[tuple[str, float, float]]:
    return sorted((run.cue, run.start_ms, run.end_ms) for run in played.runs)


# -- the lost cue ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("heard_ms", "starts"), [(2480.0, False), (2500.0, True), (inf, True)])
def test_the_lost_cue_starts_in_the_frame_in_which_the_silence_is_that_long(
    heard_ms: float, starts: bool
) -> None:
    """Nothing is heard behind 1500 ms, and 1000 ms are lost: in frame 125."""
    show = show_of(lasting("calm", 0, ms=300), lost_ms=1000, lost_cue="calm", bindings=())
    played = rehearse(show, (), 3000, [(1500.0, heard_ms)])
    assert runs(played) == ([("calm", 2480.0, 2780.0)] if starts else [])


def test_a_lost_cue_that_is_refused_is_tried_again_in_each_frame() -> None:
    """What it wants is free at 1980 ms. In that frame it is looked at before that ends."""
    busy = lasting("busy", 0, ms=2000)
    calm = lasting("calm", 0, ms=300, conflict="refuse")
    show = show_of(busy, calm, lost_ms=1000, lost_cue="calm")
    played = rehearse(show, (Press(0, button=1),), 5000, [(500.0, inf)])
    assert [one.at_ms for one in played.refusals] == [20.0 * n for n in range(75, 100)]
    assert runs(played) == [("busy", 0.0, 1980.0), ("calm", 1980.0, 2280.0)]


def test_a_lost_cue_that_waits_is_not_asked_for_again() -> None:
    busy = lasting("busy", 0, ms=2000)
    calm = lasting("calm", 0, ms=300, conflict="wait")
    show = show_of(busy, calm, lost_ms=1000, lost_cue="calm")
    played = rehearse(show, (Press(0, button=1),), 5000, [(500.0, inf)])
    assert played.refusals == ()
    assert runs(played) == [("busy", 0.0, 1980.0), ("calm", 1980.0, 2280.0)]


# -- starts ----------------------------------------------------------------------------------------


def test_a_cue_that_is_bound_twice_is_started_twice() -> None:
    show = show_of(lasting("a", 0, ms=500), bindings=(Binding(1, "a"), Binding(1, "a")))
    played = rehearse(show, (Press(1000, button=1),), 3000)
    assert runs(played) == [("a", 980.0, 1000.0), ("a", 980.0, 1480.0)]


def test_a_second_down_without_an_up_is_one_more_down() -> None:
    """The first up lets go of what is held; the second one finds nothing."""
    body = Repeat(InTurn((Throw("fan0", True), Hold(200))), None, while_held=True)
    show = show_of(Cue("a", "", body))
    presses = (Press(1000, button=1, held_ms=1000), Press(1500, button=1, held_ms=210))
    played = rehearse(show, presses, 3000)
    # two passes: the button goes up in frame 86, at 1720 ms
    assert runs(played) == [("a", 980.0, 1500.0), ("a", 1480.0, 1880.0)]


def test_the_bindings_of_a_stop_button_are_ignored_and_not_refused() -> None:
    bindings = (Binding(30, "a"), Binding(1, "a"))
    show = show_of(lasting("a", 0, ms=500), bindings=bindings)
    played = rehearse(show, (Press(1000, button=30), Press(1500, button=30)), 3000)
    assert (runs(played), played.refusals) == ([], ())
    assert [span.mode for span in played.modes] == ["ready", "limp"]


def test_a_cue_that_waits_keeps_only_the_button_of_its_last_start() -> None:
    """It has a part for letting go, so it waits no more when its button goes up, at 1300 ms."""
    busy = lasting("busy", 0, ms=1000)
    late = lasting("late", 0, ms=300, conflict="wait", let_go="part")
    show = show_of(
        busy,
        late,
        lasting("part", 0, ms=100),
        bindings=(Binding(1, "busy"), Binding(2, "late"), Binding(3, "late")),
    )
    first = Press(1000, button=1)
    button, name = Press(1200, button=2), Press(1200, cue="late")
    alone = [("busy", 980.0, 1980.0)]
    both = [*alone, ("late", 1980.0, 2280.0), ("part", 2280.0, 2380.0)]
    for presses, wanted in (
        ((button,), alone),
        ((name,), both),
        ((button, replace(name, at_ms=1250)), both),
        ((replace(name, at_ms=1150), button), alone),
        ((button, Press(1250, button=3, held_ms=30)), alone),
        (
            (Press(1250, button=3, held_ms=3000), replace(button, at_ms=1240)),
            [*alone, ("late", 1980.0, 4260.0), ("part", 4240.0, 4340.0)],
        ),
    ):
        assert runs(rehearse(show, (first, *presses), 6000)) == wanted, presses


def test_a_cue_without_a_part_for_letting_go_waits_on_when_its_button_goes_up() -> None:
    busy, late = lasting("busy", 0, ms=1000), lasting("late", 0, ms=300, conflict="wait")
    played = rehearse(show_of(busy, late), (Press(1000, button=1), Press(1200, button=2)), 4000)
    assert runs(played) == [("busy", 980.0, 1980.0), ("late", 1980.0, 2280.0)]


def test_what_waits_is_forgotten_by_a_stop() -> None:
    busy, late = lasting("busy", 0, ms=1000), lasting("late", 0, ms=300, conflict="wait")
    presses = (
        *(Press(1000, button=1), Press(1200, button=2)),
        *(Press(1400, action="stop"), Press(1600, action="standby")),
    )
    played = rehearse(show_of(busy, late), presses, 4000)
    assert runs(played) == [("busy", 980.0, 1400.0)]


def test_a_cue_takes_what_it_uses_and_leaves_the_other_one_the_rest() -> None:
    """One that loses its last output ends in that frame; one that keeps an output goes on."""
    a, b, c = lasting("a", 0, 1, ms=2000), lasting("b", 1, ms=500), lasting("c", 0, 1, ms=500)
    played = rehearse(show_of(a, b, c), (Press(1000, button=1), Press(1200, button=2)), 5000)
    assert runs(played) == [("a", 980.0, 2980.0), ("b", 1180.0, 1680.0)]
    played = rehearse(show_of(a, b, c), (Press(1000, button=1), Press(1200, button=3)), 5000)
    assert runs(played) == [("a", 980.0, 1200.0), ("c", 1180.0, 1680.0)]


# -- idle ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ms", "lasts_ms"), [(1, 700.0), (699, 700.0), (700, 700.0), (701, 701.0)])
def test_what_idle_does_while_an_output_glides_back_takes_as_long_as_the_glide_at_least(
    ms: int, lasts_ms: float
) -> None:
    """Idle wants 50 % from -20 ms on and 20 % from 980 ms on. The cue has the lamp from 580 to
    880 ms, so the way back of 800 ms ends at 1680 ms."""
    row = (Fade("lamp", 50.0, 100), Hold(900), Fade("lamp", 20.0, ms), Hold(5000))
    idle = Cue("idle", "", InTurn(row))
    flash = Cue("flash", "", InTurn((Fade("lamp", 90.0, 100), Hold(200))))
    show = show_of(flash, idle, idle=("idle",), bindings=(Binding(1, "flash"),), glide_ms=800)
    played = rehearse(show, (Press(600, button=1),), 5000)
    pieces = [
        (one.start_ms, one.target[0], one.duration_ms) for one in played.lights["lamp"] if one.cue
    ]
    assert pieces == [
        (-20.0, 100.0, 100.0),
        (580.0, 180.0, 100.0),
        (880.0, 100.0, 800.0),
        (980.0, 40.0, lasts_ms),
    ]


def test_what_a_cue_ends_with_is_given_back_only_to_idle_that_uses_it() -> None:
    """Idle uses the first switch and wants it off; the second stays as the cue has left it."""
    idle = Cue("idle", "", InTurn((Throw("fan0", False), Hold(60_000))))
    cue = lasting("a", 0, 1, ms=500)
    show = show_of(cue, idle, idle=("idle",), bindings=(Binding(1, "a"),))
    thrown = rehearse(show, (Press(1000, button=1),), 3000).switches
    first, second = ([(one.start_ms, one.on) for one in thrown[f"fan{n}"]][1:] for n in (0, 1))
    assert first == [(-20.0, False), (980.0, True), (1480.0, False)]
    assert second == [(980.0, True)]


def test_a_strand_that_ends_begins_anew_at_its_end_and_no_sooner_than_a_frame_later() -> None:
    for ms, starts in (
        (5, [-20.0, 0.0, 20.0]),
        (20, [-20.0, 0.0, 20.0]),
        (30, [-20.0, 10.0, 40.0]),
    ):
        idle = Cue("idle", "", InTurn((Throw("fan0", True), Hold(ms))))
        show = show_of(idle, idle=("idle",), bindings=())
        thrown = rehearse(show, (), 100).switches["fan0"]
        assert [one.start_ms for one in thrown if one.cue][:3] == starts
