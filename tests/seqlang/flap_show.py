"""A small show for two kinds of tests, and a command's outcome."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.command import main
from seqlang.loading import load
from tests.seqlang.show_text import block, servo, show

FLAP = {
    "pulse": "1000 us at 0 deg, 2000 us at 90 deg",
    "travel": "0 deg to 70 deg",
    "rating": "0.17 s/60deg, 9 kgf.cm, 2 A at 6 V",
    "load": "60 g at 70 mm",
}
SHOW = show(
    title="A flap",
    supply="source adapter 6 V, 3 A",
    feed="300 mm of 22 AWG",
    jaw=FLAP,
    cues={
        'wave "One wave"': "jaw to {far} deg in 900 ms\njaw to 0 deg in 900 ms",
        'lift "Half a wave"': "jaw to 30 deg in 900 ms",
    },
    remote="button 1: go wave while held\nbutton 3: go lift\nstop button 2",
)
for old, new in (
    ("jaw", "flap"),
    ("body", "box"),
    ("pack", "desk"),
    ("address 1", "address {address}"),
):
    SHOW = SHOW.replace(old, new)

SECOND_BOARD = (
    "board tail: atmega328p, address 2\n    feed desk, 300 mm of 22 AWG\n"
    + servo("tip", "PB1", FLAP, board="tail")
    + block('cue wag "The tip too"', "tip to 40 deg in 900 ms\ntip to 0 deg in 900 ms")
)


class Outcome:
    """What a command printed and ended with."""

    def __init__(self, capsys: pytest.CaptureFixture[str], *arguments: str) -> None:
        started = time.monotonic()
        with pytest.raises(SystemExit) as end:
            main(list(arguments))
        self.seconds = time.monotonic() - started
        self.status = end.value.code
        self.out, self.err = capsys.readouterr()


def table_of(path: Path, name: str = "box") -> bytes:
    checked = check(load(path)).show
    assert checked is not None
    return next(each.data for each in checked.compiled.boards if each.name == name)
