"""Where something is plugged in, and what was meant where a text is no pin."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from firmware_gen.chips import FIRST
from seqlang.meaning.notes import Fault

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lark import Token

    from firmware_gen.chips import Chip, Job
    from seqlang.meaning.entry import Sheet
    from seqlang.meaning.pose import Setting
    from seqlang.meaning.values import Reading


@dataclass(frozen=True, slots=True)
class Plug:
    """Where an output is plugged in, and what the safe pose says of it."""

    name: str
    board: str
    pin: int
    chip: Chip
    safe: Setting | None


def output_mark(reading: Reading, sheet: Sheet, spot: Plug, *parts: tuple[str, object]) -> int:
    """The mark of an output: the places of its name, board, pin, safe pose and other parts."""
    _, name, board, pin, *_ = sheet.entry.items
    return reading.origins.mark(
        *sheet.head,
        ("name", name),
        ("board", board),
        ("pin", pin),
        ("safe", spot.safe and spot.safe.node),
        *parts,
    )


def plug(
    reading: Reading,
    board: Token,
    pin: Token,
    boards: Mapping[str, Chip],
    job: Job | None = None,
) -> int:
    """The pin's number. Raises Fault if board or pin is unknown.

    `job`: what hangs there, if few pins can do it.
    """
    if str(board) not in boards:
        reading.unknown(board, "board", boards)
    chip = boards.get(str(board), FIRST)
    try:
        number = chip.pin(pin)
    except ValueError:
        help_, meant = _pin_meant(str(pin), chip, job)
        reading.error("unknown-pin", f"`{pin}` is not a pin", pin, help=help_, fix=meant)
        raise Fault from None
    if str(board) not in boards:
        raise Fault
    return number


_CONVERTED: Final = re.compile(r"(?:A|AIN|AN|ADC)_?([0-9]{1,2})", re.IGNORECASE)
"""An input of the converter from analog to digital by its number: as the data sheet has it, and as
it is often printed on boards."""


def _pin_meant(pin: str, chip: Chip, job: Job | None) -> tuple[str, str | None]:
    """What helps where a text is no pin, and the pin that was meant."""
    joined = re.sub(r"^(?:PORT|PIN|P)?_?([A-Z])_?([0-9])$", r"P\1\2", pin.upper())
    meant = next((one for one in (pin.upper(), joined) if one in chip.pins), None)
    rule = (
        "pins are named as in the chip's data sheet, by port and bit: `PB1`, `PD6`; "
        "the numbers printed on boards are something else"
    )
    input_ = _CONVERTED.fullmatch(pin)
    if input_ is not None:
        by_input = {number: chip.pin_name(one) for one, number in chip.analog.items()}
        meant = by_input.get(int(input_[1])) if job == "sensor" else None
        if meant is not None:
            rule = f"that pin has input {input_[1]} of the converter; {rule}"
    if meant is not None:
        return f"did you mean `{meant}`? {rule}", meant
    able = sorted(chip.pins_for(job)) if job is not None else []
    if able:
        rule += f"; {_A_JOB[job]} can be at {', '.join(map(chip.pin_name, able))}"
    return rule, None


_A_JOB: Final[dict[Job | None, str]] = {"channel": "a channel", "sensor": "a sensor"}
