"""Two mirrored servos in one statement: what is wrong with both is said once, in every check."""

from __future__ import annotations

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source

SERVO = """\
servo {name}: body pin {pin}
    pulse {pulse}
    travel 2 deg to 60 deg
    rating 0.17 s/60deg, 2.4 kgf.cm, 2.1 A at 6.0 V, running 60 mA
    load 60 g at 60 mm
    level at 30 deg
"""
SHOW = (
    """\
show "Twins"
supply pack
    source adapter 6.0 V, 12 A
board body: atmega328p, address 1
    feed pack, 300 mm of 18 AWG
    logic 5 V, dropout 0.3 V
"""
    + SERVO.format(name="left", pin="PB1", pulse="900 us at 0 deg, 2100 us at 90 deg")
    + SERVO.format(name="right", pin="PB2", pulse="2100 us at 0 deg, 900 us at 90 deg")
    + """\
safe pose shut
    left and right 4 deg
cue snap
    left and right to 50 deg in 150 ms
    hold 4 s
    left and right to 4 deg in 400 ms, uniform
cue far
    left and right to 70 deg in 2 s
remote
    button 1: go snap
    button 3: go far
    stop button 2
"""
)


def test_each_fault_of_a_statement_for_both_is_one_finding_that_names_both() -> None:
    found = check(load_text(Source("test.cues", SHOW))).findings
    for name in ("servo-speed", "speed-jump", "target-outside-travel"):
        (one,) = [each for each in found if each.name == name]
        said = " ".join((one.message, *one.notes))
        assert "`left`" in said, name
        assert "`right`" in said, name
        assert any("the same goes for" in note for note in one.notes), name
