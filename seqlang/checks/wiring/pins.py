"""What checks of pins share: who sits where on a board, and the nearest free pin that fits."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from firmware_gen.chips import CHIPS, Chip, Job
from seqlang.text.findings import Fix
from sim.model import Board, Channel, Input, Lamp, Output, Sensor, Servo, Strip

if TYPE_CHECKING:
    from seqlang.checks.context import Context


@dataclass(frozen=True, slots=True)
class WatchPin:
    """The pin at which a board watches its battery."""

    board: str
    pin: int
    mark: int


User: TypeAlias = Output | Input | Channel | Sensor | WatchPin


def job(user: User) -> Job:
    match user:
        case Servo():
            return "servo"
        case Lamp():
            return "lamp"
        case Strip():
            return "strip"
        case Input():
            return "input"
        case Channel():
            return "channel"
        case Sensor() | WatchPin():
            return "sensor"
        case _:
            return "switch"


def called(user: User) -> str:
    if isinstance(user, WatchPin):
        return "the watch of the battery"
    return f"button {user.button}" if isinstance(user, Input) else f"`{user.name}`"


def by_board(context: Context) -> Iterator[tuple[Board, Chip, list[User]]]:
    """Each board with a known chip, and everything on its pins in the order of the text."""
    rig = context.show.rig
    users: dict[str, list[User]] = {}
    watches = [
        WatchPin(one.name, one.watch.pin, one.watch.mark)
        for one in rig.boards
        if one.watch is not None and one.watch.pin is not None
    ]
    for user in (*rig.outputs, *rig.inputs, *rig.channels, *rig.sensors, *watches):
        users.setdefault(user.board, []).append(user)
    for board in context.show.rig.boards:
        chip = CHIPS.get(board.chip)
        if chip is not None:
            yield board, chip, users.get(board.name, [])


def nearest_free(chip: Chip, user: User, taken: set[int]) -> int | None:
    """The pin that can do the user's job, is free, and lies nearest by number.

    A channel's timer dims no lamps: a pin where a channel and a lamp would need the same one comes
    last.
    """
    fitting = chip.pins_for(job(user)) - taken
    shared = {pin: lamps for pin, (_, lamps) in chip.channels.items()}
    if job(user) == "lamp":
        measured = frozenset[int]().union(*(shared[pin] for pin in taken & shared.keys()))
        in_the_way = fitting & measured
    else:
        in_the_way = frozenset(pin for pin in fitting if shared.get(pin, frozenset()) & taken)
    return min(fitting, key=lambda pin: (pin in in_the_way, abs(pin - user.pin), pin), default=None)


def chip_instead(
    context: Context, board: Board, is_able: Callable[[Chip], bool]
) -> tuple[str, Fix] | None:
    """The first chip that can do what the board's cannot, and does on the same pins what they do.

    None if there is none: then pins would have to change as well, which nobody but the maker wires.
    """
    leads = context.show.rig.leader is not None
    old = CHIPS[board.chip]
    for name, chip in CHIPS.items():
        if not is_able(chip):
            continue
        line = {chip.line_out, chip.line_in} if leads else set()
        users = [user for other, _, found in by_board(context) if other == board for user in found]
        named = {old.pin_name(user.pin): user for user in users}
        if len(named) == len(users) and all(
            pin in chip.pins and pin not in line and chip.refusal(chip.pins[pin], job(user)) is None
            for pin, user in named.items()
        ):
            bench = f"board `{board.name}` becomes one with an {chip.title}"
            return name, Fix(context.span(board.mark, "chip"), name, bench=bench)
    return None


def move_to(context: Context, chip: Chip, user: User, pin: int) -> Fix:
    span = context.span(user.mark, "pin")
    text = context.text(span)
    old, new = chip.pin_name(user.pin), chip.pin_name(pin)
    bench = f"the wire of {called(user)} moves from {old} to {new}"
    return Fix(span, text.replace(old, new, 1) if old in text else new, bench=bench)
