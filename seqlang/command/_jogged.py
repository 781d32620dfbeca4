"""Which servo of a show is which on a board, before any of them is turned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import ReportedMode
from seqlang.command._board import named, table_of, wait_for_limp
from seqlang.meaning.sources import USUAL_US
from sim.model import Channel, Servo
from sim.rulebook import PULSE_STEPS_PER_US, SENSOR_ONE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from firmware_gen.link.board_link import BoardLink
    from sim.model import Rig, Sensor


STICK_WAY: Final = (USUAL_US[0] * PULSE_STEPS_PER_US, USUAL_US[1] * PULSE_STEPS_PER_US)
"""The pulses of a stick's ends."""
SENSOR_WAY: Final = (0.0, SENSOR_ONE - 1.0)

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

    def is_limp(self) -> bool:
        """Whether its board takes a jog: the one that leads there is limp as well. Raises
        LinkFailure."""
        lead = self.link.lead
        boards = (self.link,) if lead is self.link else (self.link, lead)
        return all(board.state().mode == ReportedMode.LIMP for board in boards)

    def make_limp(self) -> None:
        """Its board is limp, with all that are led with it, and no servo of theirs is turned any
        more. Raises LinkFailure."""
        from firmware_gen.link.board_link import refused

        lead = self.link.lead
        reply = lead.limp()
        if not reply.done:
            raise refused("limp", reply)
        wait_for_limp(lead, longest_s=1.0)
        if lead is not self.link:
            wait_for_limp(self.link, longest_s=1.0)

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


@dataclass(frozen=True, slots=True)
class SourceOnBoard:
    """A channel of a radio or a sensor of the show, and what its board calls it."""

    name: str
    link: BoardLink
    number: int
    """Among the channels and sensors of the board's table."""
    way: tuple[float, float]
    """What it stands at, at the ends of its way, in the board's steps."""

    def share(self) -> float | None:
        """Where in its way it stands, 0 to 1 and beyond; None: it is not heard. Raises
        LinkFailure."""
        value = self.link.source(self.number)
        first, last = self.way
        return None if value is None else (value - first) / (last - first)


def servos_on(link: BoardLink, rig: Rig) -> list[ServoOnBoard]:
    """The show's servos on a greeted board, in the order of the text.

    They are found by their pins in the table that the board plays, which may be an older one.

    Raises:
        LinkFailure: the board holds no show, or it is none of these boards, or its table has
            nothing on the pin of one of its servos.
    """
    from firmware_gen.table.records import ServoRecord

    pins = [one.pin for one in table_of(link).outputs if isinstance(one, ServoRecord)]
    board = _board_of(link, rig)
    servos = [each for each in rig.outputs if isinstance(each, Servo) and each.board == board]
    for servo in servos:
        if servo.pin not in pins:
            raise _other_show(link, f"no servo on the pin of `{servo.name}`")
    return [ServoOnBoard(servo, link, pins.index(servo.pin)) for servo in servos]


def source_on(links: Sequence[BoardLink], rig: Rig, name: str) -> SourceOnBoard:
    """A channel or a sensor of the show, on one of these greeted boards.

    Raises:
        LinkFailure: its board is none of these, or its table has nothing on its pin.
        LookupError: the show has none of this name.
    """
    from firmware_gen.table.records import ChannelRecord, SensorRecord

    sources: tuple[Channel | Sensor, ...] = (*rig.channels, *rig.sensors)
    wanted = next((one for one in sources if one.name == name), None)
    if wanted is None:
        raise LookupError(name)
    for link in links:
        if _board_of(link, rig) != wanted.board:
            continue
        kinds = ChannelRecord | SensorRecord
        pins = [one.pin for one in table_of(link).senses if isinstance(one, kinds)]
        if wanted.pin not in pins:
            raise _other_show(link, f"no channel or sensor on the pin of `{name}`")
        way = STICK_WAY if isinstance(wanted, Channel) else SENSOR_WAY
        return SourceOnBoard(name, link, pins.index(wanted.pin), way)
    raise LinkFailure(
        "wrong-address",
        f"`{name}` arrives at board `{wanted.board}`, and that board was not found",
        "say with `--port` where it is",
    )


def _board_of(link: BoardLink, rig: Rig) -> str:
    """The name of a greeted board in the show. Raises LinkFailure."""
    for board in rig.boards:
        if board.address == link.address:
            return board.name
    raise LinkFailure(
        "wrong-address",
        f"{named(link)} is not a board of this show",
        "`bellcrank ports` says which board is on which port",
    )


def _other_show(link: BoardLink, lacks: str) -> LinkFailure:
    return LinkFailure(
        "refused",
        f"the show on {named(link)} has {lacks}",
        "put this show there with `bellcrank flash`, then repeat",
    )
