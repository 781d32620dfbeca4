"""A board's table to its bytes (TABLE.md 1).

`encode` gives only tables that `decode` accepts.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from typing import TypeVar

from firmware_gen.crc import crc16
from firmware_gen.table.code_bytes import code_bytes
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import (
    ACTIVE_HIGH,
    BAD_CODE,
    BAD_RECORD,
    BINDING,
    CLAIMS,
    COLOUR,
    CRC_SIZE,
    CUE,
    FLAG,
    HEADER,
    INPUT,
    KINDS_OF_PRESS,
    LAMP_FIELDS,
    LAW,
    LAW_ALPHA,
    LAW_BETA,
    LAW_PEAK,
    LEADS,
    LETS_GO,
    MAGIC,
    MANNER_STEP,
    MANNERS,
    NONE,
    ON_WHEN_SAFE,
    OUTPUT,
    POINT,
    PRESS_STEP,
    SENSE,
    SERVO_FIELDS,
    STRAND,
    STRIP_FIELDS,
    SWITCH_FIELDS,
    TRIMS,
    VERSION,
    TableError,
)
from firmware_gen.table.records import (
    WITH_ALPHA,
    WITH_BETA,
    BindingRecord,
    CueRecord,
    InputRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    SenseRecord,
    ServoRecord,
    StripRecord,
    SwitchRecord,
    Table,
    cue_size,
    kind_of,
)
from firmware_gen.table.senses import sense_kind
from sim.rulebook import PEAK_MIDDLE

_Row = TypeVar("_Row")


@dataclass(frozen=True, slots=True)
class Encoded:
    """A table's bytes, and where each section and each op came to lie."""

    data: bytes
    sections: dict[str, tuple[int, int]]
    """Start and end of each section, by name, in the order of the table."""
    places: tuple[tuple[int, ...], ...]
    """For each thread the offsets of its ops, of its end, and of what follows it."""


def encode(table: Table) -> bytes:
    """The table's bytes. Raises TableError for a table that a board would refuse."""
    return encode_with_places(table).data


def encode_with_places(table: Table) -> Encoded:
    """The table's bytes and the place of everything in them."""
    kinds = [kind_of(output) for output in table.outputs]
    before = {
        "header": bytes(HEADER.size),
        "outputs": _joined("outputs", table.outputs, _output_bytes),
        "colours": _joined("colours", table.colours, _colour_bytes),
        "laws": _joined("laws", table.laws, _law_bytes),
        "inputs": _joined("inputs", table.inputs, _input_bytes),
        "bindings": _joined("bindings", table.bindings, _binding_bytes),
    }
    senses = _joined("senses", table.senses, _sense_bytes)
    base = sum(map(len, before.values())) + cue_size(table.role) * len(table.cues) + len(senses)
    try:
        code, places = code_bytes(table.threads, kinds, base)
    except (struct.error, ValueError, IndexError) as error:
        raise TableError(BAD_CODE, "code", f"a value does not fit its op ({error})") from None
    starts = [row[0] for row in places]
    length = base + len(code) + CRC_SIZE
    before["header"] = _header_bytes(table, length)
    before["cues"] = _joined("cues", table.cues, partial(_cue_bytes, starts, table.role))
    parts = before | {"senses": senses, "code": code}
    body = b"".join(parts.values())
    data = body + struct.pack("<H", crc16(body))
    sections, at = {}, 0
    for name, part in parts.items():
        sections[name] = (at, at + len(part))
        at += len(part)
    sections["crc"] = (at, at + CRC_SIZE)
    decode(data)
    return Encoded(data, sections, tuple(map(tuple, places)))


def _joined(name: str, rows: Sequence[_Row], one: Callable[[_Row, str], bytes]) -> bytes:
    return b"".join(one(row, f"{name}[{number}]") for number, row in enumerate(rows))


def _header_bytes(table: Table, length: int) -> bytes:
    return HEADER.pack(
        "header",
        magic=MAGIC,
        version=VERSION,
        length=length,
        chip=table.chip,
        address=table.address,
        show=table.show,
        outputs=len(table.outputs),
        colours=len(table.colours),
        inputs=len(table.inputs),
        bindings=len(table.bindings),
        cues=len(table.cues),
        laws=len(table.laws),
        glide=table.glide,
        lost=NONE if table.lost is None else table.lost,
        role=table.role,
        senses=len(table.senses),
        **{
            "lost time": table.lost_time,
            "stop button": table.stop_button,
            "stop time": table.stop_time,
            "enable interval": table.enable_interval,
        },
    )


def _output_bytes(output: OutputRecord, path: str) -> bytes:
    is_trimmed = isinstance(output, LampRecord | StripRecord) and bool(output.trims)
    head = OUTPUT.pack(path, kind=kind_of(output) | FLAG * is_trimmed, pin=output.pin)
    match output:
        case ServoRecord():
            values = {
                "points": len(output.points),
                "travel low": output.travel[0],
                "travel high": output.travel[1],
                "speed limit": output.speed_limit,
                "acceleration limit": output.acceleration_limit,
                "safe angle": output.safe,
            }
            return (
                head
                + SERVO_FIELDS.pack(path, **values)
                + b"".join(
                    POINT.pack(f"{path}.points[{n}]", angle=angle, pulse=pulse)
                    for n, (angle, pulse) in enumerate(output.points)
                )
            )
        case LampRecord():
            return head + LAMP_FIELDS.pack(path, **{"safe level": output.safe}) + _trims(output)
        case StripRecord():
            values = {
                "pixels": output.pixels,
                "order": output.order,
                "cap": output.cap,
                "safe colour": output.safe,
            }
            return head + STRIP_FIELDS.pack(path, **values) + _trims(output)
        case SwitchRecord():
            flags = ACTIVE_HIGH * output.active_high + ON_WHEN_SAFE * output.safe
            return head + SWITCH_FIELDS.pack(path, flags=flags)


def trim_places(table: Table) -> dict[int, int]:
    """By the number of a light that has trims, where they begin in the table's bytes."""
    found, at = {}, HEADER.size
    for number, output in enumerate(table.outputs):
        at += len(_output_bytes(output, f"outputs[{number}]"))
        if isinstance(output, LampRecord | StripRecord) and output.trims:
            found[number] = at - len(output.trims)
    return found


def _trims(output: LampRecord | StripRecord) -> bytes:
    if output.trims and len(output.trims) != TRIMS[kind_of(output)]:
        raise ValueError(f"{len(output.trims)} trims")
    return bytes(output.trims)


def _colour_bytes(colour: tuple[int, int, int], path: str) -> bytes:
    red, green, blue = colour
    return COLOUR.pack(path, red=red, green=green, blue=blue)


def _law_bytes(law: LawRecord, path: str) -> bytes:
    skewed = law.peak != PEAK_MIDDLE
    data = bytearray(LAW.pack(path, id=law.law_id))
    data[0] |= FLAG * skewed
    if law.law_id in WITH_ALPHA:
        data += LAW_ALPHA.pack(path, alpha=law.alpha)
    if law.law_id in WITH_BETA:
        data += LAW_BETA.pack(path, beta=law.beta)
    if skewed:
        data += LAW_PEAK.pack(path, peak=law.peak)
    return bytes(data)


def _input_bytes(one: InputRecord, path: str) -> bytes:
    return INPUT.pack(path, pin=one.pin, button=one.button | FLAG * one.active_low)


def _binding_bytes(one: BindingRecord, path: str) -> bytes:
    kind = PRESS_STEP * KINDS_OF_PRESS.index(one.kind)
    manner = MANNER_STEP * MANNERS.index((one.manner, one.ends))
    return BINDING.pack(
        path, button=one.button | kind | FLAG * one.while_held, cue=one.cue | manner
    )


def _sense_bytes(one: SenseRecord, path: str) -> bytes:
    kind = sense_kind(one)
    return SENSE.pack(path, kind=kind.number) + kind.layout.pack(path, **kind.values(one))


def _cue_bytes(starts: Sequence[int], role: int, cue: CueRecord, path: str) -> bytes:
    if not 0 <= cue.start < len(starts):
        raise TableError(BAD_CODE, f"{path}.offset", f"there is no thread {cue.start}")
    if cue.claims and role != LEADS:
        raise TableError(BAD_RECORD, f"{path}.claims", "only a board that leads claims")
    record = CUE.pack(
        path,
        tag=cue.tag,
        outputs=cue.outputs,
        flags=cue.conflict | LETS_GO * cue.lets_go | STRAND * cue.strand | cue.threads << 4,
        offset=starts[cue.start],
    )
    return record + (CLAIMS.pack(path, claims=cue.claims) if role == LEADS else b"")


def show_number(tables: Sequence[Table]) -> int:
    """The number that all tables of a show share: from SHA-256 over them, address by address."""
    digest = sha256()
    for table in sorted(tables, key=lambda one: one.address):
        body = encode(replace(table, show=0))[:-CRC_SIZE]
        digest.update(body + bytes(CRC_SIZE))
    return int.from_bytes(digest.digest()[:4], "little")
