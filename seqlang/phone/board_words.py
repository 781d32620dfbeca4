"""What a board does, and what to do about it, in words for whoever helps at the event."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from firmware_gen.link.protocol import ReportedMode, ResetCause
from firmware_gen.table.layout import FOLLOWS, LEADS
from seqlang.monitoring.noticing import WELL, battery_is
from sim.rulebook import CUES, FRAME_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from firmware_gen.compiler.show import CompiledBoard
    from firmware_gen.link.protocol import State

_MODES: Final[dict[int, tuple[str, str]]] = {
    ReportedMode.BLANK: ("has no show", "somebody at the laptop puts the show on it"),
    ReportedMode.STARTING: (
        "is starting: its servos come on one after another",
        "keep clear; buttons work in a few seconds",
    ),
    ReportedMode.READY: ("is ready", ""),
    ReportedMode.STOPPING: (
        "is stopping: it moves to the safe pose",
        "keep clear; another stop ends all pulses at once",
    ),
    ReportedMode.LIMP: (
        "is limp: its servos get no pulses, and nothing starts",
        "when everybody is clear of the parts, re-arm",
    ),
}
_RESETS: Final = (
    (ResetCause.BROWN_OUT, "restarted because its supply sagged"),
    (ResetCause.WATCHDOG, "restarted because its program hung"),
    (ResetCause.POWER_ON, "switched on"),
    (ResetCause.EXTERNAL, "reset over its cable"),
)
"""The worst first: a board may report several."""

_BATTERIES: Final = {
    WELL: ("", ""),
    "low": ("its battery is low", "change its battery soon"),
    "empty": (
        "its battery is empty",
        "switch it off and change its battery; it starts by itself when it is switched on, so "
        "keep clear",
    ),
    "unread": ("its battery is not read", "look at the lead to the watch's divider"),
}
"""How a board's battery is, and what to do about it."""

AWAY_TO_DO: Final = (
    "look at its plug, its cable and its pack; nothing here reaches it, and no stop: use the "
    "switch in its supply's lead"
)


@dataclass(frozen=True, slots=True)
class BoardSeen:
    """A board of the show as it was last seen.

    `port`: where it is, or was; None: it was never there. `meeting`: goes up with each greeting.
    `state`: None while it does not answer; then `failure` says why.
    """

    board: CompiledBoard
    port: str | None = None
    baud: int = 0
    meeting: int = 0
    state: State | None = None
    sags: int = 0
    """Times that its supply sagged since this page looks at it."""
    failure: str = ""

    @property
    def answers(self) -> bool:
        return self.state is not None

    def takes(self, button: int) -> bool:
        """Whether its table does something with a button."""
        return any(bound.button == button for bound in self.board.table.bindings)


def that_decide(boards: Sequence[BoardSeen]) -> list[BoardSeen]:
    """Boards to be asked for a button or a re-arm. Those that follow do what their leader does.

    Without their leader they are asked like others, and say themselves what they refuse. Stop and
    limp go to all boards, whoever leads.
    """
    is_led = any(seen.answers and seen.board.table.role == LEADS for seen in boards)
    return [seen for seen in boards if not (is_led and seen.board.table.role == FOLLOWS)]


def described(seen: BoardSeen) -> dict[str, Any]:
    """A board for the page: `name`, `answers`, `mode`, `battery`, `words`, `plays`, `since`,
    `to_do`."""
    state = seen.state
    if state is None:
        words = "does not answer" if seen.port else "is not found"
        return _row(seen, "away", words, AWAY_TO_DO)
    is_known = state.mode in set(ReportedMode)
    words, to_do = _MODES[state.mode] if is_known else (f"is in mode {state.mode}", "")
    battery = battery_is(state)
    _, its_to_do = _BATTERIES[battery]
    if battery == "empty" and state.mode == ReportedMode.LIMP:
        to_do = its_to_do  # a re-arm would be refused
    else:
        to_do = "; ".join(filter(None, (to_do, its_to_do)))
    if state.reset_cause & ResetCause.BROWN_OUT or seen.sags:
        more = "" if battery in ("low", "empty") else "charge or change its pack, "
        to_do = "; ".join(filter(None, (to_do, f"{more}look at its plug")))
    elif state.reset_cause & ResetCause.WATCHDOG:
        to_do = "; ".join(filter(None, (to_do, "tell the maker that it restarted by itself")))
    mode = ReportedMode(state.mode).name.lower() if is_known else "unknown"
    return _row(seen, mode, words, to_do, state)


def _row(
    seen: BoardSeen, mode: str, words: str, to_do: str, state: State | None = None
) -> dict[str, Any]:
    return {
        "name": seen.board.name,
        "answers": state is not None,
        "mode": mode,
        "battery": "" if state is None else _BATTERIES[battery_is(state)][0],
        "words": words,
        "plays": [] if state is None else _plays(seen.board, state),
        "since": "" if state is None else _since(state),
        "to_do": to_do,
    }


def _plays(board: CompiledBoard, state: State) -> list[str]:
    running = [number for number in range(CUES) if state.running_cues >> number & 1]
    return [board.cues[n].name if n < len(board.cues) else f"cue {n}" for n in running]


def _since(state: State) -> str:
    """When it started, and what made it start; in whole minutes, so that it seldom changes."""
    causes = (words for cause, words in _RESETS if state.reset_cause & cause)
    why = next(causes, "started")
    minutes = int(state.frames * FRAME_S // 60)
    if minutes < 1:
        ago = "just now"
    elif minutes < 60:
        ago = f"{minutes} min ago"
    else:
        ago = f"{minutes // 60} h {minutes % 60} min ago"
    return f"{why} {ago}"
