"""Boards that answer the one that leads, as virtual boards: their tables, old and new."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from random import Random

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import VirtualBoard
from firmware_gen.board.wired import LineTrouble, WiredBoards, WiredPort, stored
from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.chips.atmega328p import CHIP as SMALL
from firmware_gen.link.host import HostLink
from firmware_gen.table.encode import encode
from firmware_gen.table.records import AnswersRecord, Table
from tests.firmware_gen.test_following import boards
from tests.unchecked import unchecked

LEAD = "lead"
STOP_BUTTON = 3
NEW_SHOW = 0x0BE1_1E55


def answering_tables(show: int | None = None) -> dict[str, Table]:
    """By name: a board that leads, one like it that follows, and a small one; both answer."""
    lead, (part, other) = boards(3)
    own = AnswersRecord(part.address)
    lead, part, other = (replace(one, stop_button=STOP_BUTTON) for one in (lead, part, other))
    tables = {
        LEAD: replace(lead, senses=(*lead.senses, own, AnswersRecord(other.address))),
        "part": replace(part, senses=(*part.senses, own)),
        "small": replace(other, chip=SMALL.chip_id, senses=()),
    }
    return {name: t if show is None else replace(t, show=show) for name, t in tables.items()}


OLD = {name: encode(table) for name, table in answering_tables().items()}
NEW = {name: encode(table) for name, table in answering_tables(NEW_SHOW).items()}
ADDRESS = {name: table.address for name, table in answering_tables().items()}


def virtual(
    table: bytes, write_s: float | None = None, witness: Witness | None = None
) -> VirtualBoard:
    """A board that plays this table."""
    chip = CHIPS_BY_ID[table[4]]
    eeprom = stored(unchecked(table, chip.name), chip)
    return VirtualBoard(eeprom, chip, write_s=write_s, witness=witness)


def answering(
    trouble: LineTrouble | None = None,
    write_s: float | None = None,
    witnesses: Mapping[str, Witness] | None = None,
) -> WiredBoards:
    """They are ready."""
    seen = witnesses or {}
    found = {name: virtual(table, write_s, seen.get(name)) for name, table in OLD.items()}
    wired = WiredBoards(found, LEAD, trouble, Random(1))
    wired.advance(1.0)
    return wired


def host_of(wired: WiredBoards) -> HostLink:
    """The host of the board that leads, which has greeted it."""
    link = HostLink(WiredPort(wired, LEAD))
    link.greet()
    return link
