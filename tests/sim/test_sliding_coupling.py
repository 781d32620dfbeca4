"""A show whose parts slide on parts: weights by hand, and rehearsals under their bound."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
import pytest

from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Press, Servo, Show, Wearer
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rig.disturbance import push_nm
from sim.rig.grip import presses
from sim.rig.holding_torque import holding_nm, worst_hold
from sim.rig.slide import PINION_M
from sim.score.planned_moves import planned_moves
from sim.strain.hardest_torque import hardest_torques
from sim.strain.torque_and_current import work

G = 9.80665

HEAD = """
supply pack
    source adapter 6 V, 10 A
board body: atmega328p, address 1
    feed pack
{wearer}
servo rise: body pin PB1
    pulse 1000 us at 0 mm, 2000 us at 60 mm
    travel 2 mm to 58 mm
    rating 60 mm/s, 60 N, 1.2 A at 6 V
    load 500 g
    slope 80 deg
servo jaw: body pin PB2
    on rise at 60 mm, weighs 60 g, sinks
    pulse 1000 us at 0 deg, 2000 us at 90 deg
    travel 0 deg to 40 deg
    rating 0.20 s/60deg, 9.4 kgf.cm, 1.8 A at 6 V
    load 80 g at 55 mm
servo tongue: body pin PB3
    on jaw at 20 mm, weighs 15 g
    slope 10 deg
    pulse 1000 us at 0 mm, 2000 us at 30 mm
    travel 0 mm to 28 mm
    rating 60 mm/s, 15 N, 400 mA at 6 V
    load 20 g
    {grip}
cue look
    rise to 55 mm in 2 s
    jaw to 40 deg in 700 ms
    tongue to 28 mm in 1.5 s
    tongue to 0 mm in 1.5 s
    jaw to 0 deg in 900 ms
    rise to 2 mm in 2 s
cue snap
    jaw to 20 deg, tongue to 10 mm, rise to 20 mm in 1.4 s
remote
    button 1: go look
    button 2: go snap
    stop button 3
"""


def show(wearer: str = "", grip: str = "") -> Show:
    made = load_text(Source("x.cues", HEAD.format(wearer=wearer, grip=grip)))
    assert made.findings == ()
    assert made.show is not None
    return made.show


def servo(name: str, **words: str) -> Servo:
    return next(o for o in show(**words).rig.outputs if isinstance(o, Servo) and o.name == name)


def test_a_slide_holds_all_that_stands_on_it() -> None:
    """500 g, the jaw's 60 g and 80 g, the tongue's 15 g and 20 g, on a slope of 80 deg."""
    held = worst_hold(servo("rise"), Wearer()).torque_nm / PINION_M
    assert held == pytest.approx(0.675 * G * sin(radians(80.0)))


def test_a_jaw_holds_its_tongue_where_that_is_farthest_out() -> None:
    """80 g at 55 mm, 15 g at 20 mm, and 20 g at 20 mm and 28 mm more, 10 deg ahead (down)."""
    far = 0.020 + 0.028 * cos(radians(10.0))
    moment = 0.08 * 0.055 + 0.015 * 0.020 + 0.02 * far
    held = float(holding_nm(servo("jaw"), 0.0, Wearer()))
    assert held == pytest.approx(moment * G)


@pytest.mark.parametrize("open_deg", [0.0, 20.0, 40.0])
def test_a_tongue_slides_down_as_far_as_its_jaw_is_open(open_deg: float) -> None:
    """The jaw may stand anywhere from 0 to 40 deg, and the line lies 10 deg steeper."""
    held = float(holding_nm(servo("tongue"), 10.0, Wearer())) / PINION_M
    assert held >= 0.02 * G * sin(radians(open_deg + 10.0)) * (1.0 - 1e-9)
    assert held == pytest.approx(0.02 * G * sin(radians(50.0)))


def test_a_wearer_who_walks_shakes_all_that_stands_on_a_slide() -> None:
    push = push_nm(servo("rise").load, Wearer(gait="walks")) / PINION_M
    assert push == pytest.approx(0.675 * 0.8 * G)


def test_what_a_tongue_presses_with_its_carriers_bear() -> None:
    """5 N on the tongue: 5 N on the slide, and on the jaw at most 28 + 20 mm from its hinge."""
    found = presses(show(grip="grips 5 N, past 20 mm, for 1 s").rig)
    (on_jaw,), (on_rise,) = found["jaw"], found["rise"]
    assert on_jaw.part_nm == pytest.approx(5.0 * 0.048)
    assert on_rise.part_nm / PINION_M == pytest.approx(5.0)


@pytest.mark.parametrize("seed", range(4))
def test_no_rehearsal_asks_for_more_than_the_bound(seed: int) -> None:
    whole = show(wearer="wearer\n    tilt 15 deg\n")
    bounds = hardest_torques(whole, planned_moves(whole))
    chance = np.random.default_rng(seed)
    times = sorted(chance.integers(1000, 11000, 4).tolist())
    presses_made = tuple(
        Press(int(at), button=int(chance.integers(1, 4 if n == 3 else 3)))
        for n, at in enumerate(times)
    )
    run = rehearse(whole, (Press(900, button=1), *presses_made), 14000)
    samples = sample(run, np.arange(900.0, 14000.0, 10.0))
    seen = work(whole.rig, samples).servos
    for name, bound in bounds.items():
        assert np.abs(seen[name].torque_nm).max() <= bound.torque_nm * (1.0 + 1e-6)
    assert np.abs(seen["rise"].torque_nm).max() > 0.5 * bounds["rise"].torque_nm
