"""The trims of lights that can be tried on the page: its boards' tables with room for them.

A light that gives all of its light has no trims in its table. So each board with lights gets a
second table here, in which every light has them; the page puts other ones in. It plays the table
that the board is given until somebody does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from firmware_gen.page.boards import text_of
from firmware_gen.table.encode import encode, trim_places
from firmware_gen.table.layout import TRIMS
from firmware_gen.table.lightness import UNTRIMMED
from firmware_gen.table.records import LampRecord, OutputRecord, StripRecord, kind_of
from sim.rulebook import TRIM_ONE

if TYPE_CHECKING:
    from firmware_gen.compiler.show import CompiledBoard, CompiledShow

SaidTrims: TypeAlias = Mapping[str, tuple[float, ...]]
"""By light: percents that its text says, of its trim, then of a strip's balance."""
NOT_SAID: Final[SaidTrims] = MappingProxyType({})


def trimmed_lights(compiled: CompiledShow, said: SaidTrims = NOT_SAID) -> dict[str, Any]:
    """The tables with room for trims by board, and all lights that have them there.

    A board whose table is as large as it may be has none.
    """
    tables: dict[str, str] = {}
    lights: list[dict[str, Any]] = []
    for number, board in enumerate(compiled.boards):
        table = replace(board.table, outputs=tuple(map(_with_room, board.table.outputs)))
        places = trim_places(table)
        data = encode(table) if places else b""
        if not places or len(data) > max(board.chip.slot_bytes, len(board.data)):
            continue
        tables[board.name] = text_of(data)
        lights += [_light(board, number, place, at, said) for place, at in places.items()]
    return {"tables": tables, "lights": lights}


def _with_room(record: OutputRecord) -> OutputRecord:
    if isinstance(record, LampRecord | StripRecord) and not record.trims:
        return replace(record, trims=(UNTRIMMED,) * TRIMS[kind_of(record)])
    return record


def _light(
    board: CompiledBoard, number: int, place: int, at: int, said: SaidTrims
) -> dict[str, Any]:
    output, record = board.outputs[place], board.table.outputs[place]
    assert isinstance(record, LampRecord | StripRecord)
    name = output.name
    return {
        "name": name,
        "kind": "strip" if isinstance(record, StripRecord) else "lamp",
        "board": number,
        "output": place,
        "at": at,
        "said": list(said.get(name) or _percents(record)),
    }


def _percents(record: LampRecord | StripRecord) -> tuple[float, ...]:
    """The percents that come to a record's trims: the largest as its trim, the rest as balance."""
    steps = [trim + 1 for trim in record.trims] or [TRIM_ONE] * TRIMS[kind_of(record)]
    most = max(steps)
    whole = round(100 * most / TRIM_ONE)
    if isinstance(record, LampRecord):
        return (whole,)
    return (whole, *(max(1, round(100 * one / most)) for one in steps))
