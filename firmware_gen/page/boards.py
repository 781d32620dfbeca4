"""What the page needs of each board: its program, its table, and what its outputs stand for."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Mapping
from dataclasses import astuple
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from firmware_gen.build.webassembly import shipped
from firmware_gen.checked_table import CheckedTable, sealed_bytes
from firmware_gen.table.laws import law_of
from firmware_gen.table.layout import ALONE, FOLLOWS, LAW_IDS, LEADS, ORDERS
from firmware_gen.table.records import LampRecord, LawRecord, ServoRecord, StripRecord, SwitchRecord
from sim.light.lightness import srgb_to_linear
from sim.model import Lamp, LightPlace, Servo, Show, Strip
from sim.pictures.efforts import law_rows
from sim.rig.slide import of_horn, of_part

if TYPE_CHECKING:
    from firmware_gen.compiler.show import CompiledBoard, CompiledShow


_ROLES: Final = {ALONE: "alone", LEADS: "leads", FOLLOWS: "follows"}


def text_of(data: bytes) -> str:
    """Bytes in base64 (RFC 4648, section 4)."""
    return b64encode(data).decode("ascii")


def chips(compiled: CompiledShow) -> dict[str, dict[str, str]]:
    """By name, the program and what the pins can do of each chip of a show."""
    return {
        board.chip.name: {
            "program": text_of(shipped(board.chip.name).read_bytes()),
            "pins": text_of(board.chip.abilities),
        }
        for board in compiled.boards
    }


def laws(compiled: CompiledShow) -> list[dict[str, Any]]:
    """The motion laws of all boards' tables, by what a board tells of them, as rows."""
    records = {LawRecord(LAW_IDS["3-4-5"])}
    records.update(law for board in compiled.boards for law in board.table.laws)
    found = []
    for record in sorted(records, key=astuple):
        place, speed, gain = law_rows(law_of(record))
        found.append({"key": astuple(record), "place": place, "speed": speed, "gain": gain})
    return found


def boards(compiled: CompiledShow, tables: Mapping[str, CheckedTable]) -> list[dict[str, Any]]:
    """The boards in ascending address, each with the very table that it is to be given."""
    return [_board(compiled.show, board, tables[board.name]) for board in compiled.boards]


def _board(show: Show, board: CompiledBoard, table: CheckedTable) -> dict[str, Any]:
    return {
        "name": board.name,
        "chip": board.chip.name,
        "role": _ROLES[board.table.role],
        "table": text_of(sealed_bytes(table)),
        "cues": [cue.name for cue in board.cues],
        "outputs": [
            _output(output, record)
            for output, record in zip(board.outputs, board.table.outputs, strict=True)
        ],
        "inputs": [[one.button, one.pin, one.active_low] for one in board.table.inputs],
        "channels": [one.name for one in show.rig.channels if one.board == board.name],
        "sensors": [one.name for one in show.rig.sensors if one.board == board.name],
    }


def _seat(place: LightPlace | None) -> dict[str, Any]:
    """On which part a light is drawn, and where; nothing if nothing is said of it."""
    return {} if place is None else {"on": place.on, "at_m": place.at_m}


def _output(output: object, record: object) -> dict[str, Any]:
    match output, record:
        case Servo(), ServoRecord():
            told = of_part(output)
            return {
                "kind": "servo",
                "name": output.name,
                "unit": told.place,
                "effort": of_horn(output).effort,
                "travel": output.travel_deg,
                "points": [[angle / 100, pulse] for angle, pulse in record.points],
            }
        case Lamp(), LampRecord():
            tint = srgb_to_linear(np.asarray(output.colour) / 255.0)
            lamp = {"kind": "lamp", "name": output.name, "tint": np.round(tint, 6).tolist()}
            return lamp | _seat(output.rides)
        case Strip(), StripRecord():
            order = ORDERS[record.order]
            return {
                "kind": "strip",
                "name": output.name,
                "pixels": record.pixels,
                "order": ["rgb".index(colour) for colour in order],
                "pitch_m": output.pitch_m,
            } | _seat(output.rides)
        case _, SwitchRecord():
            name = getattr(output, "name", "")
            high = record.active_high
            return {"kind": "switch", "name": name, "pin": record.pin, "active_high": high}
    raise TypeError(f"{output!r} and {record!r} are not of one kind")
