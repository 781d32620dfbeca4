"""A duration that is computed passes the checks of the show that it was computed for.

Random servos on random feeds, alone, beside other parts and on one another. What a maker can still
be told of such a show is that its supply or its parts do not do at all, not that a computed time is
too short.
"""

from __future__ import annotations

import re

from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding
from seqlang.text.source import Source
from sim.model import Servo
from sim.strain.envelope import assess
from sim.strain.hardest_torque import hardest_torques
from sim.strain.sag import beside_others
from sim.strain.soundness import sound_moves, sound_show

OF_TIME = {"servo-speed", "servo-torque", "servo-acceleration", "voltage-sag"}

FEEDS = st.sampled_from(
    [
        "source adapter 6.0 V, 8 A",
        "source 5 nimh cells, 2000 mAh, 200 mohm",
        "source 2 li-ion cells, 1500 mAh, 60 mohm\n    regulator 6.0 V, 6 A",
        "source 4 nimh cells, 1000 mAh, 360 mohm",
    ]
)
PACES = st.sampled_from(["as fast as it can", "as fast as it can, cycloidal", "in 900 ms"])


@st.composite
def shows(draw: st.DrawFn) -> str:
    count = draw(st.integers(1, 3))
    on_one_another = count > 1 and draw(st.booleans())
    text = f'show "Fast"\nsupply pack\n    {draw(FEEDS)}\n'
    text += "board body: atmega328p, address 1\n"
    text += f"    feed pack, {draw(st.sampled_from(['0.3', '1', '2']))} m of "
    text += f"{draw(st.sampled_from([18, 22, 26]))} AWG\n    logic 5 V, dropout 0.3 V\n"
    for n in range(count):
        text += f"servo part{n}: body pin PB{n + 1}\n"
        text += "    pulse 900 us at 0 deg, 2100 us at 90 deg\n    travel 2 deg to 60 deg\n"
        text += "    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6.0 V, running 60 mA\n"
        if draw(st.booleans()):
            text += f"    acceleration {draw(st.sampled_from([4000, 20000]))} deg/s2\n"
        text += f"    load {draw(st.integers(5, 70))} g at {draw(st.integers(20, 80))} mm\n"
        text += "    level at 10 deg\n"
        if on_one_another and n:
            text += f"    on part{n - 1} at {draw(st.integers(30, 80))} mm, weighs 20 g\n"
    text = re.sub(r"    level at 10 deg\n    on ", "    on ", text)
    text += "safe pose shut\n" + "".join(f"    part{n} 4 deg\n" for n in range(count))
    together = draw(st.booleans())
    for k in range(draw(st.integers(1, 2))):
        text += f"cue snap{k}\n" + ("    together\n" if together else "")
        for n in range(count):
            indent = "        " if together else "    "
            text += f"{indent}part{n} to {draw(st.integers(20, 58))} deg {draw(PACES)}\n"
        text += f"    hold 1 s\n    pose shut in {draw(st.sampled_from([1200, 2500]))} ms\n"
    text += "remote\n    button 1: go snap0\n"
    text += "    button 3: go snap1\n" if "cue snap1" in text else ""
    return text + "    stop button 2\n"


def written_at(text: str, found: Finding) -> str:
    return text[found.span.start : found.span.end]


@settings(max_examples=25, deadline=None, phases=[Phase.generate])
@given(shows())
def test_no_check_finds_a_computed_time_too_short(text: str) -> None:
    loaded = load_text(Source("test.cues", text))
    errors = {f.name for f in loaded.findings if f.severity == "error"}
    assert errors <= {"impossible-move"}, [f.message for f in loaded.findings]
    assume(not errors)  # the show's other times wait until no part of it is impossible
    found = check(loaded).findings
    late = [f for f in found if f.name in OF_TIME and "as fast" in written_at(text, f)]
    # what no duration mends has no change to offer: the supply is at fault
    assert [f.message for f in late if f.fix is not None] == []


WEAK = """\
show "Weak"
supply pack
    source 5 nimh cells, 2000 mAh, 200 mohm
board body: atmega328p, address 1
    feed pack, 1 m of 24 AWG
    logic 5 V, dropout 0.3 V
{servos}safe pose shut
    one 4 deg
    two 4 deg
cue snap
    together
        one to 50 deg as fast as it can
        two to 56 deg as fast as it can
    hold 1 s
    one to 4 deg, two to 4 deg in 2 s
remote
    button 1: go snap
    stop button 2
"""
SERVO = """\
servo {name}: body pin {pin}
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 2 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6.0 V, running 60 mA
    acceleration 9000 deg/s2
    load 100 g at 60 mm
    level at 10 deg
"""


def test_two_at_once_take_the_time_that_passes_beside_each_other_and_little_more() -> None:
    servos = SERVO.format(name="one", pin="PB1") + SERVO.format(name="two", pin="PB2")
    text = WEAK.format(servos=servos)
    loaded = load_text(Source("test.cues", text))
    assert loaded.show is not None
    show = sound_show(loaded.show)
    moves = sound_moves(loaded.show)
    fast = [one for one in moves if one.move.duration_ms < 1000]
    hardest = hardest_torques(show, moves)
    shares = []
    for one in fast:
        (servo,) = (
            o for o in show.rig.outputs if isinstance(o, Servo) and o.name == one.move.output
        )
        volts = beside_others(show, hardest, servo.name)
        assert volts is not None
        lasts = one.move.duration_ms
        at = (one.from_deg, one.move.angle_deg)
        alone = assess(show.rig, servo, *at, lasts, one.move.law)
        low = assess(show.rig, servo, *at, lasts, one.move.law, volts)
        assert alone.peak_share[0] < low.peak_share[0]
        shares.append(float(low.peak_share[0]))
        assert low.passes[0]
    assert max(shares) > 0.79  # of 0.8
    assert [f for f in check(loaded).findings if f.name in OF_TIME] == []
