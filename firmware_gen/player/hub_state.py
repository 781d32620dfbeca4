"""The state that a board that leads tells the others, as bytes: LINK.md, section 7."""

from __future__ import annotations

import struct
from typing import Any, Final, get_args

from firmware_gen.link.protocol import MIN_FRAME, ReportedMode
from sim.rehearsal.leading import HubRun, HubState
from sim.rehearsal.scheduler import Mode
from sim.rulebook import RUNS, WORD_MAX

FIELDS: Final = {
    "frame": "H",
    "show": "H",
    "mode": "B",
    "live": "B",
    "idle": "H",
    "idle_high": "B",
    "run": "B",
    "tag": "H",
    "order": "B",
    "age": "H",
    "age_high": "B",
}
"""Of the payload, in their order, as `struct` writes them."""
_FORM: Final = struct.Struct("<" + "".join(FIELDS.values()))
PAYLOAD_BYTES: Final = _FORM.size
LINE_BYTES: Final = MIN_FRAME + PAYLOAD_BYTES + 3
"""Of the frame as it goes out: with COBS' first byte, and a zero before and behind it."""

MODES, LIMP_ASKED = 0x07, 0x08
"""The mode's byte. Beside the mode: limp because somebody wanted it."""
RUN_NUMBER, RUN_HELD, RUN_AGAIN, RUN_LET_GO, NO_RUN = 0x07, 0x08, 0x10, 0x20, 0x80
OLDEST: Final = 2**24 - 1
"""Frames: an age that is greater is told as this."""

_REPORTED: Final[dict[Mode, ReportedMode]] = {
    mode: ReportedMode[mode.upper()] for mode in get_args(Mode)
}
_MODES: Final = {int(number): mode for mode, number in _REPORTED.items()}


def pack(show: int, state: HubState) -> bytes:
    """The payload of a state; cues in it go by their tags."""
    run = state.run
    flags, tag, order, age = NO_RUN, 0, 0, 0
    if run is not None:
        flags = run.number | RUN_HELD * run.held | RUN_AGAIN * run.again | RUN_LET_GO * run.let_go
        name: Any = run.cue
        tag, order, age = name, run.order, min(run.age, OLDEST)
    return _FORM.pack(
        state.frame % 2**16,
        show % 2**16,
        _REPORTED[state.mode] | LIMP_ASKED * state.limp_asked,
        sum(1 << number for number in state.live),
        *(state.idle_age & WORD_MAX, state.idle_age >> 16),
        *(flags, tag, order),
        *(age & WORD_MAX, age >> 16),
    )


def unpack(payload: bytes) -> tuple[int, HubState]:
    """The low half of the show's number, and the state, whose frame has its low 16 bits."""
    (frame, show, mode, live, idle, idle_high, flags, tag, order, age, age_high) = _FORM.unpack(
        payload
    )
    run = None
    if not flags & NO_RUN:
        run = HubRun(
            flags & RUN_NUMBER,
            tag,
            order,
            age | age_high << 16,
            held=bool(flags & RUN_HELD),
            again=bool(flags & RUN_AGAIN),
            let_go=bool(flags & RUN_LET_GO),
        )
    return show, HubState(
        frame,
        _MODES.get(mode & MODES, "starting"),
        bool(mode & LIMP_ASKED),
        frozenset(n for n in range(RUNS) if live >> n & 1),
        idle | idle_high << 16,
        run,
    )
