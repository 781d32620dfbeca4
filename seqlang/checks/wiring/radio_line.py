"""radio-rate, radio-beyond-board: the radio in place of the cable between boards cannot be.

radio-rate: a serial port does not make the rate of the radio.
radio-beyond-board: a board tells the others nothing over a radio, or a chip cannot hear one.

What: a `radio` stands below the board that leads. All boards that follow it have a serial port of
their own for it. Its rate is one that the ports make: off by at most 1.5 %, at double speed 1 %,
and fast enough for one state of the show a frame.

Why: a receiver samples each bit in its middle. At a rate that is off by more it misses the last
bits of a byte, first on a warm day. The smaller chip has one serial port, and the computer's rate
is set there.

Example:

    board hub: atmega2560, address 1, leads
        radio 115200 baud

Instead:

    board hub: atmega2560, address 1, leads
        radio 76800 baud

Source of the limit: the chip's data sheet, "Baud Rate Generation" and "Asynchronous Operational
Range" (recommended errors of the receiver), with 0.5 % left for two clocks.
"""

from __future__ import annotations

from collections.abc import Iterator

from firmware_gen.chips import CHIPS
from firmware_gen.serial_rates import divisor, is_made, rates
from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Fix
from sim.model import Board, LineRadio


def check(context: Context) -> Iterator[Finding]:
    for board in context.show.rig.boards:
        if board.radio is None:
            continue
        if not board.leads:
            yield _tells_nothing(context, board, board.radio)
        else:
            yield from _rate(context, board, board.radio)
            for other in context.show.rig.boards:
                if other is not board and not CHIPS[other.chip].hears_radio:
                    yield _deaf(context, other, board.radio)


def _tells_nothing(context: Context, board: Board, radio: LineRadio) -> Finding:
    return Finding(
        "error",
        "radio-beyond-board",
        f"board `{board.name}` does not lead, so it tells the others nothing over a radio",
        context.span(radio.mark),
        label="belongs below the board that leads",
        related=((context.span(board.mark), "this board"),),
        help=f"let it lead (`address {board.address}, leads`), or move the line below the board "
        "that leads",
    )


def _rate(context: Context, board: Board, radio: LineRadio) -> Iterator[Finding]:
    chip = CHIPS[board.chip]
    made = rates(chip.clock_hz)
    if radio.baud in made:
        return
    off = divisor(chip.clock_hz, radio.baud).error
    why = "radios do not usually have this rate"
    if radio.baud < made[0]:
        why = "a state of the show takes longer than a frame then"
    elif not is_made(chip.clock_hz, radio.baud):
        why = f"the nearest that {chip.title} makes is {abs(off):.1%} off".replace("%", " %")
    nearest = min(made, key=lambda rate: (rate > radio.baud, abs(rate - radio.baud)))
    listed = ", ".join(str(rate) for rate in made)
    span = context.span(radio.mark, "baud")
    yield Finding(
        "error",
        "radio-rate",
        f"the radio cannot have {radio.baud} baud: {why}",
        span,
        label=f"{nearest} baud is near and made well",
        help=f"set the radios to one of these rates: {listed} baud",
        fix=Fix(span, f"{nearest} baud"),
        asked=radio.baud,
        limit=nearest,
        unit="baud",
    )


def _deaf(context: Context, board: Board, radio: LineRadio) -> Finding:
    able = " or ".join(f"`{name}`" for name, chip in CHIPS.items() if chip.hears_radio)
    return Finding(
        "error",
        "radio-beyond-board",
        f"board `{board.name}` hears the others on its port to the computer, at 250000 baud alone",
        context.span(board.mark, "chip"),
        label="has no serial port for a radio",
        related=((context.span(radio.mark), "the radio"),),
        help=f"give it the chip {able}, or lay a cable to all boards and leave out `radio`",
    )
