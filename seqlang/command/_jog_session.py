"""Servos of a show turned by keys, one after another: keys and the time go in, boards are asked.

The rules of one servo are those of `seqlang.jogging`. Here stand the boards: when they are asked
for pulses, when they are made limp, and which servo has the keys.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import HELD_FRAMES, STOP_TELLINGS
from seqlang.command._jog_screen import JogView
from seqlang.jogging import (
    Action,
    Jog,
    act,
    begin,
    is_far_off,
    mark,
    resumed,
    slid,
    typing,
    waited,
)
from seqlang.recording import Take
from seqlang.stick_hand import StickHand, moved, released
from sim.rig.slide import of_part
from sim.rig.standstill import pulse_us as pulse_at
from sim.rulebook import FRAME_S
from sim.score.fitting import LONGEST_S

if TYPE_CHECKING:
    from firmware_gen.link.board_link import BoardLink
    from seqlang.command._jogged import ServoOnBoard, SourceOnBoard

LASTS_S: Final = HELD_FRAMES * FRAME_S
"""A board ends a jog that is not asked for again within a second (LINK.md)."""
AGAIN_S: Final = LASTS_S / 5
REST_S: Final = LASTS_S + STOP_TELLINGS * FRAME_S + 0.1
"""After a stop a board takes no jog for a second (TABLE.md 2.8), which its clock counts. One that
is led counts from when it was told for the last time."""
LOOK_S: Final = 0.1
"""How often the board is asked for its pulse."""
RECORD_S: Final = 0.03
"""The same while a motion is recorded: between one and two frames."""
LONGEST_FIELD: Final = 20

STOP: Final = " "
KEPT: Final = "SPACE stops, also here: no pulses. What you typed is kept; ENTER: pulses"
ENTER, ESCAPE, BACK = "enter", "escape", "backspace"
"""Keys that are no characters; `up` and `down` are steps."""
_ACTIONS: Final[Mapping[str, Action]] = {
    "up": "up",
    "down": "down",
    "1": "fine",
    "2": "usual",
    "3": "coarse",
    "e": "pass",
    "u": "back",
}


class JogSession:
    """Whose keys turn which servo. Every method but `points` raises LinkFailure.

    Args:
        servos: one or more, in the order in which they are gone through.
        now_s: any clock that only goes forward.
        stick: what turns the servos besides keys, once a key says so.
    """

    def __init__(
        self, servos: Sequence[ServoOnBoard], now_s: float, stick: SourceOnBoard | None = None
    ) -> None:
        self.is_over = False
        self._servos = servos
        self._jogs: dict[int, Jog] = {}
        self._field: str | None = None
        self._message = ""
        self._has_pulses = False
        self._asked: tuple[float, float] = (0.0, now_s)
        """The pulse that the board was asked for last, and when."""
        self._looked_s = now_s
        self._rest_end_s: dict[BoardLink, float] = {}
        """When a board takes a jog again after a stop, and all that it leads."""
        self._was_stopped = False
        self._doubted: str | None = None
        """A place that was typed and is so far off that it takes another ENTER."""
        self._recording: list[tuple[float, float]] | None = None
        """Moments and pulses of the take that is being recorded."""
        self._takes: dict[int, Take] = {}
        self._stick = stick
        self._hand: StickHand | None = None
        """What the stick does; None: it is not in use."""
        self._take(0, now_s)

    @property
    def _on(self) -> ServoOnBoard:
        return self._servos[self._at]

    @property
    def _jog(self) -> Jog:
        return self._jogs[self._at]

    @_jog.setter
    def _jog(self, jog: Jog) -> None:
        self._jogs[self._at] = jog

    def view(self) -> JogView:
        link = self._on.link
        return JogView(
            self._on.servo,
            self._jog,
            f"board {link.address} ({self._on.servo.board}), {link.name}",
            (self._at + 1, len(self._servos)),
            self._sent_us,
            self._is_limp,
            self._was_stopped,
            not self._jog.is_limp and not self._has_pulses,
            self._field,
            self._message,
            self._recorded_s(),
            self._recording is not None,
            None if self._stick is None else (self._stick.name, self._hand),
        )

    def points(self) -> dict[str, tuple[str, ...]]:
        """The marks of each servo that has any, by its name."""
        return {
            self._servos[at].servo.name: jog.points for at, jog in self._jogs.items() if jog.marks
        }

    @property
    def is_recording(self) -> bool:
        return self._recording is not None

    def takes(self) -> dict[str, Take]:
        """The last recording of each servo that has any, by its name."""
        return {self._servos[at].servo.name: take for at, take in self._takes.items()}

    # -- keys ----------------------------------------------------------------------------------

    def press(self, keys: Sequence[str], now_s: float) -> None:
        """Keys that came since the last call. One that stops goes before all others."""
        if STOP in keys:
            self._jog = act(self._jog, "limp", now_s)
            self._message = "" if self._field is None else KEPT
            self._end_pulses(now_s)
            return
        for key in keys:
            if self._field is not None:
                self._type(key, now_s)
            else:
                self._key(key, now_s)

    def _key(self, key: str, now_s: float) -> None:
        self._message = ""
        if key in _ACTIONS:
            self._jog = act(self._jog, _ACTIONS[key], now_s)
            if key in ("up", "down") and self._hand is not None:
                self._hand = released(self._hand)
        elif key == ENTER:
            self._give_pulses(now_s)
        elif key == "m":
            self._jog = typing(self._jog, now_s)
            self._message = self._why_no_mark()
            self._field = None if self._message else ""
        elif key in ("n", "p"):
            self._go_to((self._at + (1 if key == "n" else -1)) % len(self._servos), now_s)
        elif key == "r":
            self._jog = typing(self._jog, now_s)
            self._record(now_s)
        elif key == "c" and self._stick is not None:
            self._jog = typing(self._jog, now_s)
            self._hand = self._new_hand() if self._hand is None else None
        elif key == "q":
            self.is_over = True
        else:
            self._jog = typing(self._jog, now_s)

    def _why_no_mark(self) -> str:
        if self._jog.is_limp:
            return "a limp part may have sunk: give it pulses before you mark"
        low, high = self._on.servo.pulse_range_us
        if not low <= self._jog.held_us <= high:
            return f"no mark: the text limits this servo to {low:g} us to {high:g} us"
        return ""

    def _type(self, key: str, now_s: float) -> None:
        assert self._field is not None
        self._jog = typing(self._jog, now_s)
        if key == ESCAPE:
            self._field, self._message = None, ""
        elif key == BACK:
            self._field = self._field[:-1]
        elif key == ENTER and self._jog.is_limp:
            self._give_pulses(now_s)
            self._message = "look again where it stands; then ENTER marks it"
        elif key == ENTER:
            self._mark(self._field, now_s)
        elif len(key) == 1 and len(self._field) < LONGEST_FIELD:
            self._field += key

    def _mark(self, typed: str, now_s: float) -> None:
        """Where the part stands with this pulse, if that can be read."""
        from seqlang.calibration import CalibrationRefusedError, read_points

        if typed and self._sent_us != self._jog.held_us:
            self._message = "it is still on its way: ENTER once both pulses are the same"
            return
        self._field = None
        if not typed:
            return
        servo = self._on.servo
        unit = of_part(servo).place
        place = typed if typed[-1].isalpha() else f"{typed} {unit}"
        try:
            (point,) = read_points([f"1500 us at {place}"])
        except (CalibrationRefusedError, ValueError):
            self._message = (
                f"`{typed}` is not a place: a number, such as 12.5, or one with its unit"
            )
            return
        if point.unit != unit:
            self._message = f"this part is measured in {unit}, and `{typed}` is something else"
            return
        if is_far_off(servo, float(point.place)) and self._doubted != typed:
            self._field = self._doubted = typed
            low, high = servo.travel_deg
            self._message = (
                f"far beyond the travel ({low:g} to {high:g} {unit}): ENTER once more marks it"
            )
            return
        self._doubted = None
        self._jog = mark(self._jog, point.place_text, now_s)
        self._message = f"marked: {self._jog.held_us:g} us at {point.place_text}"

    # -- a slider ------------------------------------------------------------------------------

    def grasp(self, now_s: float) -> None:
        """A hand holds: pulses, as by ENTER. They last until `loose`, or until nobody says `stay`
        for as long as a key may keep one waiting."""
        self._message = ""
        self._give_pulses(now_s)

    def slide(self, pulse_us: float, now_s: float) -> None:
        self._jog = slid(self._jog, pulse_us, now_s)

    def stay(self, now_s: float) -> None:
        """The hand still holds."""
        self._jog = typing(self._jog, now_s)

    def loose(self, now_s: float) -> None:
        """No hand holds any more: no pulses, at once."""
        self.press([STOP], now_s)

    def record(self, now_s: float) -> None:
        """Begin to record, or end it."""
        self._key("r", now_s)

    def turn_to(self, at: int, now_s: float) -> None:
        """The servo with this place in the order of the text, from 0; others are none."""
        if 0 <= at < len(self._servos):
            self._message = ""
            self._go_to(at, now_s)

    # -- a stick -------------------------------------------------------------------------------

    def _new_hand(self) -> StickHand:
        """The whole way of the stick is the travel of the part, from its lesser place on."""
        first, last = (float(pulse_at(self._on.servo, at)) for at in self._on.servo.travel_deg)
        return StickHand((first, last))

    def _mind_stick(self, now_s: float) -> None:
        if self._stick is None or self._hand is None:
            return
        held = self._hand.holds
        self._hand, self._jog = moved(self._hand, self._jog, self._stick.share(), now_s)
        if held and self._hand.at_us is None:
            self._message = f"`{self._stick.name}` is not heard any more: the pulses ended"

    # -- recording -----------------------------------------------------------------------------

    def _record(self, now_s: float) -> None:
        if self._recording is not None:
            self._end_recording("")
        elif self._jog.is_limp or not self._has_pulses:
            self._message = "a limp part is not turned: give it pulses before you record"
        else:
            self._recording = [(now_s, self._on.pulse_us())]
            self._message = "it records what you do from now on; wait as long as you like"

    def _recorded_s(self) -> float | None:
        if self._recording is not None:
            return self._recording[-1][0] - self._recording[0][0]
        take = self._takes.get(self._at)
        return None if take is None else take.lasts_s

    def _end_recording(self, why: str) -> None:
        rows, self._recording = self._recording, None
        if rows is None:
            return
        if len({pulse_us for _, pulse_us in rows}) < 2:
            self._message = "nothing moved: there is no recording"
            return
        start_s = rows[0][0]
        times = tuple(at_s - start_s for at_s, _ in rows)
        pulses = tuple(pulse_us for _, pulse_us in rows)
        self._takes[self._at] = Take(self._on.servo.name, times, pulses)
        self._message = why or f"recorded {times[-1]:.1f} s: on leaving it becomes a gesture"

    # -- time ----------------------------------------------------------------------------------

    def tick(self, now_s: float) -> None:
        """What time alone does, and what the board is to know; call it ten times a second."""
        was_limp = self._jog.is_limp
        self._jog = waited(self._jog, now_s)
        if self._jog.is_limp and not was_limp:
            self._message = "nobody pressed anything: the pulses ended"
        self._mind_stick(now_s)
        pulse_us = self._jog.pulse_us
        if pulse_us is None:
            self._end_pulses(now_s)
        elif self._has_pulses and now_s - self._asked[1] >= LASTS_S:
            self._let_lapse(now_s)
        elif now_s < self._rest_end_s.get(self._on.link.lead, now_s):
            pass
        elif self._asked[0] != pulse_us or now_s - self._asked[1] >= AGAIN_S:
            self._ask(pulse_us, now_s)
        if now_s - self._looked_s >= (LOOK_S if self._recording is None else RECORD_S):
            self._look(now_s)
        if self._recording is not None:
            self._mind_recording()

    def _mind_recording(self) -> None:
        assert self._recording is not None
        if self._jog.is_limp:
            self._end_recording(f"{self._message or 'no pulses'}; recording ended")
        elif self._looked_s - self._recording[0][0] >= LONGEST_S - 1.0:
            self._end_recording(f"a recording lasts {LONGEST_S:.0f} s at most: it ended")

    def _ask(self, pulse_us: float, now_s: float) -> None:
        self._asked, self._has_pulses = (pulse_us, now_s), True
        try:
            turned = self._on.turn(pulse_us)
        except LinkFailure as failure:
            if failure.reason != "overtaken":
                raise
            self._stopped(now_s, "somebody else pressed stop: the pulses ended")
            return
        if turned == "not limp":
            self._lost_limp(now_s)
        elif turned == "stopped":
            self._stopped(now_s, "stop was pressed at the board: let go of its button first")

    def _look(self, now_s: float) -> None:
        self._looked_s = now_s
        self._sent_us = self._on.pulse_us()
        taken = self._recording
        # none beyond the longest: a board that answers late must not cost the whole recording
        if taken is not None and taken[-1][0] < now_s <= taken[0][0] + LONGEST_S:
            taken.append((now_s, self._sent_us))
        self._is_limp = self._on.is_limp()
        if not self._is_limp and not self._jog.is_limp:
            self._lost_limp(now_s)

    def _lost_limp(self, now_s: float) -> None:
        """Another program, or somebody at the board, got it ready again."""
        self._is_limp = self._has_pulses = False
        self._jog = replace(self._jog, is_limp=True, stopped=0, key_s=now_s)
        self._field, self._message = None, "the board was got ready by somebody else"

    def _stopped(self, now_s: float, message: str) -> None:
        """Somebody else pressed stop or limp. The board was limp before, so it shows no change."""
        self._rest_end_s[self._on.link.lead] = now_s + REST_S
        self._was_stopped = True
        self._without_pulses(now_s, message)

    def _let_lapse(self, now_s: float) -> None:
        """Nobody asked the board in time. A stop that was pressed meanwhile would go unnoticed."""
        self._without_pulses(now_s, "this computer was busy: the board ended the pulses by itself")

    def _without_pulses(self, now_s: float, message: str) -> None:
        self._has_pulses = False
        self._asked = (0.0, self._asked[1])
        self._jog = replace(self._jog, is_limp=True, stopped=0, key_s=now_s)
        self._message = message

    # -- boards --------------------------------------------------------------------------------

    def _take(self, at: int, now_s: float) -> None:
        """From now on the keys are this servo's. It has no pulses until somebody wants them."""
        self._at = at
        self._was_stopped = False
        self._sent_us = self._on.pulse_us()
        self._is_limp = self._on.is_limp()
        if at not in self._jogs:
            self._jogs[at] = begin(self._on.servo, self._sent_us, now_s)
        self._jog = replace(self._jog, is_limp=True, stopped=0, key_s=now_s)
        if self._hand is not None:
            self._hand = self._new_hand()

    def _go_to(self, at: int, now_s: float) -> None:
        self._end_recording("")
        self._jog = act(self._jog, "limp", now_s)
        self._end_pulses(now_s)
        self._take(at, now_s)

    def _give_pulses(self, now_s: float) -> None:
        """A board that is not limp is made so first; pulses take another key."""
        if not self._jog.is_limp:
            self._jog = typing(self._jog, now_s)
        elif self._is_limp:
            self._sent_us = self._on.pulse_us()
            self._jog = resumed(self._jog, self._sent_us, now_s)
            self._was_stopped = False
        else:
            self._on.make_limp()
            self._look(now_s)

    def _end_pulses(self, now_s: float) -> None:
        """Whatever has been given pulses to is limp."""
        if self._has_pulses:
            self._on.make_limp()
            self._rest_end_s[self._on.link.lead] = now_s + REST_S
            self._has_pulses = False
            self._asked = (0.0, self._asked[1])

    def leave(self) -> None:
        """No servo has pulses any more; a board that cannot be reached ends them by itself."""
        self._end_recording("")
        with suppress(LinkFailure):
            self._end_pulses(self._looked_s)
