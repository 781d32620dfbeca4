"""Shows for the preview page: one of everything on two boards, and one as large as two boards."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from firmware_gen.page.page import page
from seqlang.check import Checked, CheckedShow, check
from seqlang.command._page_notes import page_notes
from seqlang.loading import load_text
from seqlang.text.source import Source
from seqlang.trimming import said_trims
from sim.rehearsal.run_through import run_through
from sim.rehearsal.trajectories import Trajectories

SERVO = """\
    pulse       1000 us at -50 deg, 2000 us at 50 deg
    rating      0.12 s/60deg, 12 kgf.cm, 2.4 A at 6.0 V
"""

EVERYTHING = f"""\
show "Heron with a lantern"

wearer
    tilt        20 deg

supply pack
    source      adapter 6 V, 12 A

board body: atmega328p, address 1
    feed        pack, 300 mm of 16 AWG

board bill: atmega328p, address 2
    feed        pack, 300 mm of 16 AWG

servo neck: body pin PB1
{SERVO}    travel      -40 deg to 40 deg
    axis        upright
    load        rod 60 g, 180 mm

servo head: bill pin PB1
{SERVO}    travel      -30 deg to 30 deg
    on          neck at 180 mm, turned 90 deg
    load        box 90 g, 120 mm by 40 mm by 50 mm

servo wing: body pin PB2
{SERVO}    travel      -30 deg to 40 deg
    load        rod 40 g, 150 mm

servo fold: body pin PB3
{SERVO}    travel      -40 deg to 40 deg
    on          wing at 150 mm, weighs 20 g
    load        plate 12 g, 120 mm by 60 mm, flat

servo crest: bill pin PB2
    pulse       1000 us at 0 mm, 2000 us at 30 mm
    travel      0 mm to 30 mm
    rating      40 mm/s, 30 N, 700 mA at 6 V
    load        40 g

servo lantern: body pin PB4
    pulse       1280 us at -60 rpm, 1490 us at 0 rpm, 1700 us at 60 rpm
    travel      -45 rpm to 45 rpm
    rating      95 rpm, 3.5 kgf.cm, 1.2 A at 6 V
    load        rod 12 g, 140 mm, from -70 mm

lamp eye: bill pin PD3
    leds        1 of 2.1 V, 20 mA
    colour      orange
    on          head at 100 mm

strip spine: body pin PD7
    pixels      60, order grb, each 12 mA, pitch 3 mm
    on          wing
    cap         800 mA
    feed        5 V

switch bell: body pin PD5
    active      high
    draws       50 mA

input 4: bill pin PC0, active low

safe pose folded
    neck and head and wing and fold 0 deg
    crest 0 mm, lantern 0 rpm
    eye 10 %, spine off, bell off

cue breathes "Breathes: runs when nothing else does"
    spine breathe every 4 s, depth 60 %
    spine fade to #0030a0 40 % in 2 s
    repeat for ever
        wing to 6 deg in 2 s
        wing to -6 deg in 2 s

cue look "Looks about"
    together
        neck to 30 deg in 900 ms
        head to 20 deg in 900 ms
    neck to -30 deg in 1.4 s, cycloidal
    together
        neck to 0 deg in 900 ms
        head to 0 deg in 900 ms

cue beat "Beats the wing while the button is held"
    together
        wing to 30 deg in 700 ms
        fold to 30 deg in 700 ms
    together
        wing to -20 deg in 700 ms
        fold to -30 deg in 700 ms

cue show_crest "Raises the crest, lights the eye"
    together
        crest to 25 mm in 1.5 s
        eye fade to 90 % in 1 s
    hold 500 ms
    together
        crest to 0 mm in 1.5 s
        eye fade to 10 % in 1 s

cue spin "The lantern turns"
    bell on
    spine run every 1.6 s, depth 80 %, width 8
    lantern to 40 rpm in 1.5 s
    hold 2 s
    lantern to 0 rpm in 1.5 s
    spine steady
    bell off

cue sag "Lets everything hang: no button"
    wing to -25 deg in 2 s

idle: go breathes

remote
    button 1: go look
    button 2: go beat while held
    button 3: go spin
    button 4: go show_crest
    stop button 5
    lost 2 s: go sag
"""

LED = f"""\
show "Newt in three parts"

supply pack
    source      adapter 6 V, 12 A

board trunk: atmega2560, address 1, leads
    feed        pack, 300 mm of 16 AWG

board tail: atmega2560, address 2
    feed        pack, 300 mm of 16 AWG

board crest: atmega328p, address 3
    feed        pack, 300 mm of 16 AWG

servo neck: trunk pin PA0
{SERVO}    travel      -40 deg to 40 deg
    axis        upright
    load        rod 60 g, 180 mm

servo tip: tail pin PA0
{SERVO}    travel      -40 deg to 40 deg
    load        rod 30 g, 150 mm

servo fan: crest pin PB1
{SERVO}    travel      -40 deg to 40 deg
    load        rod 30 g, 150 mm

strip line: tail pin PA1
    pixels      12, order grb, each 12 mA, pitch 10 mm
    feed        5 V

safe pose folded
    neck and tip and fan 0 deg
    line off

cue drift "Runs when nothing else does"
    line breathe every 4 s, depth 60 %
    line fade to #0030a0 40 % in 2 s
    repeat for ever
        tip to 6 deg in 2 s
        tip to -6 deg in 2 s

cue swim "All parts, for ten seconds"
    repeat 4 times
        together
            neck to 20 deg in 1.2 s
            tip to 30 deg in 1.2 s
            fan to -30 deg in 1.2 s
        together
            neck to -20 deg in 1.2 s
            tip to -30 deg in 1.2 s
            fan to 30 deg in 1.2 s

cue flare "While the button is held"
    fan to 35 deg in 800 ms
    fan to 10 deg in 800 ms

cue sag "Nobody presses it"
    tip and fan to -20 deg in 2 s

idle: go drift

remote
    button 1: go swim
    button 2: go flare while held
    stop button 3
    lost 2 s: go sag
"""
"""A board that leads, one that follows and joins, and one of a small chip."""

STICK = LED.replace(
    """\
safe pose folded
""",
    """\
channel stick: trunk pin PL0
    button 1 from 1700 us to 2100 us
    button 2 from 900 us to 1300 us

channel knob: trunk pin PL1
    button 2 from 1600 us to 1700 us
    button 1 from 1800 us to 2000 us

safe pose folded
""",
)
"""The same with a radio at the board that leads: a stick and a knob press what the buttons do."""

VOICE = STICK.replace(
    """\
    load        rod 60 g, 180 mm
""",
    """\
    load        rod 60 g, 180 mm
    follows     voice from 20 % to 80 %, -20 deg to 20 deg
""",
).replace(
    """\
safe pose folded
""",
    """\
sensor voice: trunk pin PF0
    quiet       below 12 %
    rises       in 20 ms
    falls       in 200 ms

safe pose folded
""",
)
"""And with a sensor there, which a part follows."""


def _snake(joints: int) -> str:
    """Parts on parts, each on the tip of the one before."""
    servos = "".join(
        f"servo part_{n}: spine pin {['PB1', 'PB2', 'PB3', 'PB4', 'PD5'][n]}\n{SERVO}"
        f"    travel      -40 deg to 40 deg\n"
        + (f"    on          part_{n - 1} at 60 mm, weighs 10 g\n" if n else "")
        + "    load        rod 8 g, 60 mm\n\n"
        for n in range(joints)
    )
    names = " and ".join(f"part_{n}" for n in range(joints))
    return f"""\
show "Snake of {joints} parts"

supply cells
    source      5 nimh cells, 2000 mAh, 150 mohm

board spine: atmega328p, address 1
    feed        cells, 600 mm of 22 AWG

{servos}
safe pose straight
    {names} 0 deg

cue coil "Coils up"
    together
        {names} to 25 deg in 900 ms
    {names} to -20 deg in 1.2 s, cycloidal

cue shake "From the root to the tip"
    part_0 to 15 deg in 700 ms, double-S 40 %, 50 %
    part_1 to -15 deg in 600 ms, trapezoid 30 %
    {names} to 0 deg in 900 ms

remote
    button 1: go coil
    button 2: go shake
    stop button 3
"""


SNAKE = _snake(3)
"""A chain that the page has tables of, on a battery that sags."""

LONG_SNAKE = _snake(5)
"""A chain too long for them."""

LANTERN = """\
show "Lantern"

supply pack
    source adapter 5 V, 2 A

board box: atmega328p, address 1
    feed pack

lamp glow: box pin PD3
    leds 1 of 2.1 V, 20 mA

cue up
    glow fade to 50 % in 2 s

remote
    button 1: go up
    stop button 2
"""


def _servos(board: str) -> Iterator[str]:
    for pin in ("PB1", "PB2", "PB3", "PB4", "PB5", "PC0", "PC1", "PC2"):
        yield f"servo {board}_{pin.lower()}: {board} pin {pin}\n{SERVO}"
        yield "    travel      -40 deg to 40 deg\n    load        rod 10 g, 90 mm\n\n"


def large() -> str:
    """Sixteen servos that all move and 200 pixels that all change, on two boards."""
    text = 'show "Large"\n\nsupply pack\n    source adapter 6 V, 60 A\n\n'
    for address, board in enumerate(("left", "right"), 1):
        text += f"board {board}: atmega328p, address {address}\n    feed pack, 100 mm of 10 AWG\n\n"
        text += "".join(_servos(board))
        text += f"strip {board}_line: {board} pin PD7\n    pixels 100, each 5 mA\n    feed 5 V\n\n"
    names = [f"{board}_{pin}" for board in ("left", "right") for pin in PINS]
    moves = "".join(f"            {name} to {{0}} deg in 900 ms\n" for name in names)
    waves = "".join(f"        stagger 40 ms\n{moves.format(to)}" for to in ("30", "-30"))
    text += "cue wave\n    left_line run every 2 s, depth 90 %, width 20\n"
    text += "    right_line breathe every 3 s, depth 80 %\n"
    text += "    left_line fade to #4060ff 60 %, right_line fade to #30a040 60 % in 1 s\n"
    text += f"    repeat 20 times\n{waves}"
    return text + "\nremote\n    button 1: go wave\n    stop button 2\n"


PINS = ("pb1", "pb2", "pb3", "pb4", "pb5", "pc0", "pc1", "pc2")


def made(text: str) -> tuple[CheckedShow, Checked]:
    """A show that must pass."""
    loaded = load_text(Source("t.cues", text))
    found = check(loaded)
    assert found.show is not None, [f"{one.name}: {one.message}" for one in found.findings]
    return found.show, found


@cache
def paged(text: str) -> tuple[str, CheckedShow, Trajectories]:
    """The page of a show, what was checked, and the rehearsal that is in it."""
    loaded = load_text(Source("t.cues", text))
    checked, found = made(text)
    played = run_through(checked.show)
    notes = page_notes(found.findings, checked.origins, loaded.sources, played)
    said = said_trims(loaded)
    return page(checked.compiled, checked.tables, played, notes, said), checked, played
