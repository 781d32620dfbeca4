"""What phones control, as the server of their page sees it; a show's remote as such.

The server knows sockets, codes and stop. What else a phone may say, and what is shown on it, is
theirs: the remote of a show (`RemoteControls`), or a servo on the bench (`bench.BenchControls`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, Protocol

from firmware_gen.page.remote import drawn_buttons
from seqlang.phone.board_words import described
from seqlang.phone.hand import PhoneHand, Tell
from seqlang.phone.lookout import Lookout

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from firmware_gen.compiler.show import CompiledShow
    from seqlang.phone.said import PhoneSaid


class Hand(Protocol):
    """One phone's hand on the controls."""

    @property
    def name(self) -> str:
        """How others are told whose it is."""
        ...

    def do(self, said: PhoneSaid) -> bool:
        """Have it done; False if too much waits already."""
        ...

    def look_again(self) -> None:
        """What is known of the boards has changed."""
        ...

    def close(self) -> None:
        """Let go of everything, soon."""
        ...

    def join(self, timeout_s: float) -> None: ...


class Controls(Protocol):
    """All methods but `begin` and `end` are called in any thread, and wait for no board."""

    @property
    def takes(self) -> frozenset[str]:
        """What phones may say here besides the code, stop and limp (`PhoneSaid.do`)."""
        ...

    def begin(self, changed: Callable[[], None], anyone: Callable[[], bool]) -> None:
        """`changed` is called, in any thread, after `news` has changed; `anyone`: whether a phone
        is there."""
        ...

    def end(self) -> None: ...

    def boards(self) -> Sequence[tuple[str, str | None]]:
        """Each board's name and port, for stop; a port of None: it is not found."""
        ...

    def hand(self, name: str, stops: Callable[[], int], tell: Tell) -> Hand:
        """A hand for a phone that has come. `stops`, `tell`: as for `PhoneHand`."""
        ...

    def shown(self) -> dict[str, Any]:
        """What a phone is told once, when it comes: `title`, and what the page is made of."""
        ...

    def news(self) -> dict[str, Any]:
        """What a phone is told whenever it changes: `boards` (`board_words.described`), `notes`."""
        ...


class RemoteControls:
    """The remote of a show. `ports`, `baud`: as for `Lookout`; `notes`: what is to be said of the
    boards besides, while one of them does not answer."""

    takes: Final = frozenset({"beat", "down", "up", "ready-to-rearm", "rearm"})

    def __init__(
        self, show: CompiledShow, ports: Sequence[str], baud: int, notes: Sequence[str] = ()
    ) -> None:
        self._show = show
        self._notes = tuple(notes)
        self._lookout = Lookout(show, ports, baud)

    def begin(self, changed: Callable[[], None], anyone: Callable[[], bool]) -> None:
        self._lookout.begin(changed, anyone)

    def end(self) -> None:
        self._lookout.end()

    def boards(self) -> list[tuple[str, str | None]]:
        return [(seen.board.name, seen.port) for seen in self._lookout.boards()]

    def hand(self, name: str, stops: Callable[[], int], tell: Tell) -> PhoneHand:
        return PhoneHand(name, self._lookout.boards, stops, tell)

    def shown(self) -> dict[str, Any]:
        show = self._show.show
        boards = self._show.boards
        buttons = [
            {**button, "boards": [board.name for board in boards if _has(board.table, button)]}
            for button in drawn_buttons(show)
            if button["cues"]
        ]
        return {"title": show.score.title or "Show", "buttons": buttons}

    def news(self) -> dict[str, Any]:
        boards = self._lookout.boards()
        notes = () if all(seen.answers for seen in boards) else self._notes
        return {
            "boards": [described(seen) for seen in boards],
            "notes": [*self._lookout.notes(), *notes],
        }


def _has(table: Any, button: dict[str, Any]) -> bool:
    return any(bound.button == button["number"] for bound in table.bindings)
