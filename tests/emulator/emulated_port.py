"""The emulated chip's link as a port whose clock is the chip's own.

The host's code runs unchanged, and a test does not depend on how fast the computer is.
"""

from __future__ import annotations

from tests.emulator.emulated import CYCLES_US, TX, EmulatedBoard

STEP_CYCLES = 100 * CYCLES_US


class EmulatedPort:
    """A `BytePort`. `cut_at`: power fails at that cycle (raises `PowerCutError`)."""

    def __init__(self, board: EmulatedBoard, baud: int = 250_000) -> None:
        self.board = board
        self.name = "emulated"
        self.baud = baud
        self.cut_at: int | None = None
        self._seen = len(board.events())

    def write(self, data: bytes) -> None:
        self.board.send(data)

    def read(self, timeout_s: float) -> bytes:
        """What the chip has sent, running it until there is something or the time is over."""
        # At least a cycle, or a caller that waits for a time would wait for ever.
        end = self.board.cycle + max(1, round(timeout_s * self.board.clock_hz))
        while True:
            if data := self._sent():
                return data
            if self.board.cycle >= end:
                return b""
            self._advance(min(end, self.board.cycle + STEP_CYCLES))

    def _sent(self) -> bytes:
        rows = self.board.events_since(self._seen)
        self._seen += len(rows)
        return bytes(rows["a"][rows["kind"] == TX].astype("u1"))

    def _advance(self, until: int) -> None:
        if self.cut_at is not None and until >= self.cut_at:
            self.board.run_until(self.cut_at)
            raise PowerCutError
        self.board.run_until(until)

    def forget(self) -> None:
        """Clear the board's log; what was sent and not read is lost."""
        self.board.forget()
        self._seen = 0

    def now(self) -> float:
        return self.board.cycle / self.board.clock_hz

    def close(self) -> None:
        pass


class PowerCutError(Exception):
    """The board lost its power."""
