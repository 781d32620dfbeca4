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
from firmware_gen.link.protocol import ReportedMode
from seqlang.command._jog_screen import JogView
from seqlang.jogging import Action, Jog, act, begin, mark, resumed, typing, waited
from sim.rig.slide import of_part

if TYPE_CHECKING:
    from firmware_gen.link.board_link import BoardLink
    from seqlang.command._jogged import ServoOnBoard

AGAIN_S: Final = 0.2
"""A board ends a jog that is not asked for again within a second (LINK.md): five tries."""
LOOK_S: Final = 0.1
"""How often the board is asked for its pulse."""
LONGEST_FIELD: Final = 20

STOP: Final = " "
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
    """

    def __init__(self, servos: Sequence[ServoOnBoard], now_s: float) -> None:
        self.is_over = False
        self._servos = servos
        self._jogs: dict[int, Jog] = {}
        self._field: str | None = None
        self._message = ""
        self._has_pulses = False
        self._asked: tuple[float, float] = (0.0, now_s)
        """The pulse that the board was asked for last, and when."""
        self._looked_s = now_s
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
            self._field,
            self._message,
        )

    def points(self) -> dict[str, tuple[str, ...]]:
        """The marks of each servo that has any, by its name."""
        return {
            self._servos[at].servo.name: jog.points for at, jog in self._jogs.items() if jog.marks
        }

    # -- keys ----------------------------------------------------------------------------------

    def press(self, keys: Sequence[str], now_s: float) -> None:
        """Keys that came since the last call. One that stops goes before all others."""
        if STOP in keys:
            self._jog = act(self._jog, "limp", now_s)
            self._field, self._message = None, ""
            self._end_pulses()
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
        elif key == ENTER:
            self._give_pulses(now_s)
        elif key == "m" and self._jog.is_limp:
            self._message = "a limp part may have sunk: give it pulses before you mark"
        elif key == "m":
            self._jog, self._field = typing(self._jog, now_s), ""
        elif key in ("n", "p"):
            self._go_to((self._at + (1 if key == "n" else -1)) % len(self._servos), now_s)
        elif key == "q":
            self.is_over = True
        else:
            self._jog = typing(self._jog, now_s)

    def _type(self, key: str, now_s: float) -> None:
        assert self._field is not None
        self._jog = typing(self._jog, now_s)
        if self._jog.is_limp or key == ESCAPE:
            self._field = None
        elif key == BACK:
            self._field = self._field[:-1]
        elif key == ENTER:
            self._mark(self._field, now_s)
        elif len(key) == 1 and len(self._field) < LONGEST_FIELD:
            self._field += key

    def _mark(self, typed: str, now_s: float) -> None:
        """Where the part stands with this pulse, if that can be read."""
        from seqlang.calibration import CalibrationRefusedError, read_points

        self._field = None
        if not typed:
            return
        unit = of_part(self._on.servo).place
        place = typed if typed[-1].isalpha() else f"{typed} {unit}"
        if self._sent_us != self._jog.held_us:
            self._message = "it was still on its way: mark it once both pulses are the same"
            return
        try:
            (point,) = read_points([f"1500 us at {place}"])
        except (CalibrationRefusedError, ValueError):
            self._message = f"`{typed}` says no place: a number, such as 12.5, or one with its unit"
            return
        if point.unit != unit:
            self._message = f"this part is measured in {unit}, and `{typed}` is something else"
            return
        self._jog = mark(self._jog, point.place_text, now_s)
        self._message = f"marked: {self._jog.held_us:g} us at {point.place_text}"

    # -- time ----------------------------------------------------------------------------------

    def tick(self, now_s: float) -> None:
        """What time alone does, and what the board is to know; call it ten times a second."""
        was_limp = self._jog.is_limp
        self._jog = waited(self._jog, now_s)
        if self._jog.is_limp and not was_limp:
            self._field, self._message = None, "nobody pressed anything: the pulses ended"
        pulse_us = self._jog.pulse_us
        if pulse_us is None:
            self._end_pulses()
        elif self._asked[0] != pulse_us or now_s - self._asked[1] >= AGAIN_S:
            self._ask(pulse_us, now_s)
        if now_s - self._looked_s >= LOOK_S:
            self._look(now_s)

    def _ask(self, pulse_us: float, now_s: float) -> None:
        self._asked, self._has_pulses = (pulse_us, now_s), True
        try:
            if not self._on.turn(pulse_us):
                self._lost_limp(now_s)
        except LinkFailure as failure:
            if failure.reason != "overtaken":
                raise
            self._was_stopped(now_s)

    def _look(self, now_s: float) -> None:
        self._looked_s = now_s
        self._sent_us = self._on.pulse_us()
        self._is_limp = self._on.link.state().mode == ReportedMode.LIMP
        if not self._is_limp and not self._jog.is_limp:
            self._lost_limp(now_s)

    def _lost_limp(self, now_s: float) -> None:
        """Another program, or somebody at the board, got it ready again."""
        self._is_limp = self._has_pulses = False
        self._jog = replace(self._jog, is_limp=True, stopped=0, key_s=now_s)
        self._field, self._message = None, "the board was got ready by somebody else"

    def _was_stopped(self, now_s: float) -> None:
        """Somebody else pressed stop or limp. The board was limp before, so it shows no change."""
        self._has_pulses = False
        self._jog = replace(self._jog, is_limp=True, stopped=0, key_s=now_s)
        self._field, self._message = None, "somebody else pressed stop: the pulses ended"

    # -- boards --------------------------------------------------------------------------------

    def _take(self, at: int, now_s: float) -> None:
        """From now on the keys are this servo's. It has no pulses until somebody wants them."""
        self._at = at
        self._sent_us = self._on.pulse_us()
        self._is_limp = self._on.link.state().mode == ReportedMode.LIMP
        if at not in self._jogs:
            self._jogs[at] = begin(self._on.servo, self._sent_us, now_s)
        self._jog = replace(self._jog, is_limp=True, stopped=0, key_s=now_s)

    def _go_to(self, at: int, now_s: float) -> None:
        self._jog = act(self._jog, "limp", now_s)
        self._end_pulses()
        self._take(at, now_s)

    def _give_pulses(self, now_s: float) -> None:
        """A board that is not limp is made so first; pulses take another key."""
        if not self._jog.is_limp:
            self._jog = typing(self._jog, now_s)
        elif self._is_limp:
            self._sent_us = self._on.pulse_us()
            self._jog = resumed(self._jog, self._sent_us, now_s)
        else:
            _make_limp(self._on.link)
            self._look(now_s)

    def _end_pulses(self) -> None:
        """Whatever has been given pulses to is limp."""
        if self._has_pulses:
            _make_limp(self._on.link)
            self._has_pulses = False
            self._asked = (0.0, self._asked[1])

    def leave(self) -> None:
        """No servo has pulses any more; a board that cannot be reached ends them by itself."""
        with suppress(LinkFailure):
            self._end_pulses()


def _make_limp(link: BoardLink) -> None:
    from firmware_gen.link.board_link import refused
    from seqlang.command._board import wait_for_limp

    reply = link.limp()
    if not reply.done:
        raise refused("limp", reply)
    wait_for_limp(link, longest_s=1.0)
