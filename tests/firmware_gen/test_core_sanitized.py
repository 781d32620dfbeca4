"""The core under address and undefined-behaviour checks does what the plain build does."""

from __future__ import annotations

import subprocess
from random import Random

import pytest

from firmware_gen.table.records import encode
from tests.firmware_gen.host.core import Core, available, library, sanitized
from tests.firmware_gen.link_streams import Talker, spoilt
from tests.firmware_gen.random_tables import random_table

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

Step = tuple[str, bytes]


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


@pytest.mark.parametrize("seed", range(6))
def test_nothing_undefined_happens_whatever_comes(seed: int) -> None:
    built = sanitized()
    if built is None:
        pytest.skip("the C compiler has no sanitizers here")
    steps = script(Random(seed))
    data = b"".join(
        letter.encode() + len(data).to_bytes(2, "little") + data for letter, data in steps
    )
    done = subprocess.run([built[0]], input=data, capture_output=True, timeout=60)
    assert done.returncode == 0, done.stderr.decode()[-3000:]
    assert done.stdout == plainly(steps)
