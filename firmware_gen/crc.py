"""The check sum of tables and frames: CRC-16/IBM-3740.

Polynomial 0x1021, initial value 0xFFFF, not reflected, no final exclusive-or. The start value is
not zero, so that zeroed data does not pass for valid.
"""

from __future__ import annotations

from binascii import crc_hqx
from typing import Final

INITIAL: Final = 0xFFFF
"""The value before the first byte."""


def crc16(data: bytes | bytearray | memoryview, crc: int = INITIAL) -> int:
    """CRC-16/IBM-3740 of `data`; pass an earlier result as `crc` to go on from there."""
    return crc_hqx(data, crc)


def cue_tag(name: str) -> int:
    """The number by which the link and the table call a cue: the CRC of its name in UTF-8."""
    return crc16(name.encode("utf-8"))
