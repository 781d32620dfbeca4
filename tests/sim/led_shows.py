"""Random shows in which one board leads, and takes of them: a radio's channels, buttons, triggers,
stops and sensors, all in one."""

from __future__ import annotations

from random import Random

from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Press, Show

_SERVO = """\
    pulse       1000 us at -50 deg, 2000 us at 50 deg
    rating      0.12 s/60deg, 12 kgf.cm, 2.4 A at 6.0 V
    travel      -40 deg to 40 deg
    load        rod 30 g, 150 mm
"""
_PINS = {"trunk": "PA", "tail": "PA", "crest": "PB"}
_CHIPS = {"trunk": "atmega2560", "tail": "atmega2560", "crest": "atmega328p"}
BUTTONS = (1, 2, 3, 4)
STOP_BUTTON = 5


def led_show(dice: Random) -> Show:
    """A board that leads, one that joins, and one of a small chip; each has a servo or more."""
    parts = {board: dice.randint(1, 3) for board in _PINS}
    servos = [f"{board}_{n}" for board, count in parts.items() for n in range(count)]
    leads = "".join(
        f"board {board}: {_CHIPS[board]}, address {n}{', leads' if n == 1 else ''}\n"
        "    feed pack\n\n"
        for n, board in enumerate(_PINS, 1)
    )
    outputs = "".join(
        f"servo {name}: {board} pin {_PINS[board]}{int(number) + 1}\n{_SERVO}"
        f"{_follows(name, dice)}\n"
        for name in servos
        for board, _, number in [name.partition("_")]
    )
    lit = [*servos, "eye", "spot"]
    idle = [f"idle{n}" for n in range(dice.randint(0, 2))]
    shared = dice.sample(lit, len(lit))
    strands = "".join(
        f"cue {name}\n    repeat for ever\n" + _steps(dice, shared[n::2], 8, dice.randint(1, 3))
        for n, name in enumerate(idle)
    )
    cues = "".join(_cue(dice, f"cue{n}", lit) for n in range(4))
    go = "".join(
        f"    button {button}: go cue{button - 1}{dice.choice(('', ' while held'))}\n"
        for button in BUTTONS
    )
    going = f"idle: go {' and '.join(idle)}\n\n" if idle else ""
    text = f"""\
show "Led"

supply pack
    source adapter 6 V, 60 A

{leads}{outputs}lamp eye: tail pin PE3
    leds 1 of 2.1 V, 20 mA

lamp spot: crest pin PD3
    leds 1 of 2.1 V, 20 mA

{_channel("stick", "trunk pin PL0", dice)}{_channel("knob", "trunk pin PL1", dice)}\
channel free: tail pin PL0
    button {BUTTONS[0]} from 2000 us to 2100 us

sensor voice: trunk pin PF0
    falls       in 200 ms

safe pose folded
    {" and ".join(servos)} 0 deg
    eye and spot {dice.randint(0, 60)} %

{strands}{cues}{going}remote
{go}    stop button {STOP_BUTTON}
    lost 2 s: go cue0
"""
    show = load_text(Source("t.cues", text)).show
    assert show is not None, text
    return show


def _follows(servo: str, dice: Random) -> str:
    source = {"trunk_0": "voice from 20 % to 80 %", "tail_0": "free from 1200 us to 1800 us"}
    if servo not in source or dice.random() < 0.5:
        return ""
    return f"    follows     {source[servo]}, -20 deg to 20 deg\n"


def _channel(name: str, pin: str, dice: Random) -> str:
    edges = (900, 1200, 1250, 1500, 1550, 1800, 1850, 2100)
    bands = "".join(
        f"    button {dice.choice(BUTTONS)} from {low} us to {high} us\n"
        for low, high in zip(edges[::2], edges[1::2], strict=True)
    )
    return f"channel {name}: {pin}\n{bands}\n"


def _cue(dice: Random, name: str, outputs: list[str]) -> str:
    own = dice.sample(outputs, dice.randint(1, min(5, len(outputs))))
    busy = dice.choice(("", "", ", if busy wait", ", if busy refuse"))
    text = f'cue {name} "{name}"{busy}\n'
    if dice.random() < 0.4:
        text += "    repeat while held\n" + _steps(dice, own, 8, 1)
    text += _steps(dice, own, 4, dice.randint(1, 4))
    if dice.random() < 0.4:
        text += "    when let go\n" + _steps(dice, own, 8, dice.randint(1, 2))
    return text + "\n"


def _steps(dice: Random, outputs: list[str], indent: int, count: int) -> str:
    found = ""
    for _ in range(count):
        side_by_side = dice.sample(outputs, dice.randint(1, len(outputs)))
        margin = " " * indent
        if len(side_by_side) > 1:
            found, margin = found + f"{margin}together\n", margin + "    "
        for name in side_by_side:
            lasts = dice.choice((40, 90, 110, 300, 640, 1200))
            if name in ("eye", "spot"):
                lasts = dice.choice((0, lasts))
                found += f"{margin}{name} fade to {dice.randint(0, 100)} % in {lasts} ms\n"
            else:
                found += f"{margin}{name} to {dice.randint(-35, 35)} deg in {lasts} ms\n"
        if dice.random() < 0.3:
            found += f"{' ' * indent}hold {dice.randint(1, 700)} ms\n"
    return found + f"{' ' * indent}hold 10 ms\n"


def led_take(show: Show, dice: Random, length_ms: int) -> tuple[Press, ...]:
    """Both channels often move in one frame, so cues start and are let go together."""
    presses: list[Press] = []
    at = dice.randrange(0, 900, 20)
    while at < length_ms - 400:
        for _ in range(dice.choice((1, 1, 2, 3))):
            presses += _pressed(show, dice, at)
        at += dice.choice((20, 40, 100, 300, 640, 900, 1500))
    return tuple(presses)


def _pressed(show: Show, dice: Random, at: int) -> list[Press]:
    what = dice.random()
    if what < 0.5:
        one = dice.choice(("stick", "knob", "free"))
        value = None if dice.random() < 0.05 else round(dice.uniform(900, 2100), 1)
        return [Press(at, source=one, value=value)]
    if what < 0.58:
        return [Press(at, source="voice", value=round(dice.random(), 3))]
    if what < 0.85:
        return [Press(at, button=dice.choice(BUTTONS), held_ms=dice.choice((20, 100, 700, 1500)))]
    if what < 0.95:
        return [Press(at, cue=dice.choice([cue.name for cue in show.score.cues]))]
    ends = Press(at, action=dice.choice(("stop", "limp")))
    return [ends, Press(at + dice.choice((300, 1900)), action="standby")]
