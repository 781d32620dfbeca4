"""What a show's use comes to, and what two quick fingers could bring about, worked by hand.

A quick finger presses every 120 to 240 ms (common practice, no source). Changes of a tenth of full
light count (WCAG 2.2, general flash), of red those of 20 in 320 (its older working note).
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from sim.light.lightness import lightness, luminance
from sim.model import (
    Adapter,
    Binding,
    Board,
    CalibrationPoint,
    Cells,
    Cue,
    Effect,
    Electrics,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Load,
    Move,
    PointMass,
    Rating,
    Regulator,
    Repeat,
    Rig,
    Score,
    Servo,
    Show,
    Step,
    Strip,
    StripLight,
    Supply,
    Switch,
    Throw,
    Usage,
    Wearer,
)
from sim.rig import battery
from sim.score.planned_moves import planned_moves
from sim.strain.eye import Eye
from sim.strain.hardest_torque import ENDLESS_NM, hardest_torques, hold_nm
from sim.strain.light_states import light_luminance, light_redness
from sim.strain.quick_fingers import (
    _changes_at_once,
    _LightReach,
    _reached,
    _swing,
    hurry,
    hurry_in_turn,
)
from sim.strain.usage import Book, currents, rounds_ms, run_of, run_time, source_mean_a

# -- quick fingers --------------------------------------------------------------------------------

LURE = Lamp("lure", "b", 9)
BELLY = Strip("belly", "b", 3, pixels=3)


def cue(*steps: Step, name: str = "c") -> Cue:
    return Cue(name, "", InTurn(steps))


def fade(to: float, ms: int) -> Fade:
    return Fade("lure", to, ms)


@pytest.mark.parametrize(
    ("steps", "changes"),
    [
        ((fade(90, 40), fade(0, 40)), True),
        ((fade(90, 40),), False),
        ((fade(90, 40), Fade("belly", StripLight((9, 9, 9)), 40)), False),
        ((Effect("lure", "breathe", 400),), True),
        ((Effect("lure", "steady"),), False),
        # what comes after the slowest of quick presses has no time to
        ((fade(90, 40), Hold(200), fade(0, 40)), True),
        ((fade(90, 40), Hold(201), fade(0, 40)), False),
        ((Hold(240), Effect("lure", "breathe", 400)), True),
        ((Hold(241), Effect("lure", "breathe", 400)), False),
    ],
)
def test_a_light_that_goes_there_and_back_before_the_next_press_changes_at_once(
    steps: tuple[Step, ...], changes: bool
) -> None:
    assert _changes_at_once(cue(*steps)) is changes


@pytest.mark.parametrize(
    ("steps", "share"),
    [
        ((fade(90, 480),), 0.5),
        ((fade(90, 240),), 1.0),
        ((fade(90, 100),), 1.0),
        ((fade(90, 0),), 1.0),
        ((Hold(120), fade(90, 480)), 0.25),
        ((Hold(239), fade(90, 10)), 0.1),
        ((Hold(240), fade(90, 10)), None),
        # the first fade of a light counts
        ((fade(90, 120), fade(0, 480)), 1.0),
    ],
)
def test_a_fade_goes_as_far_as_the_next_press_lets_it(
    steps: tuple[Step, ...], share: float | None
) -> None:
    one = cue(*steps)
    eye = Eye(Show(Rig((), (), (LURE,)), Score("t", (one,))))
    found = _reached(eye, one)
    if share is None:
        assert found == {}
        return
    assert found == {"lure": _LightReach(float(luminance(90.0)), 0.0, pytest.approx(share))}  # type: ignore[arg-type]


def reach(light: float | StripLight, share: float = 1.0) -> dict[str, _LightReach]:
    return {"l": _LightReach(light_luminance(light), light_redness(light), share)}


def test_two_cues_swing_a_light_by_what_each_reaches_of_the_way() -> None:
    """Of the way w between dark and full, each goes a share p of what is left: w p / (2 - p).

    At a half, a third of L*: up from dark to L* 33.3, or down from full to 66.7, whichever is more.
    """
    assert _swing(reach(0.0), reach(100.0)) == pytest.approx(1.0 / 0.1)
    halves = _swing(reach(0.0, 0.5), reach(100.0, 0.5))
    assert halves == pytest.approx((1.0 - float(luminance(200.0 / 3.0))) / 0.1)
    assert _swing(reach(100.0, 0.5), reach(0.0, 0.5)) == pytest.approx(halves)
    one_at_once = _swing(reach(0.0, 1.0), reach(100.0, 0.5))
    assert one_at_once == pytest.approx((1.0 - float(luminance(50.0))) / 0.1)
    assert _swing(reach(60.0), reach(60.0)) == 0.0
    assert _swing(reach(0.0), {"m": _LightReach(1.0, 0.0, 1.0)}) == 0.0


def test_a_red_light_swings_by_its_red() -> None:
    """Full red is luminance 0.2126, so 2.126 times the least; red 1 is 16 times its least."""
    red, black = StripLight((255, 0, 0)), StripLight((0, 0, 0))
    assert _swing(reach(red), reach(black)) == pytest.approx(320.0 / 20.0)
    assert _swing(reach(red, 0.5), reach(black, 0.5)) == pytest.approx(320.0 / 20.0 / 3.0)
    assert _swing(reach(black), reach(red)) == pytest.approx(320.0 / 20.0)
    # of several lights the one that swings most
    both = {**reach(red), "m": reach(0.0)["l"]}, {**reach(black), "m": reach(60.0)["l"]}
    assert _swing(*both) == _swing(*both[::-1]) == pytest.approx(320.0 / 20.0)


# -- use ------------------------------------------------------------------------------------------

FAN = Switch("fan", "b", 4, current_a=0.5)


def fan_show(supply: Supply, *usage: Usage, ms: int = 60_000, **score: object) -> Show:
    body = InTurn((Throw("fan", True), Hold(ms), Throw("fan", False)))
    board = Board("b", "any", 1, supply.name, electrics=Electrics(0.03))
    cues = (Cue("blow", "", body), Cue("on", "", InTurn((Throw("fan", True), Hold(50)))))
    return Show(Rig((supply,), (board,), (FAN,)), Score("s", cues, usage=usage, **score))  # type: ignore[arg-type]


WALL = Supply("p", Adapter(6.0, 9.0))


@pytest.mark.parametrize(
    ("once_ms", "round_"), [(5, (None, None)), (9, (None, None)), (10, (5, 10)), (20, (10, 20))]
)
def test_a_loop_that_is_shorter_than_a_sample_of_ten_milliseconds_is_none(
    once_ms: int, round_: tuple[int | None, int | None]
) -> None:
    """Every 2 ms is a sample: the second round of 20 ms goes from the tenth to the twentieth."""
    on = Cue("on", "", InTurn((Throw("fan", True), Repeat(Hold(once_ms), None))))
    show = fan_show(WALL)
    assert run_of(replace(show, score=replace(show.score, cues=(on,))), on).goes_round == round_


ENDLESS = Repeat(Hold(300), None)
HELD = Repeat(Hold(200), None, while_held=True)


@pytest.mark.parametrize(
    ("steps", "rounds"),
    [
        ((Hold(500),), ()),
        ((Hold(500), Repeat(Hold(300), 4)), ()),
        # without end: its second pass; while a button is held: the one that is planned
        ((Hold(500), ENDLESS), ((800.0, 1100.0),)),
        ((Hold(500), HELD), ((500.0, 700.0),)),
        ((HELD, Hold(500), ENDLESS), ((0.0, 200.0), (1000.0, 1300.0))),
        # a loop of no time never comes round, and what stands behind one without end never comes
        ((Hold(500), Repeat(Hold(0), None)), ()),
        ((ENDLESS, ENDLESS), ((300.0, 600.0),)),
        ((ENDLESS, HELD), ((300.0, 600.0),)),
        # a loop around a loop without end never comes round either
        ((Repeat(InTurn((Hold(100), ENDLESS)), None),), ((400.0, 700.0),)),
    ],
)
def test_rounds_that_come_again_and_again_are_those_of_loops_that_are_reached(
    steps: tuple[Step, ...], rounds: tuple[tuple[float, float], ...]
) -> None:
    assert rounds_ms(cue(*steps)) == rounds


def test_where_no_use_is_stated_nothing_is_crowded() -> None:
    mix = Book(fan_show(WALL)).mix()
    assert (mix.stated, mix.crowded, mix.asked, mix.alone) == (False, False, 1.0, ())


def test_a_cue_is_looked_at_over_its_own_length_every_two_milliseconds() -> None:
    show = fan_show(WALL, ms=2000)
    blow, on = show.score.cues
    run = run_of(show, blow)
    assert (run.cue, run.lasts_s, len(run.samples.times_ms)) == ("blow", 2.0, 1000)
    assert run.samples.times_ms[1] - run.samples.times_ms[0] == 2.0
    assert bool(run.samples.switches["fan"].all())
    endless = run_of(show, replace(on, body=Repeat(on.body, None)))
    assert (endless.lasts_s, len(endless.samples.times_ms)) == (inf, 4000)
    still = run_of(show, None)
    assert (still.cue, still.lasts_s, len(still.samples.times_ms)) == (None, 1.0, 500)
    assert not still.samples.switches["fan"].any()


@pytest.mark.parametrize(("ms", "samples"), [(0, 5), (4, 5), (10, 5), (12, 6)])
def test_a_cue_that_is_over_at_once_is_looked_at_for_ten_milliseconds(
    ms: int, samples: int
) -> None:
    steps = (Throw("fan", True), Hold(ms)) if ms else (Throw("fan", True),)
    on = Cue("on", "", InTurn(steps))
    show = fan_show(WALL)
    run = run_of(replace(show, score=replace(show.score, cues=(on,))), on)
    assert (run.lasts_s, len(run.samples.times_ms)) == (ms / 1000.0, samples)
    assert run.worst.supplies["p"].feed_a[-1] == pytest.approx(0.53)


@pytest.mark.parametrize(
    ("wearer", "worst", "settled"),
    # a walking wearer adds 0.8 g either way (`sim.rig.disturbance`), which does not last
    [(Wearer(), 1.0, 1.0), (Wearer(gait="walks"), 1.8, 1.0)],
)
def test_a_run_has_the_wearer_s_jolts_for_peaks_and_none_for_heat_and_energy(
    wearer: Wearer, worst: float, settled: float
) -> None:
    """100 g at 100 mm, held level."""
    show = jaw_show(Cue("still", "", Hold(100)))
    run = run_of(replace(show, rig=replace(show.rig, wearer=wearer)), None)
    held = 0.1 * 9.80665 * 0.1
    for work, times in ((run.worst, worst), (run.settled, settled), (run.upright, settled)):
        assert work.servos["jaw"].torque_nm == pytest.approx(times * held, rel=1e-6)


@pytest.mark.parametrize(("ms", "step_ms"), [(60_000, 2), (60_010, 10)])
def test_a_cue_of_more_than_a_minute_is_looked_at_every_ten_milliseconds(
    ms: int, step_ms: int
) -> None:
    show = fan_show(WALL, ms=ms)
    run = run_of(show, show.score.cues[0])
    assert run.step_ms == step_ms
    assert np.ptp(np.diff(run.samples.times_ms)) == pytest.approx(0.0, abs=1e-9)
    assert run.samples.times_ms.size == ms // step_ms


@pytest.mark.parametrize(
    ("per_hour", "window_s", "share", "crowded"),
    [
        (1.5, 3600.0, 1.5 / 60, False),
        (60.0, 3600.0, 1.0, False),
        (61.0, 3600.0, 1.0, True),
        # a run in ten minutes is six an hour; any more is two
        (6.0, 600.0, 0.1, False),
        (6.1, 600.0, 0.2, False),
    ],
)
def test_a_mix_is_made_of_runs(
    per_hour: float, window_s: float, share: float, crowded: bool
) -> None:
    mix = Book(fan_show(WALL, Usage("blow", per_hour))).mix(window_s)
    assert mix.stated
    assert mix.crowded is crowded
    shares = {one.cue: one.share for one in mix.shares}
    assert shares["blow"] == pytest.approx(share)
    assert shares.get(None, 0.0) == pytest.approx(1.0 - share, abs=1e-9)


def test_two_lines_of_use_of_one_cue_add_up() -> None:
    mix = Book(fan_show(WALL, Usage("blow", 10.0), Usage("blow", 20.0))).mix()
    assert {one.cue: one.share for one in mix.shares} == pytest.approx({"blow": 0.5, None: 0.5})


def test_a_source_before_a_regulator_gives_the_power_over_its_efficiency() -> None:
    """5 V and 0.53 A through 80 % are 3.3125 W; from 12 V, 0.276 A, and 0.0156 A at rest."""
    supply = Supply("p", Adapter(12.0, 9.0), Regulator(5.0, 9.0, 0.3, efficiency=0.8))
    book = Book(fan_show(supply, Usage("blow", 30.0)))
    found = currents(book, supply, book.mix())
    at_work, at_rest = 5.0 * 0.53 / 0.8 / 12.0, 5.0 * 0.03 / 0.8 / 12.0
    assert found.source_mean_a == pytest.approx((at_work + at_rest) / 2.0, rel=2e-3)
    square = (at_work**2 + at_rest**2) / 2.0
    assert found.source_rms_a == pytest.approx(square**0.5, rel=2e-3)
    assert found.mean_a == pytest.approx(0.28, rel=2e-3)
    assert source_mean_a(book, supply, book.mix()) == pytest.approx(found.source_mean_a)
    assert run_time((book,), supply) is None


def test_rows_of_cells_last_longer() -> None:
    pack = Supply("p", Cells("li-ion", 2, 2.0, parallel=2))
    book = Book(fan_show(pack, Usage("blow", 60.0)))
    found = run_time((book,), pack)
    assert found is not None
    assert found.mean_a == pytest.approx(0.53, rel=2e-3)
    assert found.hours == pytest.approx(2 * 2.0 * battery.USABLE / 0.53, rel=2e-3)


@pytest.mark.parametrize(
    ("blows", "raised_share"),
    # a minute of each: `raise` holds the arm level at its end, and it stays so while nothing runs
    [((Usage("blow", 60.0),), 0.0), ((Usage("blow", 30.0),), 0.5)],
)
def test_a_part_that_was_left_raised_counts_while_nothing_runs_and_not_beside_a_cue(
    blows: tuple[Usage, ...], raised_share: float
) -> None:
    """A cue is looked at from the safe pose, where the arm hangs straight down and takes nothing.

    300 g at 100 mm, level: 0.294 of 1 N.m, so as much of 2 A, with no running current.
    """
    arm = Servo(
        "arm", "b", 1, (CalibrationPoint(-90.0, 900.0), CalibrationPoint(90.0, 2100.0)),
        (-90.0, 60.0), (Rating(6.0, 400.0, 1.0, 2.0, 0.0),), idle_a=0.0, safe_deg=-90.0,
        load=Load((PointMass(0.3, 0.1),)),
    )  # fmt: skip
    lifts = Cue("raise", "", InTurn((Move("arm", 0.0, 2000),)))
    show = fan_show(WALL, *blows)
    score = replace(show.score, cues=(*show.score.cues, lifts))
    show = replace(show, rig=replace(show.rig, outputs=(FAN, arm)), score=score)
    book = Book(show)
    held_a = 2.0 * 0.3 * 9.80665 * 0.1
    blow_share = 1.0 - raised_share
    expected = 0.03 + blow_share * 0.5 + raised_share * held_a
    assert source_mean_a(book, WALL, book.mix()) == pytest.approx(expected, rel=3e-3)


# -- the hardest torque ---------------------------------------------------------------------------

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
JAW = Servo(
    "jaw", "b", 1, POINTS, (0.0, 60.0), (Rating(6.0, 400.0, 1.0, 2.0),),
    load=Load((PointMass(0.1, 0.1),)), accel_deg_s2=100.0, safe_deg=0.0,
)  # fmt: skip


def jaw_show(*cues: Cue) -> Show:
    return Show(Rig((), (Board("b", "any", 1),), (JAW,)), Score("s", cues))


def test_a_servo_that_no_cue_moves_only_holds_its_hardest_pose() -> None:
    """100 g at 100 mm, level at 0 deg."""
    still = hardest_torques(jaw_show(), [])["jaw"]
    assert still.torque_nm == pytest.approx(0.1 * 9.80665 * 0.1)
    assert (still.moves, still.cue) == (False, None)
    assert hold_nm(jaw_show().rig) == {"jaw": pytest.approx(still.torque_nm)}


def test_the_cue_with_the_hardest_move_is_named() -> None:
    slow = Cue("slow", "", Move("jaw", 50.0, 4000))
    quick = Cue("quick", "", Move("jaw", 55.0, 400))
    none = Cue("none", "", Move("jaw", 55.0, 0))
    for cues in ((slow, quick, none), (none, quick, slow)):
        show = jaw_show(*cues)
        found = hardest_torques(show, planned_moves(show))["jaw"]
        assert found.cue == "quick"
        assert found.torque_nm >= 0.1 * 9.80665 * 0.1
        assert found.torque_nm < ENDLESS_NM


# -- quick fingers over time ----------------------------------------------------------------------


@pytest.mark.parametrize(("lit_ms", "every_ms"), [(60, 120), (150, 180), (210, 240), (250, None)])
def test_a_button_is_pressed_eight_five_and_four_times_a_second(
    lit_ms: int, every_ms: int | None
) -> None:
    """The light goes out only where the next press comes after that."""
    quick = Cue("quick", "", InTurn((fade(100, 0), Hold(lit_ms), fade(0, 0))))
    rig = Rig((), (Board("b", "any", 1),), (LURE,))
    eye = Eye(Show(rig, Score("t", (quick,), (Binding(1, "quick"),))))
    found = hurry(eye, quick)
    if every_ms is None:
        assert found is None
        return
    assert found is not None
    assert (found.cues, found.every_ms) == ((quick,), every_ms)
    assert found.found.count >= 4


def test_a_cue_that_flashes_by_itself_needs_no_finger() -> None:
    beat = InTurn((fade(100, 0), Hold(60), fade(0, 0), Hold(60)))
    strobe = Cue("strobe", "", Repeat(beat, 6))
    rig = Rig((), (Board("b", "any", 1),), (LURE,))
    assert hurry(Eye(Show(rig, Score("t", (strobe,), (Binding(1, "strobe"),)))), strobe) is None


@pytest.mark.parametrize(("share", "flashes"), [(0.098, False), (0.102, True), (0.12, True)])
@pytest.mark.parametrize("first", ["dark", "lit"])
def test_two_buttons_flash_from_a_tenth_of_full_light_on(
    share: float, flashes: bool, first: str
) -> None:
    lit, dark = (
        Cue(n, "", fade(to, 0)) for n, to in (("lit", float(lightness(share))), ("dark", 0))
    )
    cues = (dark, lit) if first == "dark" else (lit, dark)
    bindings = tuple(Binding(n, one.name) for n, one in enumerate(cues, 1))
    rig = Rig((), (Board("b", "any", 1),), (LURE,))
    assert (hurry_in_turn(Eye(Show(rig, Score("t", cues, bindings))), cues) is not None) is flashes


def test_of_several_pairs_the_one_that_changes_a_light_most_is_looked_at_first() -> None:
    """Full to dark before half to dark; a pair that changes nothing is none."""
    full, half, dark = (
        Cue(name, "", Fade("lure", to, 0))
        for name, to in (("full", 100.0), ("half", 60.0), ("dark", 0.0))
    )
    rig = Rig((), (Board("b", "any", 1),), (LURE,))
    cues = (half, dark, full)
    show = Show(rig, Score("t", cues, tuple(Binding(n, c.name) for n, c in enumerate(cues, 1))))
    found = hurry_in_turn(Eye(show), cues)
    assert found is not None
    assert {one.name for one in found.cues} == {"full", "dark"}
    assert found.every_ms == 120
    assert hurry_in_turn(Eye(show), (full,)) is None
