"""What to buy for a show: everything that it needs, each by its own module."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.model import Lamp, Servo, Show, Strip
from sim.rig.watch import watched
from sim.score.draws import ways_to_look
from sim.score.planned_moves import planned_moves
from sim.strain.heat import Heat, heats
from sim.strain.interruption import interruptions
from sim.strain.light_sizes import LampSize, StripSize, size_lamp, size_strip
from sim.strain.sag import sags, without_limits
from sim.strain.servo_sizes import ServoSize, size_servo
from sim.strain.supply_sizes import SupplySize, size_supply
from sim.strain.usage import Book, Mix
from sim.strain.watch_sizes import WatchSize, size_watch


@dataclass(frozen=True, slots=True)
class Sizes:
    """Everything to buy, in the rig's order. `mix_stated`: by the score's own figures an hour."""

    servos: tuple[ServoSize, ...]
    supplies: tuple[SupplySize, ...]
    lamps: tuple[LampSize, ...]
    strips: tuple[StripSize, ...]
    watches: tuple[WatchSize, ...]
    mix: Mix
    margin: float


def size(show: Show) -> Sizes:
    """Size a show's servos, supplies and lamps, as if its supplies gave any current."""
    present = {supply.name: supply for supply in show.rig.supplies}
    books = tuple(Book(way) for way in ways_to_look(without_limits(show)))
    show, mix = books[0].show, books[0].mix()
    worst = {sag.board: sag for sag in sags(show)}
    hot = _hottest(books)
    lowest = {board: sag.voltage_v for board, sag in worst.items()}
    cuts = {cut.servo: cut for cut in interruptions(show, lowest)}
    planned = planned_moves(show)
    outputs = show.rig.outputs
    servos = [o for o in outputs if isinstance(o, Servo)]
    return Sizes(
        servos=tuple(
            size_servo(
                show,
                one,
                [m for m in planned if m.move.output == one.name],
                cuts[one.name],
                hot[one.name],
                lowest.get(one.board),
            )
            for one in servos
        ),
        supplies=tuple(size_supply(show, one, books, worst) for one in present.values()),
        lamps=tuple(size_lamp(show, lamp) for lamp in outputs if isinstance(lamp, Lamp)),
        strips=tuple(size_strip(show, strip) for strip in outputs if isinstance(strip, Strip)),
        watches=tuple(
            size_watch(one) for board in show.rig.boards if (one := watched(show.rig, board))
        ),
        mix=mix,
        margin=show.rig.wearer.margin,
    )


def _hottest(books: Sequence[Book]) -> dict[str, Heat]:
    """The heat of each servo, in whichever way of looking at the show it is greater."""
    found: dict[str, Heat] = {}
    for heat in (heat for book in books for heat in heats(book.show, book)):
        kept = found.setdefault(heat.servo, heat)
        found[heat.servo] = max(kept, heat, key=lambda one: max(one.hold_share, one.rms_share))
    return found
