"""What is seen of rows of pieces at single instants, worked by hand.

Lightness is CIE L* (ISO/CIE 11664-4): of 50 % the luminance is ((50 + 16) / 116)^3. The weights of
the colours are those of sRGB (IEC 61966-2-1). Bars and effects: TABLE.md, sections 13 and 3.4.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.light.effects import FULL, multipliers
from sim.model import (
    UNIFORM,
    Cue,
    Effect,
    Lamp,
    Law,
    LevelBar,
    Press,
    Repeat,
    Shine,
    Show,
    Strip,
    Throw,
    Together,
)
from sim.model import InTurn as Row
from sim.rehearsal import sampling
from sim.rehearsal.followers import FollowedSpan
from sim.rehearsal.motion import MotionPiece, begin, resting
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import levels, motion, sample, under_way
from sim.rehearsal.trajectories import Fading, Modulation, Throwing, TimeSpan, Trajectories
from sim.rulebook import CLOCK_PER_MS
from tests.sim.one_motion import limits_by_deg
from tests.sim.small_shows import BELLY, FAN, LURE, move, show_of

LIMITS = limits_by_deg(900, 9000, (-90.0, 90.0))
STILL = rehearse(show_of(Cue("a", "", Throw("fan", True))), (), 2000)
HALF = ((50.0 + 16.0) / 116.0) ** 3
"""Luminance of 50 %."""


def played(show: Show | None = None, **rows: object) -> Trajectories:
    """The resting rehearsal with other rows, and of another rig."""
    changed = {name: {**getattr(STILL, name), **row} for name, row in rows.items()}  # type: ignore[dict-item]
    return replace(STILL, show=show or STILL.show, **changed)  # type: ignore[arg-type]


def with_outputs(*changed: object, **rig: object) -> Show:
    """The show with these in the place of its outputs of the same names, or behind them."""
    found = {one.name: one for one in STILL.show.rig.outputs}
    found.update({one.name: one for one in changed})  # type: ignore[attr-defined]
    return replace(STILL.show, rig=replace(STILL.show.rig, outputs=tuple(found.values()), **rig))  # type: ignore[arg-type]


def shown(level: float, *, strip: bool = False) -> tuple[Fading]:
    """A light that rests at a level (percent)."""
    here = (2 * level,) * (3 if strip else 1)
    return (Fading(0.0, 0.0, here, here),)


# -- motion ----------------------------------------------------------------------------------------


def moved(row: list[MotionPiece], at_ms: float, target: float, ms: int, law: Law) -> None:
    row.append(
        begin(row[-1], int(at_ms * CLOCK_PER_MS), target, ms * CLOCK_PER_MS, law, LIMITS, "a")
    )


@pytest.fixture
def there_and_back() -> list[MotionPiece]:
    """Up by 30 deg in 300 ms, evenly; half way there down to 0. At 100 deg/s the brake at
    9000 deg/s2 takes 11.1 ms and 0.556 deg."""
    row = [resting(0, 0.0)]
    moved(row, 100.0, 30.0, 300, UNIFORM)
    moved(row, 250.0, 0.0, 500, UNIFORM)
    return row


def test_at_the_start_and_the_end_of_a_move_the_later_side_stands(
    there_and_back: list[MotionPiece],
) -> None:
    row = there_and_back[:2]
    angle, speed = motion(row, [0.0, 99.0, 100.0, 250.0, 399.0, 400.0, 900.0], 1)
    assert angle == pytest.approx([0.0, 0.0, 0.0, 15.0, 29.9, 30.0, 30.0], abs=1e-6)
    assert speed == pytest.approx([0.0, 0.0, 100.0, 100.0, 100.0, 0.0, 0.0], abs=1e-6)


def test_a_brake_dies_away_with_its_own_acceleration(there_and_back: list[MotionPiece]) -> None:
    """Of 100 deg/s half is left after half the time, and of the way a quarter."""
    brake_ms = there_and_back[2].brake_ms
    assert brake_ms == pytest.approx(1000 * 100 / 9000, abs=0.01)
    times = 250.0 + brake_ms * np.array([0.0, 0.5, 0.99])
    angle, speed, gain = motion(there_and_back, times)
    way = 0.1 * brake_ms / 2
    assert angle == pytest.approx([15.0, 15 + 0.75 * way, 15 + way * (1 - 1e-4)], abs=1e-3)
    assert speed == pytest.approx([100.0, 50.0, 1.0], abs=0.1)
    assert gain == pytest.approx([-9000.0] * 3, rel=1e-3)
    assert motion(there_and_back, [250.0 + brake_ms], 2)[2] == pytest.approx([0.0], abs=1e-6)


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_as_many_derivatives_come_as_are_asked_for(
    there_and_back: list[MotionPiece], order: int
) -> None:
    times = np.array([700.0, 255.0, 100.0, 255.0, 300.0])
    every = motion(there_and_back, times, 3)
    some = motion(there_and_back, times, order)
    room = np.full((order + 1, 5), np.nan)
    filled = motion(there_and_back, times, order, room)
    assert len(some) == len(filled) == order + 1
    for one, other, whole, row in zip(some, filled, every, room, strict=False):
        assert one.tolist() == other.tolist() == whole.tolist() == row.tolist()
    assert len(motion(there_and_back, times)) == 3


@pytest.mark.parametrize("block", [1, 2, 7, 100])
def test_blocks_of_any_size_give_the_same_samples(
    block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    up_and_down = Row(
        (move("jaw", 50, 300), move("jaw", 9, 200, "cycloidal"), move("jaw", 30, 100))
    )
    show = show_of(Cue("a", "", Together((up_and_down, Repeat(move("fin", 30, 40), 3)))))
    row = rehearse(show, (Press(500, button=1), Press(900, button=1)), 2000).motions["jaw"]
    times = np.arange(450.0, 1700.0, 7.0)
    whole = motion(row, times, 3)
    monkeypatch.setattr(sampling, "BLOCK", block)
    for one, other in zip(motion(row, times, 3), whole, strict=True):
        assert one.tolist() == other.tolist()


def test_a_servo_is_under_way_from_the_start_of_a_move_to_its_end(
    there_and_back: list[MotionPiece],
) -> None:
    """Also while it brakes and turns; not where it is told to be where it stands."""
    moved(there_and_back, 1000.0, 0.0, 300, UNIFORM)
    ends_ms = there_and_back[2].end_ms
    assert 250.0 + 500.0 <= ends_ms < 765.0
    turns_ms = 250.0 + there_and_back[2].brake_ms
    times = np.array([99.0, 100.0, 249.0, 250.0, turns_ms, ends_ms - 1, ends_ms, 1000.0, 1100.0])
    going = under_way(played(motions={"jaw": tuple(there_and_back)}), "jaw", times)
    assert going.tolist() == [False, *[True] * 5, False, False, False]


def test_what_follows_hides_its_own_row_as_long_as_it_does(
    there_and_back: list[MotionPiece],
) -> None:
    """From 120 up to 160 ms at 20 deg, then 21 deg; it stands, moves, and its move is hidden."""
    spans = (
        FollowedSpan([120.0, 140.0, 160.0], [20.0, 20.0, 21.0], [0.0, 0.0, 100.0], 180.0),
        FollowedSpan([300.0], [5.0], [0.0], 320.0),
    )
    seen = played(motions={"jaw": tuple(there_and_back)}, followed={"jaw": spans})
    times = np.array([119.9, 120.0, 130.0, 150.0, 179.9, 180.0, 299.9, 300.0, 319.9, 320.0])
    alone = played(motions={"jaw": tuple(there_and_back)})
    jaw, own = (sample(one, times).servos["jaw"] for one in (seen, alone))
    follows = np.array([0, 1, 1, 1, 1, 0, 0, 1, 1, 0], dtype=bool)
    assert jaw.angle_deg[~follows].tolist() == own.angle_deg[~follows].tolist()
    assert jaw.angle_deg[follows] == pytest.approx([20.0, 20.0, 20.25, 21.0, 5.0, 5.0])
    assert jaw.velocity_deg_s[follows] == pytest.approx([0.0, 0.0, 50.0, 100.0, 0.0, 0.0])
    assert jaw.acceleration_deg_s2[follows] == pytest.approx([0, 0, 5000.0, 0, 0, 0])
    assert jaw.jerk_deg_s3[follows].tolist() == [0.0] * 6
    assert jaw.under_way.tolist() == [True, False, False, *[True] * 4, False, False, True]


def test_a_servo_has_pulses_from_the_start_of_a_span_up_to_its_end() -> None:
    seen = played(powered={"jaw": (TimeSpan(100.0, 200.0), TimeSpan(300.0, 400.0))})
    on = sample(seen, [99.0, 100.0, 199.0, 200.0, 299.0, 300.0, 400.0]).servos["jaw"].powered
    assert on.tolist() == [False, True, True, False, False, True, False]


# -- light and switches ----------------------------------------------------------------------------


def test_a_fade_is_shown_from_when_it_is_seen_and_counts_from_its_start() -> None:
    """One of 100 ms from 80 ms on, seen from 100 ms on; one of no time, and one of another law."""
    quick = (
        Fading(0.0, 0.0, (10.0,), (10.0,)),
        Fading(80.0, 100.0, (10.0,), (110.0,), 100.0),
        Fading(200.0, 200.0, (40.0,), (20.0,)),
        Fading(300.0, 300.0, (20.0,), (40.0,), 100.0, Law("harmonic")),
    )
    times = [-5.0, 99.0, 100.0, 130.0, 180.0, 199.0, 200.0, 250.0, 350.0, 325.0, 500.0]
    part = 0.5 * (1 - np.cos(np.pi / 4))
    wanted = [10, 10, 30, 60, 110, 110, 20, 20, 30, 20 + 20 * part, 40]
    assert levels(quick, times)[:, 0] == pytest.approx(wanted)
    backwards = levels(quick, times[::-1])[::-1]
    assert backwards.tolist() == levels(quick, times).tolist()
    for one, level in zip(times, wanted, strict=True):
        assert levels(quick, [one]).tolist() == [[pytest.approx(level)]]


def test_a_lamp_gives_so_much_of_its_light_as_it_is_trimmed_to() -> None:
    seen = sample(played(lights={"lure": shown(50.0)}), [1000.0]).lamps["lure"]
    assert (seen.level_pct[0], seen.luminance[0]) == pytest.approx((50.0, HALF))
    show = with_outputs(replace(LURE, trims=(0.25,)))
    seen = sample(played(show, lights={"lure": shown(50.0)}), [1000.0]).lamps["lure"]
    assert (seen.level_pct[0], seen.luminance[0]) == pytest.approx((50.0, HALF / 4))


def test_a_strip_is_trimmed_colour_by_colour_and_then_capped_as_a_whole() -> None:
    trims = (0.5, 0.25, 1.0)
    light = {"belly": shown(100.0, strip=True)}
    strip = sample(played(with_outputs(replace(BELLY, trims=trims)), lights=light), [1000.0])
    assert strip.strips["belly"].linear == pytest.approx(np.full((1, 7, 3), trims))
    y = 0.2126 * 0.5 + 0.7152 * 0.25 + 0.0722 * 1.0
    assert strip.strips["belly"].luminance == pytest.approx(np.full((1, 7), y), rel=1e-3)
    plain = sample(played(lights=light), [1000.0]).strips["belly"]
    assert plain.linear.tolist() == np.ones((1, 7, 3)).tolist()
    draws_a = 7 * sum(trims) * BELLY.channel_a
    for cap_a, share in ((draws_a, 1.0), (2 * draws_a, 1.0), (draws_a / 5, 0.2)):
        capped = with_outputs(replace(BELLY, trims=trims, cap_a=cap_a))
        linear = sample(played(capped, lights=light), [1000.0]).strips["belly"].linear
        assert linear == pytest.approx(share * np.full((1, 7, 3), trims))


BREATHE = Effect("lure", "breathe", 640, 80.0)


@pytest.mark.parametrize(
    ("weight", "step", "weights"),
    [(1, 1, [1, 1, 2, 11, 16, 16]), (10, -1, [10, 10, 9, 0, 0, 0]), (16, 1, [16] * 6)],
)
def test_an_effect_comes_and_goes_by_a_sixteenth_a_frame(
    weight: int, step: int, weights: list[int]
) -> None:
    """It counts its time from 50 ms on and is seen from 100 ms on; after 320 ms a breath is out."""
    row = (Modulation(0.0, 0.0, None), Modulation(50.0, 100.0, BREATHE, "a", weight, step))
    times = np.array([100.0, 119.0, 120.0, 300.0, 400.0, 900.0])
    share = multipliers(BREATHE, times - 50.0, 1, np.array(weights))[:, 0] / FULL
    seen = played(lights={"lure": shown(50.0)}, effects={"lure": row})
    assert sample(seen, times).lamps["lure"].level_pct == pytest.approx(50.0 * share)
    assert sample(seen, [99.0]).lamps["lure"].level_pct == pytest.approx([50.0])


def test_an_effect_of_a_strip_differs_from_pixel_to_pixel() -> None:
    run = Effect("belly", "run", 700, 100.0, width=2)
    row = (Modulation(0.0, 0.0, run),)
    times = np.array([400.0, 460.0])
    share = multipliers(run, times, 7) / FULL
    seen = played(lights={"belly": shown(50.0, strip=True)}, effects={"belly": row})
    level = sample(seen, times).strips["belly"].level_pct
    assert level == pytest.approx(50.0 * np.repeat(share[:, :, np.newaxis], 3, axis=2))
    assert len(set(level[0, :, 0].tolist())) > 1


def test_an_effect_that_has_not_begun_by_its_own_time_is_at_its_start() -> None:
    row = (Modulation(500.0, 100.0, BREATHE),)
    seen = sample(played(lights={"lure": shown(50.0)}, effects={"lure": row}), [200.0])
    start = multipliers(BREATHE, [0.0])[0, 0] / FULL
    assert seen.lamps["lure"].level_pct == pytest.approx([50.0 * start])


TEN = replace(BELLY, pixels=10)


@pytest.mark.parametrize(
    ("end", "level", "lit"),
    [
        (0, 0.0, [0] * 10),
        (0, 27.5, [1, 1, 0.75, *[0] * 7]),
        (0, 50.0, [*[1] * 5, *[0] * 5]),
        (0, 100.0, [1] * 10),
        (1, 27.5, [*[0] * 7, 0.75, 1, 1]),
        (1, 50.0, [*[0] * 5, *[1] * 5]),
        (2, 27.5, [0, 0, 0, 0.375, 1, 1, 0.375, 0, 0, 0]),
        (2, 50.0, [0, 0, 0.5, 1, 1, 1, 1, 0.5, 0, 0]),
        (2, 100.0, [1] * 10),
    ],
)
def test_a_bar_is_as_long_as_its_lamp_is_bright(end: int, level: float, lit: list[float]) -> None:
    """Of ten pixels a percent is a tenth of one; what is covered in part is lit in part."""
    other = Strip("other", "head", 24, pixels=10)
    show = with_outputs(TEN, other, bars=(LevelBar("belly", "lure", end),))
    lights = {n: shown(50.0, strip=True) for n in ("belly", "other")}
    rows = {
        "lights": {"lure": shown(level), **lights},
        "effects": {"other": STILL.effects["belly"]},
    }
    seen = sample(played(show, **rows), [1000.0]).strips
    share = np.array(lit)[:, np.newaxis] * np.ones((1, 3))
    assert seen["belly"].linear[0] == pytest.approx(HALF * share)
    assert seen["belly"].level_pct[0].tolist() == (50.0 * (share > 0)).tolist()
    assert seen["other"].linear[0] == pytest.approx(np.full((10, 3), HALF))


def test_a_lamp_shines_with_the_move_of_its_own_servo() -> None:
    """At 15 of 0 to 30 deg half way between 20 and 80 %; the other lamp has its own light."""
    other = Lamp("other", "head", 23)
    shines = (
        Shine("lure", "jaw", 0.0, 30.0, 20.0, 80.0),
        Shine("eye", "fin", 0.0, 30.0, 0.0, 90.0),
    )
    show = with_outputs(other, shines=shines)
    show = replace(show, score=replace(show.score, glide_ms=0))
    rows = {
        "motions": {"jaw": (resting(0, 15.0),)},
        "lights": {"lure": shown(10.0), "other": shown(10.0)},
        "effects": {"other": STILL.effects["lure"]},
    }
    spans = {"lure": (TimeSpan(500.0, 900.0),)}
    seen = sample(replace(played(show, **rows), shining=spans), [499.0, 500.0, 899.0, 900.0]).lamps
    assert seen["lure"].level_pct == pytest.approx([10.0, 50.0, 50.0, 10.0])
    assert seen["other"].level_pct == pytest.approx([10.0] * 4)
    never = sample(replace(played(show, **rows), shining={}), [600.0]).lamps["lure"]
    assert never.level_pct == pytest.approx([10.0])


def test_a_lamp_that_follows_hides_its_own_light_as_long_as_it_does() -> None:
    """Half percents from 100 to 120 and back, in the 20 ms from one frame to the next."""
    span = FollowedSpan([100.0, 120.0, 140.0], [100.0, 120.0, 100.0], [0.0] * 3, 150.0)
    seen = played(lights={"lure": shown(10.0)}, followed={"lure": (span,)})
    level = sample(seen, [99.0, 100.0, 110.0, 120.0, 149.0, 150.0]).lamps["lure"].level_pct
    assert level == pytest.approx([10.0, 50.0, 55.0, 60.0, 50.0, 10.0])


def test_a_switch_is_as_it_was_thrown_last() -> None:
    row = (Throwing(0.0, 0.0, False), Throwing(90.0, 100.0, True), Throwing(200.0, 200.0, False))
    seen = sample(played(switches={FAN.name: row}), [-1.0, 99.0, 100.0, 199.0, 200.0, 900.0])
    assert seen.switches["fan"].tolist() == [False, False, True, True, False, False]
