"""From a phone's word for stop to its arrival at a board's player, over the page's socket."""

from __future__ import annotations

import os
import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path

import pytest

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.owner.client import connect
from tests.seqlang.phone_rig import PhoneByHand, PhoneRig, own_place, phone_rig
from tests.unchecked import transfer_unchecked

PRESSES = 100
TRANSFERS = 15
PHONES = 50
LIMIT_MS = 50.0


def run() -> list[tuple[str, float, float]]:
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        stack.enter_context(own_place(folder, stack.enter_context(pytest.MonkeyPatch.context())))
        rig = stack.enter_context(phone_rig(write_s=0.0034))
        phone = stack.enter_context(PhoneByHand(rig)).come().ready()
        found = {"idle": [_after_a_pause(rig, phone) for _ in range(PRESSES)]}
        found["in mid-transfer"] = [_mid_transfer(rig, phone) for _ in range(TRANSFERS)]
        for _ in range(PHONES - 1):
            stack.enter_context(PhoneByHand(rig)).come()
        crowded = [_after_a_pause(rig, phone) for _ in range(PRESSES)]
        found[f"with {PHONES} phones"] = crowded
    return [
        (f"stop on a phone's page to player, {when}, {which} ms", figure(values), LIMIT_MS)
        for when, values in found.items()
        for which, figure in _FIGURES
    ]


_FIGURES: tuple[tuple[str, Callable[[list[float]], float]], ...] = (
    ("median", statistics.median),
    ("worst", max),
)


def _after_a_pause(rig: PhoneRig, phone: PhoneByHand) -> float:
    time.sleep(0.02)
    return _pressed(rig, phone)


def _pressed(rig: PhoneRig, phone: PhoneByHand) -> float:
    noted = rig.boards[0].noted
    begun = time.perf_counter()
    assert phone.ask("limp", press=os.urandom(8).hex()) == ""
    assert noted.last_s > begun
    return (noted.last_s - begun) * 1000


def _mid_transfer(rig: PhoneRig, phone: PhoneByHand) -> float:
    body = rig.boards[0]

    def put() -> None:
        with connect("flash") as owner, suppress(LinkFailure):
            link = owner.board(body.server.url)
            link.greet()
            transfer_unchecked(link, rig.show.boards[0].data)  # type: ignore[arg-type]

    first = 4 if body.virtual.board.slots.current else 504
    body.virtual.eeprom.cells[first : first + 480] = os.urandom(480)  # so that much is stored
    writes = body.virtual.eeprom.writes
    putting = threading.Thread(target=put)
    putting.start()
    while putting.is_alive() and body.virtual.eeprom.writes < writes + 20:
        time.sleep(0.001)
    took_ms = _pressed(rig, phone)
    putting.join()
    return took_ms
