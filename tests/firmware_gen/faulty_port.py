"""Ports that misbehave, for the tests of the link."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from firmware_gen.link.ports import BytePort

FAULTS = ("drop", "flip", "twice", "cut", "late")
GOOD = "good"


class FaultyPort:
    """A port on which frames are lost, spoilt, doubled, cut short or late, each way.

    Args:
        inner: the port behind it.
        faults: what happens to each frame in turn, whichever way it goes; good once they end.
    """

    def __init__(self, inner: BytePort, faults: Iterable[str]) -> None:
        self._inner = inner
        self._faults: Iterator[str] = iter(faults)
        self._late: dict[str, bytes] = {"out": b"", "in": b""}
        self.name = inner.name
        self.baud = inner.baud
        self.happened: list[str] = []

    def write(self, data: bytes) -> None:
        self._inner.write(self._spoil(data, "out"))

    def read(self, timeout_s: float) -> bytes:
        end = self.now() + timeout_s
        while True:
            data = self._spoil(self._inner.read(max(0.0, end - self.now())), "in")
            if data or self.now() >= end:
                return data

    def now(self) -> float:
        return self._inner.now()

    def close(self) -> None:
        self._inner.close()

    def _spoil(self, data: bytes, way: str) -> bytes:
        spoilt = b""
        for piece in data.split(b"\0"):
            if not piece:
                continue
            frame = b"\0" + piece + b"\0"
            fault = next(self._faults, GOOD)
            self.happened.append(fault)
            late, self._late[way] = self._late[way], b""
            if fault == "late":
                self._late[way] = frame
                frame = b""
            elif fault != GOOD:
                frame = spoil(frame, fault)
            spoilt += frame + late
        return spoilt


def spoil(frame: bytes, fault: str) -> bytes:
    middle = len(frame) // 2
    if fault == "drop":
        return b""
    if fault == "twice":
        return frame + frame
    if fault == "cut":
        return frame[:middle]
    return frame[:middle] + bytes([frame[middle] ^ 0x10]) + frame[middle + 1 :]


class BabblingPort:
    """Whatever is said, the same bytes come back, on and on.

    Time is its own: `rate` bytes a second come.
    """

    def __init__(self, babble: bytes, rate: int = 25_000) -> None:
        self._babble = babble
        self._rate = rate
        self._now = 0.0
        self.name = "babbling"
        self.baud = 250_000
        self.sent = b""

    def write(self, data: bytes) -> None:
        self.sent += data

    def read(self, timeout_s: float) -> bytes:
        if not self._babble:
            self._now += timeout_s
            return b""
        self._now += min(timeout_s, 0.001)
        count = max(1, int(self._rate * 0.001))
        return (self._babble * count)[:count]

    def now(self) -> float:
        return self._now

    def close(self) -> None:
        """Nothing to close."""
