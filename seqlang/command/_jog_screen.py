"""What the screen shows while a servo is turned by keys: lines of text, without a terminal."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import wrap
from typing import TYPE_CHECKING, Final

from seqlang.cautions import DEFER, JOGGING, PINCH, TURNING
from seqlang.jogging import IDLE_S, STEPS_US, estimated_place
from sim.rig.slide import of_part

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seqlang.jogging import Jog
    from seqlang.stick_hand import StickHand
    from sim.model import Servo

KEYS: Final = (
    ("SPACE", "stop: no pulses, at once"),
    ("arrows", "a step"),
    ("1 2 3", "steps of 1, 10, 50 us"),
    ("ENTER", "pulses on"),
    ("e", "pass this end"),
    ("m", "mark: it stands at ..."),
    ("u", "undo a mark"),
    ("r", "record, end of it"),
    ("c", "the stick turns it"),
    ("n p", "next, previous servo"),
    ("q", "leave"),
)
GO_ON: Final = "Before anything moves. Then y goes on, and any other key leaves."


@dataclass(frozen=True, slots=True)
class JogView:
    """All that is shown of the servo under the hands."""

    servo: Servo
    jog: Jog
    board: str
    """And its port, in words."""
    place: tuple[int, int]
    """Which servo of how many, from 1."""
    sent_us: float
    """The pulse that the board gives now, or gave last."""
    board_is_limp: bool
    was_stopped: bool = False
    """Somebody pressed stop, here or there, and nobody has wanted pulses since."""
    rests: bool = False
    """Pulses are wanted, and the board does not give any yet: it has just been stopped."""
    field: str | None = None
    """What has been typed of a mark; None: nothing is being typed."""
    message: str = ""
    recorded_s: float | None = None
    """How long the recording of this servo lasts, or lasted; None: there is none."""
    is_recording: bool = False
    stick: tuple[str, StickHand | None] | None = None
    """Its name, and what it does if it is in use; None: none was named."""


def cautions(servos: Sequence[Servo], columns: int) -> list[str]:
    """What to mind before anything moves."""
    points = [*JOGGING.words, *PINCH.words]
    if any(servo.load.spins for servo in servos):
        points += TURNING.words
    lines = [GO_ON, ""]
    for point in (*points, DEFER):
        lines += wrap(point, columns - 1, initial_indent="- ", subsequent_indent="  ")
    return lines


def lines_of_view(view: JogView, columns: int) -> list[str]:
    """The lines of the screen, no longer than `columns` allow; the second is the state."""
    servo, jog = view.servo, view.jog
    unit = of_part(servo).place
    number, count = view.place
    at = estimated_place(servo.points, view.sent_us)
    found = [
        f"{servo.name}, servo {number} of {count}, on {view.board}",
        _state(view),
        "",
        f"pulse   {jog.held_us:7.1f} us    the board: {view.sent_us:.1f} us",
        f"part    {at:7.1f} {unit}   by the points in the text",
        f"step    {STEPS_US[jog.step]:5.0f} us",
        _bar(jog, view.sent_us, columns),
        *_ends(view, unit),
        *_stick(view),
        "",
        *_marked(jog),
        *_recorded(view),
        "" if view.field is None else f"it stands at ({unit}): {view.field}_",
        view.message,
        "",
        *_keys(columns, view.stick is not None),
    ]
    return [line[: columns - 1] for line in found]


def _state(view: JogView) -> str:
    if not view.board_is_limp:
        return "The board is not limp: ENTER ends all its pulses. Hold what would sink."
    if view.was_stopped:
        return "STOPPED: somebody pressed stop. ENTER: pulses, when you know why."
    if view.rests:
        return "LIMP for a second after a stop; then pulses. Hold what they would pull."
    if view.jog.is_limp:
        return "LIMP. ENTER: pulses. The part goes back at once to where it last stood."
    if view.jog.stopped:
        return "It stands at an end. e goes beyond it; look what the part would press on."
    return f"PULSES. Without a key they end after {IDLE_S:.0f} s."


def _ends(view: JogView, unit: str) -> list[str]:
    low, high = view.jog.room_us
    travel = " to ".join(f"{place:g} {unit}" for place in view.servo.travel_deg)
    servo = " to ".join(f"{pulse:g}" for pulse in view.servo.pulse_range_us)
    return [
        f"ends    {low:.1f} to {high:.1f} us hold now",
        f"        travel {travel}; the servo takes {servo} us",
    ]


def _bar(jog: Jog, sent_us: float, columns: int) -> str:
    """Where the pulse lies between the last ends: `|` the ends that hold now, `o` the pulse."""
    width = max(10, min(60, columns - 10))
    down, up = jog.ends_us
    low, high = down[-1], up[-1]
    cells = ["."] * width

    def cell(pulse_us: float) -> int:
        share = (pulse_us - low) / (high - low) if high > low else 0.0
        return min(width - 1, max(0, round(share * (width - 1))))

    for end in jog.room_us:
        cells[cell(end)] = "|"
    cells[cell(sent_us)] = "o"
    return "        " + "".join(cells)


def _marked(jog: Jog) -> list[str]:
    if not jog.points:
        return ["marked  nothing yet; two points or more make a calibration"]
    first, *rest = jog.points
    if not rest:
        first += "; a second point, far from it, makes a calibration"
    return [f"marked  {first}", *(f"        {point}" for point in rest)]


def _recorded(view: JogView) -> list[str]:
    if view.recorded_s is None:
        return []
    if view.is_recording:
        return [f"RECORDS {view.recorded_s:7.1f} s; r ends it"]
    return [f"recorded{view.recorded_s:7.1f} s; r records it anew"]


def _stick(view: JogView) -> list[str]:
    if view.stick is None:
        return []
    name, hand = view.stick
    if hand is None:
        return [f"stick   {name}: c lets it turn the part"]
    if hand.at_us is None:
        return [f"stick   {name} is not heard: is its sender on? c ends its use"]
    asks = f"stick   {name} asks for {hand.at_us:.1f} us"
    if hand.holds:
        return [f"{asks} and turns the part; c ends that"]
    more = "more" if hand.at_us < view.jog.held_us else "less"
    return [f"{asks}: move it to {more}, past {view.jog.held_us:.1f} us; then it turns the part"]


def _keys(columns: int, has_stick: bool) -> list[str]:
    """The keys, in as many columns as fit."""
    words = [f"{key:<7}{what}" for key, what in KEYS if key != "c" or has_stick]
    wide = max(map(len, words)) + 2
    across = max(1, columns // wide)
    rows = -(-len(words) // across)
    return ["".join(f"{word:<{wide}}" for word in words[row::rows]).rstrip() for row in range(rows)]
