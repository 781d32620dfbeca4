"""A servo on the bench in the hands of a phone: pulses while one hand holds, and the other slides.

Both hands are at the phone then, and so in no mechanism. Whoever lets go, looks away from the page
or falls silent makes the servo limp. One phone holds at a time; stop and limp of all phones work as
on the remote. What the servo does meanwhile can be recorded.

One thread talks to the boards: that of `JogSession`, with the same rules as for keys (ends that
hold, a rest after a stop, no pulses without anybody). Here no end can be passed.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from firmware_gen.link.failures import LinkFailure
from seqlang.cautions import DEFER, PINCH, SLIDING, TURNING
from seqlang.jogging import estimated_place
from seqlang.phone.hand import MOST_WAITING, SILENT_S
from sim.rig.slide import of_part

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from seqlang.command._jog_screen import JogView
    from seqlang.command._jog_session import JogSession
    from seqlang.command._jogged import ServoOnBoard
    from seqlang.phone.hand import Tell
    from seqlang.phone.said import PhoneSaid

_WAIT_S: Final = 0.05
"""For a phone's word, before the board is looked after again."""
_RECORDING_S: Final = 0.015
"""The same while a motion is recorded: a frame lasts longer."""


@dataclass(eq=False, slots=True)
class BenchHand:
    """One phone's hand on the bench."""

    controls: BenchControls
    name: str
    tell: Tell
    heard_s: float
    waiting: int = 0
    """Messages that were not looked at yet."""
    has_minded: bool = False
    """Whether it was told the cautions, and somebody said so."""

    def do(self, said: PhoneSaid) -> bool:
        return self.controls.put(self, said)

    def look_again(self) -> None:
        """The bench looks at its board by itself."""

    def close(self) -> None:
        self.controls.put(self, None)

    def join(self, timeout_s: float) -> None:
        """The bench has one thread, which ends with it."""


class BenchControls:
    """The servos of one session, for phones.

    Args:
        session: nobody else uses it from `begin` to `end`.
        servos: those of the session, in its order.
        title: of the show.
        now_s: the session's clock.
        say: told what is recorded, in words.
    """

    takes: Final = frozenset({"beat", "minded", "grasp", "loose", "slide", "servo", "record"})

    def __init__(
        self,
        session: JogSession,
        servos: Sequence[ServoOnBoard],
        title: str,
        now_s: Callable[[], float],
        say: Callable[[str], None],
    ) -> None:
        self.failure: LinkFailure | None = None
        """What the link failed with; then the bench is over."""
        self._session = session
        self._servos = servos
        self._title = title
        self._now_s = now_s
        self._over: Callable[[], None] = lambda: None
        self._say = say
        self._changed: Callable[[], None] = lambda: None
        self._inbox: deque[tuple[BenchHand, PhoneSaid | None]] = deque()
        self._woken = threading.Event()
        self._ended = threading.Event()
        self._holder: BenchHand | None = None
        self._told_takes: dict[str, float] = {}
        self._row = self._new_row()
        self._thread = threading.Thread(target=self._run, name="bench", daemon=True)

    def ends(self, over: Callable[[], None]) -> None:
        """`over` is called, in the bench's thread, when that ends, also because the link failed."""
        self._over = over

    # -- as the server sees it (`controls.Controls`) ---------------------------------------------

    def begin(self, changed: Callable[[], None], anyone: Callable[[], bool]) -> None:
        self._changed = changed
        self._thread.start()

    def end(self) -> None:
        self._ended.set()
        self._woken.set()
        self._thread.join(5.0)

    def boards(self) -> list[tuple[str, str | None]]:
        """The boards with these servos: stop is for them, and for all that commands use."""
        return list({one.servo.board: one.link.name for one in self._servos}.items())

    def hand(self, name: str, stops: Callable[[], int], tell: Tell) -> BenchHand:
        return BenchHand(self, name, tell, self._now_s())

    def shown(self) -> dict[str, Any]:
        points = [*SLIDING.words, *PINCH.words]
        if any(one.servo.load.spins for one in self._servos):
            points += TURNING.words
        return {
            "title": self._title,
            "buttons": [],
            "bench": {
                "servos": [one.servo.name for one in self._servos],
                "cautions": [*points, DEFER],
            },
        }

    def news(self) -> dict[str, Any]:
        return {"boards": [], "notes": [], "bench": self._row}

    def put(self, hand: BenchHand, said: PhoneSaid | None) -> bool:
        """What a phone says, in any thread; None: it has gone."""
        if said is not None and hand.waiting >= MOST_WAITING:
            return False
        hand.waiting += 1
        hand.heard_s = self._now_s()
        self._inbox.append((hand, said))
        self._woken.set()
        return True

    # -- the thread ------------------------------------------------------------------------------

    def _run(self) -> None:
        try:
            while not self._ended.is_set():
                self._woken.wait(_RECORDING_S if self._session.is_recording else _WAIT_S)
                self._woken.clear()
                self._take_inbox()
                self._note_silence()
                self._session.tick(self._now_s())
                self._tell_news()
        except LinkFailure as failure:
            self.failure = failure
        finally:
            self._session.leave()
            self._over()

    def _take_inbox(self) -> None:
        while self._inbox:
            hand, said = self._inbox.popleft()
            hand.waiting -= 1
            if said is None:
                self._let_go(hand)
                continue
            why = self._why_not(hand, said)
            if not why:
                self._do(hand, said)
            if said.n:
                hand.tell({"n": said.n, "failed": why} if why else {"n": said.n, "done": True})

    def _why_not(self, hand: BenchHand, said: PhoneSaid) -> str:
        if said.do in ("beat", "minded", "loose"):
            return ""
        if self._holder not in (None, hand):
            assert self._holder is not None
            return f"{self._holder.name} holds it"
        return "" if hand.has_minded else "read the cautions first"

    def _do(self, hand: BenchHand, said: PhoneSaid) -> None:
        now_s = self._now_s()
        if said.do == "minded":
            hand.has_minded = True
        elif said.do == "grasp":
            self._holder = hand
            self._session.grasp(now_s)
        elif said.do == "loose":
            self._let_go(hand)
        elif said.do == "servo":
            self._session.turn_to(said.servo, now_s)
        elif said.do == "record":
            self._session.record(now_s)
        elif self._holder is hand and said.do == "slide":
            self._session.slide(said.pulse_us, now_s)
        elif self._holder is hand:
            self._session.stay(now_s)

    def _let_go(self, hand: BenchHand) -> None:
        if self._holder is hand:
            self._holder = None
            self._session.loose(self._now_s())

    def _note_silence(self) -> None:
        hand = self._holder
        if hand and self._now_s() >= hand.heard_s + SILENT_S:
            self._let_go(hand)
            hand.tell({"let_go": [], "why": "the phone said nothing for a moment"})

    # -- what is shown ---------------------------------------------------------------------------

    def _tell_news(self) -> None:
        row = self._new_row()
        if row == self._row:
            return
        self._row = row
        self._changed()
        for name, lasts_s in row["takes"].items():
            if self._told_takes.get(name) != lasts_s:
                self._say(f"recorded {lasts_s:.1f} s of `{name}`: it becomes a gesture at the end")
        self._told_takes = row["takes"]

    def _new_row(self) -> dict[str, Any]:
        """The servo under the hands, for the page."""
        view = self._session.view()
        unit = of_part(view.servo).place
        low, high = view.jog.room_us
        at = estimated_place(view.servo.points, view.sent_us)
        return {
            "servo": view.place[0] - 1,
            "where": view.board,
            "pulse": view.sent_us,
            "held": view.jog.held_us,
            "ends": [low, high],
            "at": f"{view.sent_us:.0f} us, {at:.1f} {unit}",
            "state": _state(view),
            "has_pulses": not view.jog.is_limp,
            "message": view.message,
            "by": self._holder.name if self._holder else "",
            "records": view.is_recording,
            "recorded_s": None if view.recorded_s is None else round(view.recorded_s, 1),
            "takes": {name: take.lasts_s for name, take in self._session.takes().items()},
        }


def _state(view: JogView) -> str:
    if not view.board_is_limp:
        return "The board is not limp. Hold once to end all its pulses: parts may drop."
    if view.was_stopped:
        return "Stopped. Let go; hold again when you know why."
    if view.rests:
        return "Limp for a second after a stop. Then it goes back to where it last stood."
    if view.jog.is_limp:
        return "Limp. While you hold, it has pulses: it goes back at once to where it last stood."
    if view.jog.stopped:
        return "It stands at an end of its travel."
    return "It has pulses. Slide with your other hand. Let go, and it is limp."
