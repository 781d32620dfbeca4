"""The firmware's core answers the vectors of boards that lead and follow, on the host."""

from __future__ import annotations

import struct
from typing import Any

import pytest

from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.chips.atmega2560 import CHIP as LEADER
from firmware_gen.link.frames import decode as decode_frame
from firmware_gen.player.hub_state import OLDEST, unpack
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import LEADS, LOOP_HELD
from firmware_gen.table.ops import Delay, Loop, LoopBack
from firmware_gen.table.records import BindingRecord, CueRecord, Table
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.led_vectors import ask
from tests.firmware_gen.small_tables import GLOW
from tests.firmware_gen.test_following import SECOND, on_the_line
from tests.firmware_gen.vector_files import STRETCH, digest, held

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

CASES = [pytest.param(case, id=case["title"]) for case in held("led")]


def digests(rows: list[bytes]) -> list[str]:
    return [digest(rows[start : start + STRETCH]) for start in range(0, len(rows), STRETCH)]


@pytest.mark.parametrize("case", CASES)
def test_the_core_answers_the_vectors_of_led_boards(case: dict[str, Any]) -> None:
    table = decode(bytes.fromhex(case["table"]))
    leads = table.role == LEADS
    core = ApartPlayer(table)
    rows, told, stretches = [], [], []
    for number in range(case["frames"]):
        for at, state, moment in case["heard"]:
            if at == number:
                core.receive(on_the_line(bytes.fromhex(state), number), moment)
        for at, kind, first, second in case["requests"]:
            if at == number:
                ask(core, kind, first, second)
        rows.append(core.frame())
        said = core.told_bytes()
        told.append(decode_frame(said.strip(b"\0")).payload if leads else b"")
        stretches.append(struct.pack("<h", 0 if leads else core.lib.host_stretch()))
    assert digests(rows) == case["digests"]
    if CHIPS_BY_ID[table.chip].joins and not leads:
        assert digests(stretches) == case["stretches"]
    assert digests(told) == case["told"]
    assert core.end == case["end"]


def test_a_cue_that_began_before_the_oldest_age_is_told_as_that_old() -> None:
    """Those are 93 hours; an age that wrapped would begin the cue anew on the other boards."""
    waits = (Loop(LOOP_HELD), Delay(60_000), LoopBack())
    table = Table(
        chip=LEADER.chip_id,
        address=1,
        role=LEADS,
        cues=(CueRecord(GLOW, 0, 0, 1, 0, claims=1),),
        threads=(waits,),
        bindings=(BindingRecord(1, 0, True),),
    )
    core = ApartPlayer(table)
    core.lib.host_frames(SECOND)
    core.button(1, True)
    core.frame()

    def age() -> int:
        core.told_bytes()
        core.frame()
        _, state = unpack(decode_frame(core.told_bytes().strip(b"\0")).payload)
        assert state.run is not None
        return state.run.age

    first = age()
    core.lib.host_pass_over(OLDEST - first - 2)
    assert [age() for _ in range(4)] == [OLDEST - 1, OLDEST, OLDEST, OLDEST]
