"""The core under address and undefined-behaviour checks does what the plain build does."""

from __future__ import annotations

import subprocess
from random import Random

import pytest

from firmware_gen.table.encode import encode
from firmware_gen.table.layout import EFFECTS, LAW_IDS, LOOP_FOREVER, ORDERS
from firmware_gen.table.ops import ActOp, Delay, Loop, LoopBack, Modulate, TableOp
from firmware_gen.table.records import CueRecord, LampRecord, LawRecord, StripRecord, Table
from sim.rulebook import LEVEL_MAX
from tests.firmware_gen.host.core import Core, available, library, sanitized
from tests.firmware_gen.link_streams import Talker, spoilt
from tests.firmware_gen.random_tables import random_table

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

Step = tuple[str, bytes]

LAMP_PINS = (3, 22)  # PB3, PD6
STRIP_PINS = (8, 9)
WITH_PARAMETERS = (LAW_IDS["trapezoid"], LAW_IDS["double-S"])


def script(dice: Random) -> list[Step]:
    """Random tables, some spoilt, in slots and merged; requests, frames and presses."""
    tables = [encode(random_table(dice)) for _ in range(3)]
    small = [table for table in tables if len(table) <= 500] or [tables[0][:500]]
    cells = bytearray(b"\xff" * 1024)
    for slot in range(2):
        table = dice.choice(small)
        table = table if dice.random() < 0.8 else spoilt(table, dice)[:500]
        cells[4 + 500 * slot : 4 + 500 * slot + len(table)] = table
    cells[1004] = dice.choice((0x3C, 0xC3, 0))
    steps: list[Step] = [("c", bytes(cells))]
    if dice.random() < 0.4:
        steps.append(("m", dice.choice(tables) + b"\1\2"))
    steps.append(("s", b""))
    for data in Talker(dice, small).frames(150):
        steps.append(("l", data))
        steps.append(("f", bytes(dice.choice((0, 1, 2, 20)))))
        if dice.random() < 0.1:
            steps.append(("p", dice.randbytes(3)))
    return steps


def plainly(steps: list[Step]) -> bytes:
    core = Core()
    found = b""
    for letter, data in steps:
        match letter:
            case "c":
                core.cells[: len(data)] = data
            case "m":
                core.merged[: len(data)] = data
            case "s":
                library().host_start(1)
            case "f":
                found += b"".join(core.frame() for _ in data)
            case "l":
                found += core.exchange(data)
            case _:
                for _ in range(4):
                    for port, levels in enumerate(data):
                        library().host_port(port, levels)
                    library().host_sample_inputs()
    return found


def both_ways(steps: list[Step]) -> bytes:
    """What the board shows and says with the checks, which is what it does without."""
    built = sanitized()
    if built is None:
        pytest.skip("the C compiler has no sanitizers here")
    data = b"".join(
        letter.encode() + len(data).to_bytes(2, "little") + data for letter, data in steps
    )
    done = subprocess.run([built[0]], input=data, capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr.decode()[-3000:]
    assert done.stdout == plainly(steps)
    return done.stdout


def light_script(dice: Random) -> list[Step]:
    """Lamps and strips under every effect, with fades by every law between any levels."""
    lamps = tuple(LampRecord(pin, dice.randint(0, LEVEL_MAX)) for pin in LAMP_PINS)
    strips = tuple(
        StripRecord(
            pin, dice.randint(1, 50), dice.randrange(len(ORDERS)), dice.choice((0, 1, 9)), 0
        )
        for pin in STRIP_PINS
    )
    outputs = lamps + strips
    laws = tuple(LawRecord(law_id) for law_id in LAW_IDS.values() if law_id not in WITH_PARAMETERS)
    colours = tuple((level(dice), level(dice), level(dice)) for _ in range(8))
    ops: list[TableOp] = [Loop(LOOP_FOREVER)]
    for _ in range(30):
        output = dice.randrange(len(outputs))
        target = dice.randrange(8) if output >= len(lamps) else level(dice)
        duration = 10 * dice.randint(1, 60)
        law = dice.choice((None, dice.randrange(len(laws))))
        kind = dice.randrange(len(EFFECTS))
        numbers = (dice.randint(40, 900), level(dice), dice.randrange(256), dice.randrange(40))
        ops.append(Modulate(output, kind, *numbers) if kind else Modulate(output, 0))
        ops.append(ActOp(output, target, duration, wait=dice.random() < 0.5, law=law))
        ops.append(Delay(10 * dice.randint(1, 20)))
    cue = CueRecord(1, (1 << len(outputs)) - 1, 0, 1, 0, strand=True)
    table = Table(1, 1, outputs, colours, laws, cues=(cue,), threads=((*ops, LoopBack()),))
    return [("m", encode(table) + b"\1\2"), ("s", b""), ("f", bytes(1500))]


def level(dice: Random) -> int:
    return dice.choice((0, LEVEL_MAX, dice.randint(0, LEVEL_MAX)))


@pytest.mark.parametrize("seed", range(8))
def test_nothing_undefined_happens_to_light_under_any_effect_and_fade(seed: int) -> None:
    steps = light_script(Random(seed))
    shown = both_ways(steps)
    size = len(shown) // len(steps[-1][1])
    assert len({shown[at : at + size] for at in range(0, len(shown), size)}) > 250


@pytest.mark.parametrize("seed", range(6))
def test_nothing_undefined_happens_whatever_comes(seed: int) -> None:
    assert both_ways(script(Random(seed)))
