"""Boards, and what hangs on their pins, said otherwise."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from firmware_gen.chips import CHIPS
from seqlang.text.slips.senses import only, whole
from seqlang.text.slips.written import PIN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Slip, Written

_NAME: Final = r"[^\W\d]\w*"


def slips(line: Written) -> Iterator[Slip]:
    """What was meant by a header that names a board, or something on a pin."""
    if line.around.head is None and line.halt is not None:
        text = line.text[: line.code_end].rstrip()
        yield from _plugged(line, text)
        yield from _board(line, text)


_PLUGGED: Final = re.compile(
    rf"(?:(?:analog(?:ue)?|digital|rc|radio|pwm|new|the|a|an) +)*"
    rf"(?P<kind>servo|lamp|strip|switch|input|channel|sensor) +(?P<name>\w+) *[:,=@]? *"
    rf"(?:(?:on|at|board) +)*(?:(?P<board>{_NAME})[ .,:]+)??(?:(?:at|on) +)?(?:pin\b[ .:=]*)?"
    rf"(?P<pin>{PIN}|"
    r"A[0-9]{1,2}|ADC[0-9]{1,2}|D?[0-9]{1,2})(?P<more>(?: *,.*)?)$"
)


def _plugged(line: Written, text: str) -> Iterator[Slip]:
    """`sensor voice: hub A0`, `input 1: PC0`, `analog sensor voice: hub pin PF0`."""
    found = _PLUGGED.match(text)
    if found is None:
        return
    kind, name, board = found.group("kind", "name", "board")
    if kind == "input":
        number = re.fullmatch(r"[^\W\d]*_?([0-9]+)", name)
        if number is None:
            return
        name = number[1]
    elif name[0].isdigit():
        return
    boards = sorted(line.around.names.get("board", frozenset()))
    if name in boards:  # its own name is missing
        return
    if board is None and len(boards) == 1:
        board = boards[0]
    a = "an" if kind == "input" else "a"
    said = f"{a} {kind} needs its board and its pin"
    if board is None and boards and "pin" not in text:
        such = f"{kind} {name}: {boards[0]} pin {found['pin']}"
        yield only(said, (0, len(text)), f"such as `{such}`")
    elif board is not None:
        made = f"{kind} {name}: {board} pin {found['pin']}{found['more']}"
        yield from whole(line, said, text, made)


_LEADER: Final = re.compile(
    rf"board +(?P<name>{_NAME}) *[:,=]? *(?P<parts>.+?)$",
)
_LEADS: Final = re.compile(r"(?:leads?|leader|leading|master|main|primary|hub|first)(?!\w)")
_FOLLOWS: Final = re.compile(
    rf"(?:slave|node|client|follow(?:s|er|ing)?|secondary|listens|peer)(?: +(?:to +)?{_NAME})?"
)
_ADDRESS: Final = re.compile(r"(?:(?:address|addr|adr|id|node|number|no|nr)\b[.:= #]*)?([0-9]+)")
_CHIP: Final = re.compile(rf"(?:chip +)?({'|'.join(CHIPS)}|\w*mega\w+)", re.IGNORECASE)


def _board(line: Written, text: str) -> Iterator[Slip]:
    """`board hub: leads, atmega2560, id 1`."""
    found = _LEADER.match(text)
    if found is None:
        return
    chip = address = leads = None
    for part in re.split(r" *[,;] *", found["parts"].strip()):
        one, number = _CHIP.fullmatch(part), _ADDRESS.fullmatch(part)
        if one is not None and chip is None:
            chip = one[1]
        elif number is not None and address is None:
            address = number[1]
        elif _LEADS.fullmatch(part) is not None and leads is None:
            leads = True
        elif _FOLLOWS.fullmatch(part) is not None and leads is None:
            leads = False
        else:
            return
    if chip is None or address is None:
        return
    made = f"board {found['name']}: {chip}, address {address}" + (", leads" if leads else "")
    said = "a board is its chip, its address, and `leads` if the others follow it"
    if leads is False:
        said = "a board needs no word to follow: it follows the board that `leads`"
    yield from whole(line, said, text, made)
