"""Where the boards of a show are, and how they are: looked at five times a second.

One thread looks for ports. Each port has a thread and a connection to the owner of its own, so a
board that does not answer delays no other. A port without a board of the show is let go of, so that
other commands can have it (a spare gets its firmware there), and tried again later.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.owner.client import OwnerConnection, connect, same_name
from seqlang.phone.board_words import BoardSeen

if TYPE_CHECKING:
    from firmware_gen.compiler.show import CompiledBoard, CompiledShow
    from firmware_gen.link.owner.client import OwnedLink
    from firmware_gen.link.protocol import Hello, State

LOOK_S: Final = 0.2
PORTS_S: Final = 1.0
"""Between two looks for ports."""
AGAIN_S: Final = 1.0
"""A board of the show that went away is tried again after this time."""
OTHERS_AGAIN_S: Final = (2.0, 4.0, 8.0, 15.0)
"""A port without one, after these; then the last again and again."""
CLIENT: Final = "remote"


class Lookout:
    """All boards of a show.

    Args:
        show: its tables tell which board is which.
        ports: the only ones to look at; none: USB serial ports, and those that commands use.
        baud: of ports that nobody uses yet.
    """

    def __init__(
        self,
        show: CompiledShow,
        ports: Sequence[str],
        baud: int,
    ) -> None:
        self.show = show
        self.baud = baud
        self.anyone: Callable[[], bool] = lambda: False
        self._wanted = tuple(map(same_name, ports))
        self._changed: Callable[[], None] = lambda: None
        self._lock = threading.Lock()
        self._seen: dict[str, BoardSeen] = {}
        self._others: dict[str, str] = {}
        self._looks: dict[str, _PortLook] = {}
        self._meetings = 0
        self._ended = threading.Event()
        self._finder = threading.Thread(target=self._find_ports, name="ports", daemon=True)

    def begin(self, changed: Callable[[], None], anyone: Callable[[], bool]) -> None:
        """Look for boards from now on.

        Args:
            changed: called, in any thread, after something has changed.
            anyone: whether somebody is there who wants to know. A board whose show acts when its
                remote falls silent is only asked then: it hears every question.
        """
        self._changed, self.anyone = changed, anyone
        self._finder.start()

    def end(self) -> None:
        self._ended.set()
        for look in list(self._looks.values()):
            look.hurry.set()
        with suppress(RuntimeError):  # it never began
            self._finder.join(5.0)

    @property
    def is_ended(self) -> bool:
        return self._ended.is_set()

    def wait(self, seconds: float) -> None:
        self._ended.wait(seconds)

    def boards(self) -> tuple[BoardSeen, ...]:
        """Each board of the show, at each port where it is; one that is nowhere, once."""
        with self._lock:
            seen = list(self._seen.values())
        found: list[BoardSeen] = []
        for board in self.show.boards:
            ours = [each for each in seen if each.board is board]
            here = [each for each in ours if each.answers]
            found += here or ours[-1:] or [BoardSeen(board)]
        return tuple(found)

    def notes(self) -> tuple[str, ...]:
        """What else is plugged in, in words."""
        with self._lock:
            return tuple(self._others[port] for port in sorted(self._others))

    # -- what the ports' threads tell ------------------------------------------------------------

    def met(self, port: str, baud: int, board: CompiledBoard, state: State) -> None:
        with self._lock:
            self._meetings += 1
            self._seen.pop(port, None)  # the newest stands last
            self._seen[port] = BoardSeen(board, port, baud, self._meetings, state)
            self._others.pop(port, None)
        self._changed()

    def saw(self, port: str, before: State, state: State) -> None:
        with self._lock:
            seen = self._seen[port]
            sags = seen.sags + max(0, state.brown_out_resets - before.brown_out_resets)
            self._seen[port] = replace(seen, state=state, sags=sags)
        self._changed()

    def lost(self, port: str, failure: LinkFailure) -> None:
        with self._lock:
            seen = self._seen.get(port)
            if seen:
                self._seen[port] = replace(seen, state=None, failure=failure.message)
            self._others.pop(port, None)
        self._changed()

    def is_another(self, port: str, hello: Hello, address: int) -> None:
        """What answers there is no board with this show."""
        what = f"board {address} with another show" if hello.show else "a board without a show"
        with self._lock:
            self._seen.pop(port, None)
            self._others[port] = f"{what} is on {port}: somebody at the laptop flashes it"
        self._changed()

    # -- ports -----------------------------------------------------------------------------------

    def _find_ports(self) -> None:
        while not self.is_ended:
            try:
                with connect(CLIENT) as owner:
                    self._keep_finding(owner)
            except LinkFailure:
                self.wait(AGAIN_S)

    def _keep_finding(self, owner: OwnerConnection) -> None:
        owner.watch()
        while not self.is_ended:
            ports = self._ports_now(owner)
            for name, look in list(self._looks.items()):
                look.is_there = name in ports
                if not look.is_alive() and not look.is_there:
                    del self._looks[name]
            for name, baud in ports.items():
                if name not in self._looks:
                    self._looks[name] = _PortLook(self, name, baud)
                    self._looks[name].start()
            for event in owner.events(PORTS_S):  # a new show is on a board: maybe it is ours now
                if event.get("request") == "commit" and event.get("port") in self._looks:
                    self._looks[str(event["port"])].hurry.set()

    def _ports_now(self, owner: OwnerConnection) -> dict[str, int]:
        used = {str(each["port"]): int(each["baud"]) for each in owner.ports()}
        if self._wanted:
            return {name: used.get(name, self.baud) for name in self._wanted}
        from serial.tools.list_ports import comports

        plugged = {same_name(port.device) for port in comports() if port.vid is not None}
        # a port that only this lookout uses stays among those in use: it may be unplugged
        return {name: used.get(name, self.baud) for name in sorted(plugged | used.keys())}


class _PortLook(threading.Thread):
    """Looks at the board on one port, for as long as the port is there."""

    def __init__(self, out: Lookout, port: str, baud: int) -> None:
        super().__init__(name=f"looks at {port}", daemon=True)
        self.is_there = True
        self.hurry = threading.Event()
        self._out = out
        self._port = port
        self._baud = baud

    def run(self) -> None:
        tries = 0
        while self.is_there and not self._out.is_ended:
            is_ours = False
            try:
                with connect(CLIENT) as owner:
                    is_ours = self._look(owner.board(self._port, self._baud))
            except LinkFailure as failure:
                is_ours = any(each.port == self._port for each in self._out.boards())
                self._out.lost(self._port, failure)
            tries = 0 if is_ours else tries + 1
            later_s = OTHERS_AGAIN_S[min(tries, len(OTHERS_AGAIN_S)) - 1]
            self._pause(AGAIN_S if is_ours else later_s)

    def _pause(self, seconds: float) -> None:
        if not self._out.is_ended:
            self.hurry.wait(seconds)
            self.hurry.clear()

    def _look(self, link: OwnedLink) -> bool:
        """Look until the board has another show; whether it had ours. LinkFailure if it goes."""
        had_ours = False
        while not self._out.is_ended:
            hello = link.greet()
            board = self._which(hello, link.address)
            if board is None:
                self._out.is_another(self._port, hello, link.address)
                return had_ours
            had_ours = True
            state = link.state()
            self._out.met(self._port, self._baud, board, state)
            self._follow(link, board, state)
        return had_ours

    def _which(self, hello: Hello, address: int) -> CompiledBoard | None:
        """The board of the show that it is. The number is a check sum of all tables of a show."""
        if hello.show != self._out.show.number:
            return None
        return next((one for one in self._out.show.boards if one.board.address == address), None)

    def _follow(self, link: OwnedLink, board: CompiledBoard, state: State) -> None:
        """Look again and again, until the board has started anew, maybe with another show."""
        while not self._out.is_ended:
            self._out.wait(LOOK_S)
            if board.table.lost_time and not self._out.anyone():
                continue
            before, state = state, link.state()
            self._out.saw(self._port, before, state)
            if state.frames < before.frames:
                return
