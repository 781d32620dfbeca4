"""From recorded pin edges back to what a show asks for, frame by frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firmware_gen.player.outputs import Frame
from firmware_gen.table.records import LampRecord, ServoRecord, StripRecord, Table
from tests.emulator.emulated import CYCLES_MS, CYCLES_US, FRAME_CYCLES, PORT, PWM, EmulatedBoard

TICK_CYCLES = 8
"""0.5 us."""
PWM_PERIOD_CYCLES = 8 * 510
"""Phase correct PWM at prescaler 8 (data sheet 15.7.4)."""
ROUND_CYCLES = 8 * PWM_PERIOD_CYCLES
PLAY_CYCLES = 6 * CYCLES_MS
"""A frame is played 6 ms before its pulses; a request that comes then may be heard or not."""
EARLIEST_CYCLES = 9 * CYCLES_MS
"""Pulses are at most 8 ms early, for a request that just missed a frame (FIRMWARE.md)."""
STRIP_CYCLES = 2 * CYCLES_MS + CYCLES_MS // 2
"""A frame's first strip starts no sooner after its pulses."""
LATCH_CYCLES = 50 * CYCLES_US
"""A low longer than this ends a refresh: the shortest reset time of the data sheets in question."""

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Frames:
    """Where frames lie: frame 0 has its pulses at `first`; any may be 8 ms early or some late."""

    first: int

    def of(self, cycles: Ints) -> Ints:
        since = np.asarray(cycles, np.int64) - self.first
        return (since + EARLIEST_CYCLES) // FRAME_CYCLES

    def hearing(self, end: int) -> int:
        """The frame that hears a request whose last byte is over at this cycle."""
        return (end - self.first + PLAY_CYCLES) // FRAME_CYCLES + 1

    def start(self, frame: int) -> int:
        return self.first + frame * FRAME_CYCLES


def find_frames(board: EmulatedBoard, servo_pins: tuple[int, ...]) -> Frames:
    """The first pulse of all is that of the first servo in frame 0 (TABLE.md section 2)."""
    starts = [board.pulses(pin)[0][:1] for pin in servo_pins]
    return Frames(int(min(np.concatenate(starts))))


def pulse_cycles(board: EmulatedBoard, pin: int, frames: Frames, count: int) -> Ints:
    """Width in cycles of a pin's pulse in each of `count` frames; 0 where there is none."""
    starts, widths = board.pulses(pin)
    result = np.zeros(count, np.int64)
    index = frames.of(starts)
    if len(index) != len(np.unique(index)):
        raise AssertionError("two pulses in one frame")
    inside = index < count
    result[index[inside]] = widths[inside]
    return result


def refreshes(board: EmulatedBoard, pin: int) -> list[tuple[int, bytes]]:
    """Each refresh of a strip: its start, and the bytes its high times spell (1: over 500 ns)."""
    cycles, levels = board.edges(pin)
    rises = cycles[levels == 1]
    falls = cycles[levels == 0]
    if len(falls) and len(rises) and falls[0] < rises[0]:
        falls = falls[1:]
    bits = (falls[: len(rises)] - rises[: len(falls)] > 8).astype(np.uint8)
    rises = rises[: len(bits)]
    if not len(rises):
        return []
    breaks = np.flatnonzero(np.diff(rises) > LATCH_CYCLES) + 1
    pieces = np.split(np.arange(len(rises)), breaks)
    return [(int(rises[piece[0]]), np.packbits(bits[piece]).tobytes()) for piece in pieces]


def strip_bytes(board: EmulatedBoard, pin: int, frames: Frames) -> dict[int, bytes]:
    """A strip's bytes by frame: they go out after the frame's pulses have started.

    The second strip of a board whose pulses take 8 ms does so up to 13 ms after that.
    """
    found: dict[int, bytes] = {}
    for start, data in refreshes(board, pin):
        found[int(frames.of(np.array(start - STRIP_CYCLES)))] = data
    return found


class LightReading:
    """A lamp's light from the compare values in force: high for OCR of 255 steps (15.7.4)."""

    def __init__(self, board: EmulatedBoard, pin: int) -> None:
        rows = board.events(PWM)
        rows = rows[rows["a"] == pin]
        self._cycles = np.concatenate(([0], rows["cycle"])).astype(np.int64)
        connected = (rows["b"] >> 8) == 2
        self._values = np.concatenate(([0], np.where(connected, rows["b"] & 255, 0))) / 255.0
        widths = np.diff(self._cycles, append=self._cycles[-1])
        self._sums = np.concatenate(([0.0], np.cumsum(self._values * widths)))

    def _integral(self, cycle: int) -> float:
        at = int(np.searchsorted(self._cycles, cycle, "right")) - 1
        return float(self._sums[at] + self._values[at] * (cycle - self._cycles[at]))

    def mean(self, start: int, cycles: int = ROUND_CYCLES) -> float:
        """Share of full light over a time, one round of eight periods unless told otherwise."""
        return (self._integral(start + cycles) - self._integral(start)) / cycles

    def by_frame(
        self, frames: Frames, count: int, after_ms: float = 3.9
    ) -> npt.NDArray[np.float64]:
        """The light of each frame, looked at when it has settled and before the next can begin.

        An early frame is played from 6 ms on; a round takes 2.04 ms.
        """
        offset = round(after_ms * CYCLES_MS)
        return np.array([self.mean(frames.start(frame) + offset) for frame in range(count)])


def driven(board: EmulatedBoard) -> int:
    """Mask, by pin code, of the pins that were ever outputs."""
    mask = 0
    for row in board.events(PORT):
        mask |= int(row["b"] >> 8) << (8 * int(row["a"]))
    return mask


LAMP_STEP = 1 / 2040


def differences(
    board: EmulatedBoard, table: Table, frames: Frames, shown: Sequence[Frame]
) -> list[str]:
    """Where pulses, lamps and strips (from frame 5 on) are not what the player showed."""
    found: list[str] = []
    count = len(shown)
    servos = [output for output in table.outputs if isinstance(output, ServoRecord)]
    for number, servo in enumerate(servos):
        ticks = pulse_cycles(board, servo.pin, frames, count) / TICK_CYCLES
        wanted = np.array([frame.pulses[number] for frame in shown])
        off = np.flatnonzero(ticks != wanted)
        found += [f"servo {number} frame {k}: {ticks[k]}, not {wanted[k]}" for k in off]
    lamps = [output for output in table.outputs if isinstance(output, LampRecord)]
    for number, lamp in enumerate(lamps):
        light = LightReading(board, lamp.pin).by_frame(frames, count)
        wanted = np.array([frame.duties[number] for frame in shown]) / 65535
        off = np.flatnonzero(np.abs(light - wanted) > LAMP_STEP)
        found += [f"lamp {number} frame {k}: {light[k]}, not {wanted[k]}" for k in off]
    strips = [output for output in table.outputs if isinstance(output, StripRecord)]
    for number, strip in enumerate(strips):
        sent = strip_bytes(board, strip.pin, frames)
        off = [k for k in range(5, count) if sent.get(k) != shown[k].strips[number]]
        found += [f"strip {number} frame {k}" for k in off]
    return found
