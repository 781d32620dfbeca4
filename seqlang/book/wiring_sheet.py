"""Which pin goes where, on each board, and the list of wires to cut, with their numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from firmware_gen.chips import CHIPS
from seqlang.book.paper import BLANK, paragraph, section, subtitle, table
from seqlang.checks.figures import counted, figure
from sim.model import Cells, Lamp, Servo, Strip, Switch
from sim.pictures.pin_drawing import DrawnPin, pin_drawing
from sim.score.scaling import scaled_cues

if TYPE_CHECKING:
    from firmware_gen.chips.chip import Chip
    from firmware_gen.compiler.show import CompiledBoard
    from seqlang.book.matter import BookMatter
    from sim.model import Board, Channel, Input, Output, Rig, Sensor, Show, Supply


@dataclass(frozen=True, slots=True)
class Joint:
    """What is wired to one pin: its name, what it is, and how it is joined."""

    pin: int
    name: str
    kind: str
    how: str


def wiring_sheet(matter: BookMatter) -> str:
    """For each board its pins, drawn and as a table."""
    boards = [part for board in matter.compiled.boards for part in _board(matter, board)]
    return section(
        "wiring",
        "Wiring of the boards",
        paragraph(
            "Pins have the names of the chip's data sheet. Boards print labels of their own beside "
            "them: look them up in the board's pin plan, and write them down here."
        ),
        *boards,
    )


def _board(matter: BookMatter, board: CompiledBoard) -> Iterator[str]:
    rig = matter.show.rig
    joints = joints_of(matter, board.board)
    chip = board.chip
    yield '<div class="board">'
    yield subtitle(f"Board `{board.name}`: {chip.title}, address {board.board.address}")
    yield pin_drawing(f"{board.name}: {chip.title}", _drawn(chip, joints))
    yield table(
        ("Pin", "Goes to", "What it is", "How", "Label on the board", "Done"),
        [
            *((chip.pin_name(j.pin), j.name, j.kind, j.how, BLANK, BLANK) for j in joints),
            *_watched(board.board),
        ],
    )
    used = {joint.pin for joint in joints}
    reserved = (
        f"{chip.pin_name(pin)} ({why})" for pin, why in chip.reserved.items() if pin not in used
    )
    yield paragraph(f"Left alone: {', '.join(reserved)}.", "small")
    yield paragraph(_fed(rig, board.board))
    yield "</div>"


def _fed(rig: Rig, board: Board) -> str:
    if board.supply is None:
        return "The text does not say what feeds this board."
    return (
        f"Fed from `{board.supply}`. The returns of all servos, lights and buttons of this board, "
        "and those of all boards on one link, are joined."
    )


def joints_of(matter: BookMatter, board: Board) -> list[Joint]:
    """Everything on a board's pins, in the order of the pins' numbers."""
    rig = matter.show.rig
    found = [_joint(matter, one, board) for one in rig.outputs if one.board == board.name]
    found += [_button(one) for one in rig.inputs if one.board == board.name]
    found += [_channel(one, matter.show) for one in rig.channels if one.board == board.name]
    found += [_sensor(one, matter.show) for one in rig.sensors if one.board == board.name]
    found += _watch(board)
    found += _line(rig, board)
    return sorted(found, key=lambda joint: joint.pin)


def _joint(matter: BookMatter, one: Output, board: Board) -> Joint:
    match one:
        case Servo():
            how = "pulse lead of the servo; its other two go to the feed"
            kind = "linear servo" if one.linear else "servo"
            return Joint(one.pin, one.name, kind, how)
        case Lamp():
            return Joint(one.pin, one.name, "lamp", _lamp(matter, one))
        case Strip():
            return Joint(one.pin, one.name, "strip, data", _strip(matter, one))
        case Switch():
            level = "high" if one.active_high else "low"
            over = one.current_a > board.electrics.pin_a
            most = figure(1000 * board.electrics.pin_a)
            through = f"through a driver, a pin gives {most} mA at most" if over else "from the pin"
            return Joint(
                one.pin, one.name, "switched load", f"on while the pin is {level}; {through}"
            )


def _line(rig: Rig, board: Board) -> list[Joint]:
    """The board's end of the line from the board that leads, as FIRMWARE.md says to wire it."""
    leader, chip = rig.leader, CHIPS[board.chip]
    if leader is None:
        return []
    if board.leads:
        pin, to = chip.line_out, "the line to the other boards"
        how = "100 ohm at the pin, for each cable; its ground beside it"
    else:
        pin, to = chip.line_in, f"the line from {leader.name}"
        how = "from the cable; its ground beside it"
    if leader.radio is not None:
        end = "data input of the sending" if board.leads else "data output of the receiving"
        how = f"{end} radio, set to {leader.radio.baud} baud, with the levels that it wants"
        if leader.radio.late_ms:
            how = f"{how}; its bytes come {leader.radio.late_ms} ms late"
    line = [] if pin is None else [Joint(chip.pins[pin], to, LINE, how)]
    return [*line, *_wire_back(rig, board)]


def _wire_back(rig: Rig, board: Board) -> list[Joint]:
    """The board's end of the wire over which boards answer the one that leads."""
    leader, chip = rig.leader, CHIPS[board.chip]
    answering = [one.name for one in rig.boards if one.answers]
    if leader is None or not (board.answers or (board.leads and answering)):
        return []
    if board.leads:
        pin, to = chip.line_in, f"the wire back from {', '.join(answering)}"
        how = "1.5 kohm from the pin to the chip's 5 V; from the cables; their ground beside it"
    else:
        pin, to = chip.answer_out, f"the wire back to {leader.name}"
        how = "100 ohm at the pin, then a Schottky diode, cathode to the 100 ohm; to the cable"
    return [] if pin is None else [Joint(chip.pins[pin], to, BACK, how)]


def _watch(board: Board) -> list[Joint]:
    """Where the board watches its battery; a direct watch is inside the chip: see `_watched`."""
    watch = board.watch
    if watch is None or watch.pin is None or watch.divider is None:
        return []
    upper, lower = (
        f"{figure(ohm / 1000)} kohm" for ohm in (watch.divider.upper_ohm, watch.divider.lower_ohm)
    )
    how = f"{upper} from the battery's plus to the pin, {lower} from the pin to its ground"
    return [Joint(watch.pin, "watch of the battery", f"{DIVIDER}, voltage", how)]


def _watched(board: Board) -> list[tuple[str, ...]]:
    """The row of a watch that no pin has: the chip runs from the battery itself."""
    watch = board.watch
    if watch is None or watch.pin is not None:
        return []
    own = "" if watch.reference_v is None else f" of {figure(watch.reference_v)} V"
    how = f"no wire: the chip holds its own feed against its reference{own}"
    return [("none", "watch of the battery", "inside the chip", how, BLANK, BLANK)]


LINE = "line between boards"
BACK = "wire back between boards"
DIVIDER = "divider"
CONTACT = "contact"
RECEIVER = "receiver"
SENSOR = "sensor"


def _button(one: Input) -> Joint:
    how = (
        "to the return; the chip's pull-up holds it high" if one.active_low else "to the logic feed"
    )
    level = "low" if one.active_low else "high"
    kind = f"{CONTACT} or receiver, pressed while {level}"
    return Joint(one.pin, f"button {one.button}", kind, how)


def _channel(one: Channel, show: Show) -> Joint:
    does = [
        f"button {band.button} from {figure(band.low_us)} to {figure(band.high_us)} us"
        for band in one.bands
    ]
    does += _used(one, show)
    return Joint(one.pin, f"channel {one.name}", f"{RECEIVER}, pulses", "; ".join(does))


def _used(one: Channel | Sensor, show: Show) -> list[str]:
    """What follows a source, and which cues go as far as it says."""
    names = [follow.output for follow in show.rig.follows if follow.source == one.name]
    words = [f"followed by {', '.join(names)}"] if names else []
    scaled = [cue.name for cue in scaled_cues(show.score, one.name)]
    return words + ([f"says how far {', '.join(scaled)} goes"] if scaled else [])


def _sensor(one: Sensor, show: Show) -> Joint:
    wire = "its wiper or output to the pin; never more than the chip's supply there"
    how = "; ".join([wire, *_used(one, show)])
    return Joint(one.pin, f"sensor {one.name}", f"{SENSOR}, voltage", how)


def _lamp(matter: BookMatter, one: Lamp) -> str:
    size = next(lamp for lamp in matter.sizes.lamps if lamp.lamp == one.name)
    driven = "from the feed, switched by a transistor" if size.needs_driver else "from the pin"
    if size.resistor is None:
        return f"{driven}; {figure(size.voltage_v)} V is too low for it"
    rated = "" if size.resistor.rating_w is None else f", {figure(size.resistor.rating_w)} W"
    each = "each LED behind its own" if one.count > 1 else "behind a"
    return f"{driven}; {each} {figure(size.resistor.preferred_ohm)} ohm{rated}"


def _strip(matter: BookMatter, one: Strip) -> str:
    size = next(strip for strip in matter.sizes.strips if strip.strip == one.name)
    how = ["to the strip's data input"]
    if one.shifter or size.needs_shifter:
        how.append("through a level shifter")
    feed = f"feed {figure(size.voltage_v)} V"
    how.append(f"{feed} from a converter of its own" if one.feed_v is not None else feed)
    return "; ".join(how)


def _drawn(chip: Chip, joints: list[Joint]) -> list[list[DrawnPin]]:
    by_pin = {joint.pin: joint for joint in joints}
    ports: dict[str, list[DrawnPin]] = {}
    for name, pin in chip.pins.items():
        if pin in by_pin:
            drawn = DrawnPin(name, _label(by_pin[pin]), "joined")
        elif pin in chip.reserved:
            drawn = DrawnPin(name, chip.reserved[pin], "kept")
        else:
            drawn = DrawnPin(name)
        ports.setdefault(name[:2], []).append(drawn)
    return list(ports.values())


def _label(joint: Joint) -> str:
    """What stands beside the pin; buttons and the line say what they are by their names."""
    if joint.kind in (LINE, BACK) or joint.kind.startswith((CONTACT, DIVIDER)):
        return joint.name
    return f"{joint.name} ({joint.kind.split(',')[0]})"


# -- supplies and wires ---------------------------------------------------------------------------


def supply_sheet(matter: BookMatter) -> str:
    """Sources, regulators, fuses, and every wire with a number."""
    rig = matter.show.rig
    wires = [(f"W{n}", *row) for n, row in enumerate(_wires(matter), 1)]
    return section(
        "supply",
        "Supplies, fuses and wires",
        *(part for one in rig.supplies for part in _supply(matter, one)),
        subtitle("Wires and connectors"),
        paragraph(
            "Put its number on both ends of each wire. Lengths that the text does not state are "
            "yours to measure: with the parts at both ends of their travel."
        ),
        table(("No.", "From", "To", "Plug and leads", "Current", "Wire", "Length"), wires),
    )


def _supply(matter: BookMatter, one: Supply) -> Iterator[str]:
    size = next(each for each in matter.sizes.supplies if each.supply == one.name)
    yield subtitle(f"Supply `{one.name}`")
    fuse = f"{figure(one.fuse_a)} A, {_KINDS[one.fuse_kind]}" if one.fuse_a else "none in the text"
    fits = "what no fuse gives" if size.fuse.rating_a is None else f"{figure(size.fuse.rating_a)} A"
    rows = [("source", _source(one), BLANK), ("fuse", f"{fuse}; the figures ask for {fits}", BLANK)]
    rows.append(("switch", "in the lead, in reach of wearer and helper", BLANK))
    if one.regulator is not None:
        made = f"{figure(one.regulator.voltage_v)} V, {figure(one.regulator.current_a)} A"
        rows.append(("regulator", made, BLANK))
    yield table(("In this order", "What", "Built in (type, place)"), rows)
    yield paragraph(f"About the fuse: {size.fuse.reason}.", "small")


_KINDS = {
    "blade": "blade (ISO 8820-3)",
    "UL fast": "fast cartridge (UL 248-14)",
    "UL slow": "slow cartridge (UL 248-14)",
    "IEC fast": "fast cartridge (IEC 60127-2)",
    "IEC slow": "slow cartridge (IEC 60127-2)",
}


def _source(one: Supply) -> str:
    if not isinstance(one.source, Cells):
        return f"adapter {figure(one.source.voltage_v)} V, {figure(one.source.current_a)} A"
    cells = one.source
    rows = f" in {cells.parallel} rows" if cells.parallel > 1 else ""
    kind = f"{counted(cells.series, 'cell', 'cells')} in series{rows}, {cells.chemistry}"
    each = " a row" if cells.parallel > 1 else ""
    return f"{kind}, {figure(1000 * cells.capacity_ah)} mAh{each}"


_LEADS = {
    LINE: "2: signal, return",
    BACK: "2: signal, return",
    DIVIDER: "2: signal, return",
    RECEIVER: "3: signal, +, return",
    SENSOR: "3: signal, logic feed, return",
    f"{CONTACT} or receiver": "2: contact",
}


def _wires(matter: BookMatter) -> Iterator[tuple[str, ...]]:
    """From, to, plug, current, wire, length: of the feeds first, then board by board."""
    feeds = {feed.board: feed for supply in matter.sizes.supplies for feed in supply.feeds}
    for board in matter.compiled.boards:
        wire, feed = board.board.wire, feeds.get(board.name)
        if feed is None or board.board.supply is None:
            continue
        asked = f"peak {feed.peak_a:.2f} A, rms {feed.rms_a:.2f} A"
        kind, length = BLANK, BLANK
        if wire is not None:
            kind = (
                f"{wire.gauge_awg} AWG" if wire.section_mm2 is None else f"{wire.section_mm2:g} mm2"
            )
            kind += f", {wire.bundled} bundled" if wire.bundled > 1 else ""
            length = f"{figure(1000 * wire.length_m)} mm"
        yield board.board.supply, f"board {board.name}", "+ and return", asked, kind, length
    for board in matter.compiled.boards:
        for joint in joints_of(matter, board.board):
            pin = f"{board.name} {board.chip.pin_name(joint.pin)}"
            yield from _of_pin(matter, pin, joint)


def _of_pin(matter: BookMatter, pin: str, joint: Joint) -> Iterator[tuple[str, ...]]:
    one = next((o for o in matter.show.rig.outputs if o.name == joint.name), None)
    match one:
        case Servo():
            stall = max(rating.stall_a for rating in one.ratings)
            yield pin, one.name, "3: pulse, +, return", f"{figure(stall)} A stalled", BLANK, BLANK
        case Lamp():
            amps = f"{figure(1000 * one.count * one.current_a)} mA"
            yield pin, one.name, "2: + and return", amps, BLANK, BLANK
        case Strip():
            size = next(each for each in matter.sizes.strips if each.strip == one.name)
            amps = f"{size.show_a:.2f} A in this show"
            yield pin, one.name, "3: data, +, return", amps, BLANK, BLANK
        case Switch():
            amps = f"{figure(1000 * one.current_a)} mA"
            yield pin, one.name, "2: drive, return", amps, BLANK, BLANK
        case None:
            leader = matter.show.rig.leader
            cabled = joint.kind in (LINE, BACK) and (leader is None or leader.radio is None)
            length = "3 m at most" if cabled else BLANK
            yield pin, joint.name, _LEADS[joint.kind.split(",")[0]], "almost none", BLANK, length
