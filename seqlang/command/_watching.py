"""Watching boards for `bellcrank monitor`: what others ask of them, and what they say."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BUTTON, TRIGGER, RequestKind
from seqlang.monitoring.noticing import WELL, battery_is, battery_noticed, noticed

if TYPE_CHECKING:
    from firmware_gen.compiler.show import CompiledShow
    from firmware_gen.link.board_link import BoardLink
    from firmware_gen.link.owner.client import OwnerConnection
    from firmware_gen.link.protocol import Hello, State

Say = Callable[..., None]
"""Told `what` happened, and its fields."""

LOOK_S: Final = 0.2
AGAIN_S: Final = 1.0
"""A board or an owner that is gone is tried again after this time."""


@dataclass
class WatchedBoard:
    """One board that is looked at again and again.

    A board whose show acts when its remote falls silent hears every look, and would never find
    it silent: after the first look it is left alone, and only what others ask of it is seen.
    """

    link: BoardLink
    show: CompiledShow | None
    say: Say
    is_left_alone: bool = False
    _hello: Hello | None = None
    _state: State | None = None
    _cues: dict[int, str] = field(default_factory=dict)
    _tags: dict[int, str] = field(default_factory=dict)
    _is_lost: bool = False
    _again_s: float = 0.0
    _has_new_show: bool = False

    def look(self) -> None:
        """See what happened since the last look. Raises LinkFailure only if the owner is gone."""
        if time.monotonic() < self._again_s:
            return
        try:
            if self._hello is None or self._has_new_show:
                self._meet()
            elif not self.is_left_alone:
                self._see()
        except LinkFailure as failure:
            if failure.reason == "owner-lost":
                raise
            self._lose(failure)

    def has_new_show(self) -> None:
        self._has_new_show = True

    def cue(self, tag: int) -> str:
        """A cue's name, or what the link calls it by."""
        return self._tags.get(tag, f"{tag:04X}")

    def _meet(self) -> None:
        from firmware_gen.table.decode import decode
        from firmware_gen.table.layout import TableError

        self._has_new_show = False
        self._hello = self.link.greet()
        data = self.link.table()
        self._state = self.link.state()
        self._is_lost = False
        try:
            table = decode(data) if data else None
        except TableError:
            table = None
        boards = () if self.show is None else self.show.boards
        ours = next((each for each in boards if each.data == data), None)
        names = [cue.name for cue in ours.cues] if ours else []
        self._cues = dict(enumerate(names))
        tags = [cue.tag for cue in table.cues] if table else []
        self._tags = dict(zip(tags, names, strict=False))
        self.is_left_alone = bool(table and table.lost_time)
        words = "left alone: its show acts when the remote falls silent"
        more = {"words": words} if self.is_left_alone else {}
        self._tell("board", show=f"{self._hello.show:08x}", bytes=len(data), **more)
        if battery_is(self._state) != WELL:
            what, fields = battery_noticed(self._state)
            self._tell(what, **fields)

    def _see(self) -> None:
        before, self._state = self._state, self.link.state()
        assert before is not None
        for what, fields in noticed(before, self._state, self._cue):
            self._tell(what, **fields)

    def _cue(self, number: int) -> str:
        return self._cues.get(number, str(number))

    def _lose(self, failure: LinkFailure) -> None:
        self._again_s = time.monotonic() + AGAIN_S
        self._hello = None
        if not self._is_lost:
            self._is_lost = True
            self._tell("lost", reason=failure.reason, words=failure.message)

    def _tell(self, what: str, **fields: Any) -> None:
        self.say(what, port=self.link.name, address=self.link.address, **fields)


class Watch:
    """All boards that commands use, seen through the owner of the ports.

    Args:
        owner: a connection that is the watcher's own.
        port, baud: the only board to watch; None: all that commands use.
        show: names cues.
        say: told what happens.
    """

    def __init__(
        self,
        owner: OwnerConnection,
        port: str | None,
        baud: int,
        show: CompiledShow | None,
        say: Say,
    ) -> None:
        self._owner = owner
        self._port = port
        self._baud = baud
        self._show = show
        self._say = say
        self._boards: dict[str, WatchedBoard] = {}
        owner.watch()

    def look(self) -> None:
        """Wait a moment, and tell what happened meanwhile."""
        try:
            for event in self._owner.events(LOOK_S):
                self._tell(event)
            self._find()
            for board in self._boards.values():
                board.look()
        except LinkFailure as failure:
            if failure.reason != "owner-lost":
                raise
            self._say("owner-lost", words=failure.message)
            self._begin_anew()

    def _find(self) -> None:
        """Boards that came into use since."""
        ports = {str(each["port"]): int(each["baud"]) for each in self._owner.ports()}
        if self._port is not None:
            ports = {self._port: self._baud}
        for name, baud in ports.items():
            if name not in self._boards:
                link = self._owner.board(name, baud)
                self._boards[name] = WatchedBoard(link, self._show, self._say)

    def _begin_anew(self) -> None:
        while True:
            try:
                self._owner.reconnect()
                self._owner.watch()
                return
            except LinkFailure:
                time.sleep(AGAIN_S)

    def _tell(self, event: dict[str, Any]) -> None:
        what = str(event.pop("what", ""))
        board = self._boards.get(str(event.get("port")))
        is_looked_at = board is not None and not board.is_left_alone
        if what == "greeted" or (is_looked_at and what in ("failed", "restarted")):
            return  # the look at the board tells it
        payload = bytes.fromhex(event.pop("payload", ""))
        request = event.get("request")
        if request == RequestKind.TRIGGER.name.lower() and len(payload) == TRIGGER.size:
            (tag,) = TRIGGER.unpack(payload)
            event["cue"] = board.cue(tag) if board else f"{tag:04X}"
        elif request == RequestKind.BUTTON.name.lower() and len(payload) == BUTTON.size:
            event["button"], event["down"] = BUTTON.unpack(payload)
        elif request == RequestKind.COMMIT.name.lower() and board:
            board.has_new_show()
        self._say(what, **event)
