"""Frames on the wire: LINK.md section 1.

    00 | COBS( to u8, kind u8, seq u8, payload, crc u16 ) | 00

`encode` makes one; `Receiver` finds frames in a byte stream cut anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

from cobs import cobs

from firmware_gen.crc import crc16
from firmware_gen.link.protocol import MAX_ENCODED, MAX_FRAME, MAX_PAYLOAD, MIN_FRAME


class FrameError(ValueError):
    """Bytes between two zeros that are no frame of this link."""


@dataclass(frozen=True, slots=True)
class LinkFrame:
    """One request or reply.

    `kind` carries the reply and one-way bits as on the wire.
    """

    to: int
    kind: int
    seq: int
    payload: bytes = b""


def encode(frame: LinkFrame) -> bytes:
    """The frame's bytes, both zeros included.

    Raises:
        FrameError: the payload is longer than a frame holds.
    """
    if len(frame.payload) > MAX_PAYLOAD:
        raise FrameError(f"{len(frame.payload)} bytes of payload, at most {MAX_PAYLOAD} fit")
    body = bytes((frame.to, frame.kind, frame.seq)) + frame.payload
    stuffed: bytes = cobs.encode(body + crc16(body).to_bytes(2, "little"))
    return b"\0" + stuffed + b"\0"


def decode(encoded: bytes) -> LinkFrame:
    """Read what stood between two zeros.

    Raises:
        FrameError: too long, too short, no COBS, or the CRC differs.
    """
    if len(encoded) > MAX_ENCODED:
        raise FrameError("too long")
    try:
        body = cobs.decode(encoded)
    except cobs.DecodeError as error:
        raise FrameError("not stuffed as COBS says") from error
    if not MIN_FRAME <= len(body) <= MAX_FRAME:
        raise FrameError("too short")
    if crc16(body[:-2]) != int.from_bytes(body[-2:], "little"):
        raise FrameError("the CRC differs")
    return LinkFrame(to=body[0], kind=body[1], seq=body[2], payload=body[3:-2])


class Receiver:
    """Finds frames in a byte stream that may start, stop and break anywhere.

    Keeps at most one frame's bytes, however long a run without a zero is. `bad` counts what
    stood between zeros and was no frame, `good` what was, `noise` the bytes of the former.
    """

    def __init__(self) -> None:
        self._held = bytearray()
        self._length = 0
        self.good = 0
        self.bad = 0
        self.noise = 0

    @property
    def unfinished(self) -> int:
        """Bytes since the last zero."""
        return self._length

    def feed(self, data: bytes) -> list[LinkFrame]:
        """Take bytes; the frames that they complete, in order."""
        frames: list[LinkFrame] = []
        *ended, rest = data.split(b"\0")
        for piece in ended:
            self._hold(piece)
            if self._length:
                self._finish(frames)
        self._hold(rest)
        return frames

    def _hold(self, piece: bytes) -> None:
        self._length += len(piece)
        self._held += piece[: MAX_ENCODED + 1 - len(self._held)]

    def _finish(self, frames: list[LinkFrame]) -> None:
        try:
            frames.append(decode(bytes(self._held)))
            self.good += 1
        except FrameError:
            self.bad += 1
            self.noise += self._length
        self._held.clear()
        self._length = 0
