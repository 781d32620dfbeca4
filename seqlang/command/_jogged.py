"""Which servo of a show is which on a board, before any of them is turned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import ReportedMode
from seqlang.command._board import named, not_ready
from sim.model import Servo
from sim.rulebook import PULSE_STEPS_PER_US

if TYPE_CHECKING:
    from firmware_gen.link.board_link import BoardLink
    from sim.model import Rig


Turned: TypeAlias = Literal["turned", "not limp", "stopped"]
"""What came of a jog. `stopped`: a stop was pressed, and the board takes no jog for a while."""


@dataclass(frozen=True, slots=True)
class ServoOnBoard:
    """A servo of the show, and what its board calls it."""

    servo: Servo
    link: BoardLink
    number: int
    """Among the servos of the board's table."""

    def pulse_us(self) -> float:
        """The pulse that it gets, or the last that it got. Raises LinkFailure."""
        return self.link.pulse(self.number) / PULSE_STEPS_PER_US

    def turn(self, pulse_us: float) -> Turned:
        """Bring its pulse there, unless the board refuses that. Raises LinkFailure."""
        from firmware_gen.link.board_link import refused
        from firmware_gen.link.protocol import Status

        reply = self.link.jog(self.number, round(PULSE_STEPS_PER_US * pulse_us))
        if reply.status == Status.NOT_IN_THIS_MODE:
            return "not limp"
        if reply.status == Status.STOPPED:
            return "stopped"
        if not reply.done:
            raise refused("jog", reply)
        return "turned"


def servos_on(link: BoardLink, rig: Rig) -> list[ServoOnBoard]:
    """The show's servos on a greeted board, in the order of the text.

    They are found by their pins in the table that the board plays, which may be an older one.

    Raises:
        LinkFailure: the board holds no show, or it is none of these boards, or its table has
            nothing on the pin of one of its servos.
    """
    from firmware_gen.table.decode import decode
    from firmware_gen.table.layout import TableError
    from firmware_gen.table.records import ServoRecord

    data = link.table()
    if not data:
        raise not_ready(ReportedMode.BLANK)
    try:
        outputs = decode(data).outputs
    except TableError as error:
        raise LinkFailure("refused", f"the board's table cannot be read: {error}") from None
    boards = [board.name for board in rig.boards if board.address == link.address]
    if not boards:
        raise LinkFailure(
            "wrong-address",
            f"{named(link)} is no board of this show",
            "`bellcrank ports` says which board is on which port",
        )
    pins = [output.pin for output in outputs if isinstance(output, ServoRecord)]
    servos = [each for each in rig.outputs if isinstance(each, Servo) and each.board == boards[0]]
    for servo in servos:
        if servo.pin not in pins:
            raise LinkFailure(
                "refused",
                f"the show on {named(link)} has no servo on the pin of `{servo.name}`",
                "put this show there with `bellcrank flash`, then repeat",
            )
    return [ServoOnBoard(servo, link, pins.index(servo.pin)) for servo in servos]
