"""A show of five boards, one of which leads, with all that boards must agree about."""

from __future__ import annotations

from typing import Final

from firmware_gen.table.records import Table
from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source

PARTS: Final = ("head", "tail", "left_wing", "right_wing")
"""Boards that follow."""

_STRANDS: Final = """\
cue breathe
    neck to 4 deg in 1.7 s
    neck to -4 deg in 1.9 s

cue drift
    head_a to 6 deg in 2.1 s
    tail_a to -8 deg .. 8 deg in 1.2 s
    head_a to -6 deg in 2.3 s

cue blink
    head_eye fade to 60 % in 400 ms
    hold 1.4 s .. 3.6 s
    head_eye fade to 10 % in 600 ms
"""
_CUES: Final = """\
cue wag "While the button is held"
    tail_a to 35 deg in 800 ms
    tail_a to -35 deg in 900 ms

cue spread, if busy wait
    left_wing_b and right_wing_b to 40 deg in 1.5 s
    repeat while held
        hold 100 ms
    when let go
        left_wing_b and right_wing_b to -20 deg in 900 ms
        left_wing_eye and right_wing_eye fade to 5 % in 400 ms

cue look, if busy refuse
    neck to 25 deg in 1 s
    head_b to 30 deg in 1 s
    head_eye fade to 100 % in 300 ms
    hold 700 ms
    neck to -10 deg in 1.2 s

cue hum "Until something else wants the wings"
    repeat for ever
        left_wing_b to 12 deg in 600 ms
        right_wing_b to 12 deg in 600 ms
        left_wing_b to 2 deg in 600 ms
        right_wing_b to 2 deg in 600 ms

cue nod
    head_b to 10 deg in 300 ms
    head_b to -10 deg in 400 ms

idle: go breathe, drift, blink, back in 700 ms

remote
    button 1: go wave
    button 2: go wag while held
    button 3: go spread
    button 4: go look
    button 5: go hum
    button 6: go nod
    stop button 7
    lost 3 s: go nod
"""


def _servo(name: str, board: str, pin: str) -> str:
    return f"""\
servo {name}: {board} pin {pin}
    pulse       1000 us at -50 deg, 2000 us at 50 deg
    travel      -45 deg to 45 deg
    rating      0.12 s/60deg, 12 kgf.cm, 2.4 A at 6.0 V
    load        rod 30 g, 100 mm

"""


def text() -> str:
    boards = "".join(
        f"board {name}: atmega2560, address {number}{leads}\n    feed pack, 300 mm of 12 AWG\n"
        for number, (name, leads) in enumerate(
            (("trunk", ", leads"), *((part, "") for part in PARTS)), 1
        )
    )
    servos = _servo("neck", "trunk", "PA0") + "".join(
        _servo(f"{part}_{which}", part, pin)
        for part in PARTS
        for which, pin in (("a", "PA0"), ("b", "PA1"))
    )
    lamps = "".join(f"lamp {part}_eye: {part} pin PH3\n" for part in PARTS)
    every_a = " and ".join(f"{part}_a" for part in PARTS)
    wave = "".join(f"            {part}_a to {{0}} deg in 1.1 s\n" for part in PARTS)
    return f"""\
show "Creature of five boards"

supply pack
    source adapter 6 V, 60 A

{boards}
{servos}{lamps}
safe pose rests
    neck 0 deg
    {every_a} 0 deg
    {" and ".join(f"{part}_b" for part in PARTS)} 0 deg
    {" and ".join(f"{part}_eye" for part in PARTS)} off

{_STRANDS}
cue wave "Everything, for seven seconds"
    repeat 3 times
        stagger 90 ms
{wave.format(30)}        stagger 90 ms
{wave.format(-30)}
{_CUES}"""


def tables() -> list[Table]:
    """Of all boards, the one that leads first."""
    checked = check(load_text(Source("creature.cues", text())))
    assert checked.show is not None, [
        (one.name, one.message) for one in checked.findings if one.severity == "error"
    ]
    return [board.table for board in checked.show.compiled.boards]
