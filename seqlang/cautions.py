"""The usual cautions, in one place: findings, README and the show's pages take them from here.

They are the trade's common words (common practice, no source, unless one is named). None of them
replaces a rule of the place: each defers to local codes, the venue's rules and licensed practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

DEFER: Final = (
    "local codes, the venue's rules and licensed practice come first; this tool replaces none of "
    "them"
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: a stable `name`, a `title` for a list, and what to mind."""

    name: str
    title: str
    words: tuple[str, ...]


PINCH: Final = Caution(
    "caution-pinch",
    "moving parts pinch",
    (
        "a stalled servo presses with all it has until its pulses end",
        "keep fingers, hair, face and neck out of closing gaps; blunt the edges; let a weak link, "
        "a spring or a magnet give way first",
        "do not rely on the stop button: it ends pulses, but it is not an emergency stop as IEC "
        "60204-1 means it; put a switch in the supply's lead, in reach of wearer and helper",
    ),
)

TURNING: Final = Caution(
    "caution-turning",
    "turning parts wind up what they catch",
    (
        "a part that turns round and round pulls in hair, cords, scarves and fingers: shroud it, "
        "keep it low, and let it slip on its shaft before it pulls hard",
        "try it on the bench: pull the pulse lead off while it turns; some servos go on turning "
        "without pulses, and those must not be used, because the stop button ends pulses",
        "pulses and speeds drift with heat and voltage: set standstill anew when it creeps",
    ),
)

LITHIUM: Final = Caution(
    "caution-lithium",
    "lithium packs burn",
    (
        "stay with a pack that charges; use a charger for its chemistry; keep it away from things "
        "that burn; never charge it while it is worn",
        "stop using a pack that is swollen, hot, hissing or smelling; do not puncture, crush or "
        "short it",
        "fuse the lead close to the pack; carry the pack where it can be pulled out in seconds; "
        "follow the rules of whoever transports it",
        "a board that watches its battery is not a protection circuit: it sees the pack and not "
        "each cell, and it acts late; use packs that are protected",
    ),
)

HEAT: Final = Caution(
    "caution-heat",
    "servos, regulators and LEDs get hot",
    (
        "a servo that holds a load or stalls heats up within seconds; keep it off skin and foam",
        "let air get to LEDs, regulators and wires in a closed costume; feel them after ten "
        "minutes of the real show",
        "put a strain relief on every wire that crosses a joint: a worn wire shorts",
    ),
)

FLASHING: Final = Caution(
    "caution-flashing",
    "flashing light can cause seizures",
    (
        "the check uses the limits of WCAG 2.2, which are made for screens, and reads them on the "
        "safe side for lamps and strips; it does not prove that a show is safe for anyone",
        "warn at the door that flashing light is used; follow the venue's rule for strobes",
    ),
)

GETTING_OUT: Final = Caution(
    "caution-getting-out",
    "the wearer must get out quickly",
    (
        "practise it: out of the costume within seconds, alone, in the dark, with the power off "
        "and the parts in any position",
        "when limp, parts can be pushed by hand only as far as the gears allow; keep a helper near "
        "who knows the switch; plan for rest, water and cool air",
    ),
)

JOGGING: Final = Caution(
    "caution-jogging",
    "a servo that is turned by keys",
    (
        "hold or prop what hangs on a part: without pulses it sinks",
        "a limp part may have sunk or been pushed: the first pulse pulls it back to where it last "
        "stood, as fast as its servo can",
        "ends in the text do not know what the part really meets: go near them in steps of 1 us, "
        "and listen; a servo that hums is pressing on something",
        "SPACE ends the pulses, and so does a stop button that is wired to the board: they come "
        "again only by a key. A switch in the supply's lead ends them whatever else fails",
    ),
)
"""Shown before the first motion of `bellcrank jog`; no show has it."""

SLIDING: Final = Caution(
    "caution-sliding",
    "a servo that is turned by a phone's slider",
    (
        *JOGGING.words[:2],
        "ends in the text do not know what the part really meets: go near them slowly, and listen; "
        "a servo that hums is pressing on something",
        "letting go ends the pulses, and so do Stop and Limp; a phone is not an emergency stop: "
        "keep a switch in the supply's lead within reach",
    ),
)
"""The same for `bellcrank jog --phone`."""

ALL: Final = (PINCH, TURNING, LITHIUM, HEAT, FLASHING, GETTING_OUT)
