"""Kinds, statuses and payload layouts of the link: LINK.md in code, each number once.

The C header is generated from the enumerations here; a test holds LINK.md's tables against them.
All integers on the wire are little-endian.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Final

from sim.rulebook import FRAME_MS

PROTOCOL_VERSION: Final = 1
FIRMWARE_VERSION: Final = (1, 0)

MAX_PAYLOAD: Final = 80
"""Most payload bytes in one frame."""
MAX_DATA: Final = 64
"""Most table bytes in one data request or read reply."""
MIN_FRAME: Final = 5
"""Bytes of a decoded frame with no payload: to, kind, seq and the CRC."""
MAX_FRAME: Final = MIN_FRAME + MAX_PAYLOAD
MAX_ENCODED: Final = MAX_FRAME + 1
"""Bytes between zeros: COBS adds one to fewer than 255."""

EVERYBODY: Final = 0
NO_ADDRESS: Final = 255
REQUESTS_A_FRAME: Final = 12
"""For so many a board has room between two frames."""
STOPS_A_FRAME: Final = 4
"""And beside them for so many that are stop or limp."""
MERGED_SLOT: Final = 254
"""Instead of a slot: the table merged behind the firmware."""

NO_SLOT: Final = 255
REPLY: Final = 0x80
ONE_WAY: Final = 0x40

HUB_KIND: Final = 0x17
"""Kind of the one-way frames in which a board that leads tells its state."""

BAUD: Final = 250_000
STOP_TELLINGS: Final = 10
"""Frames in which a limp board that leads tells of a stop that ended a jog: the others are limp as
well, and would take no notice of one more limp. So many may be lost but one."""
HELD_FRAMES: Final = 1000 // FRAME_MS
"""Frames of silence, one second, after which a button held over the link is let go. A jog lasts no
longer either."""


class RequestKind(IntEnum):
    """What a request asks."""

    HELLO = 0x01
    OPEN = 0x02
    DATA = 0x03
    VERIFY = 0x04
    COMMIT = 0x05
    READ = 0x06
    TRIGGER = 0x10
    BUTTON = 0x11
    STOP = 0x12
    LIMP = 0x13
    STANDBY = 0x14
    STATUS = 0x15
    BEACON = 0x16
    JOG = 0x17
    PULSE = 0x18
    SOURCE = 0x19


ORDERED: Final = frozenset(
    {
        RequestKind.OPEN,
        RequestKind.COMMIT,
        RequestKind.TRIGGER,
        RequestKind.BUTTON,
        RequestKind.STOP,
        RequestKind.LIMP,
        RequestKind.STANDBY,
        RequestKind.JOG,
    }
)
"""Requests that must not happen twice when they are sent twice."""

BROADCASTABLE: Final = frozenset(
    {
        RequestKind.TRIGGER,
        RequestKind.BUTTON,
        RequestKind.STOP,
        RequestKind.LIMP,
        RequestKind.STANDBY,
        RequestKind.BEACON,
    }
)
"""Requests that a board takes one-way."""


PASSED: Final = frozenset(
    {
        RequestKind.HELLO,
        RequestKind.OPEN,
        RequestKind.DATA,
        RequestKind.VERIFY,
        RequestKind.COMMIT,
        RequestKind.READ,
        RequestKind.STATUS,
        RequestKind.JOG,
        RequestKind.PULSE,
        RequestKind.SOURCE,
    }
)
"""Requests that pass through a board that leads to another one: those that read, those that change
a stored table, and a jog while the board that leads is limp. Nothing else that starts or moves
something."""


class Status(IntEnum):
    """First byte of every reply's payload."""

    DONE = 0
    MALFORMED = 1
    UNKNOWN_KIND = 2
    BUSY = 3
    TOO_LARGE = 4
    WRONG_ADDRESS = 5
    OUT_OF_ORDER = 6
    CRC_DIFFERS = 7
    REFUSED = 8
    NO_SUCH_CUE = 9
    NOT_IN_THIS_MODE = 10
    NOT_GREETED = 11
    STOPPED = 12
    EMPTY = 13


SENSED: Final = frozenset({RequestKind.SOURCE})
"""Requests that only a chip with senses knows."""


class ReportedMode(IntEnum):
    """What the player is doing."""

    BLANK = 0
    STARTING = 1
    READY = 2
    STOPPING = 3
    LIMP = 4


class ResetCause(IntEnum):
    """Bits of the reset cause in a state report."""

    POWER_ON = 1
    EXTERNAL = 2
    BROWN_OUT = 4
    WATCHDOG = 8


HELLO: Final = struct.Struct("<H")
OPEN: Final = struct.Struct("<HHB")
DATA: Final = struct.Struct("<H")
READ: Final = struct.Struct("<HB")
TRIGGER: Final = struct.Struct("<H")
BUTTON: Final = struct.Struct("<BB")
JOG: Final = struct.Struct("<BH")
PULSE: Final = struct.Struct("<B")
PULSE_REPLY: Final = struct.Struct("<H")
SOURCE_ASKED: Final = struct.Struct("<B")
SOURCE_REPLY: Final = struct.Struct("<BH")
VERIFY_REPLY: Final = struct.Struct("<HB")
_HELLO_REPLY: Final = struct.Struct("<BBBBBBHBBIBB")
_STATE: Final = struct.Struct("<BBBBIIHHHHHH")
_STUCK: Final = struct.Struct("<I")
"""What a board with senses says besides."""
_BATTERY: Final = struct.Struct("<HB")
"""And behind that."""
BATTERY_WATCHED, BATTERY_LOW, BATTERY_EMPTY, BATTERY_BLIND = 1, 2, 4, 8
"""Bits of what it says of its battery."""


class PayloadError(ValueError):
    """A payload has not the length its kind asks for."""


@dataclass(frozen=True, slots=True)
class Hello:
    """What a board says of itself."""

    protocol: int
    firmware_major: int
    firmware_minor: int
    chip_id: int
    mode: int
    slots: int
    slot_bytes: int
    current_slot: int
    refusal: int
    show: int
    chunk_bytes: int
    window: int

    def pack(self) -> bytes:
        return _HELLO_REPLY.pack(
            self.protocol,
            self.firmware_major,
            self.firmware_minor,
            self.chip_id,
            self.mode,
            self.slots,
            self.slot_bytes,
            self.current_slot,
            self.refusal,
            self.show,
            self.chunk_bytes,
            self.window,
        )

    @staticmethod
    def unpack(payload: bytes) -> Hello:
        """Read a reply's payload after its status.

        Raises:
            PayloadError: the length is not that of this version.
        """
        if len(payload) != _HELLO_REPLY.size:
            raise PayloadError(f"hello holds {len(payload)} bytes, not {_HELLO_REPLY.size}")
        return Hello(*_HELLO_REPLY.unpack(payload))


def report_bytes(*, senses: bool) -> int:
    """Payload of a status reply, with its first byte: of a chip with senses, or of another."""
    return 1 + _STATE.size + (_STUCK.size + _BATTERY.size if senses else 0)


@dataclass(frozen=True, slots=True)
class State:
    """A board's state and counters. Counters of 16 bits stop at 65535."""

    mode: int
    reset_cause: int
    live_runs: int
    refusal: int
    frames: int
    running_cues: int
    bad_frames: int
    lost_bytes: int
    refused: int
    overruns: int
    watchdog_resets: int
    brown_out_resets: int
    stuck: int | None = None
    """Mask of buttons that have been down for long (bit: number); None: the chip does not say."""
    battery_mv: int | None = None
    """Voltage of the battery, as its watch takes it; None: the chip does not say."""
    battery: int = 0
    """BATTERY_* bits; 0: it watches none."""

    def pack(self) -> bytes:
        stuck = b"" if self.stuck is None else _STUCK.pack(self.stuck)
        if self.battery_mv is None:
            return self._counts() + stuck
        return self._counts() + stuck + _BATTERY.pack(self.battery_mv, self.battery)

    def _counts(self) -> bytes:
        return _STATE.pack(
            self.mode,
            self.reset_cause,
            self.live_runs,
            self.refusal,
            self.frames & 0xFFFFFFFF,
            self.running_cues,
            *(
                min(count, 0xFFFF)
                for count in (
                    self.bad_frames,
                    self.lost_bytes,
                    self.refused,
                    self.overruns,
                    self.watchdog_resets,
                    self.brown_out_resets,
                )
            ),
        )

    @staticmethod
    def unpack(payload: bytes) -> State:
        """Read a reply's payload after its status.

        Raises:
            PayloadError: the length is not that of this version.
        """
        first, second = _STATE.size, _STATE.size + _STUCK.size
        if len(payload) not in (first, second, second + _BATTERY.size):
            raise PayloadError(f"status holds {len(payload)} bytes, not {first}")
        counts, more = State(*_STATE.unpack(payload[:first])), payload[first:]
        if more:
            counts = replace(counts, stuck=_STUCK.unpack(more[: _STUCK.size])[0])
        if len(more) > _STUCK.size:
            millivolts, bits = _BATTERY.unpack(more[_STUCK.size :])
            counts = replace(counts, battery_mv=millivolts, battery=bits)
        return counts
