"""A show's boards, virtual and in real time, and the page for phones before them."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from websockets.sync.client import ClientConnection, connect

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.compiler.show import CompiledBoard, CompiledShow
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner import meeting
from firmware_gen.link.protocol import BAUD, ReportedMode, RequestKind
from seqlang.phone.controls import Controls, RemoteControls
from seqlang.phone.pairing import Pairing
from seqlang.phone.serving import PhoneServer
from tests.firmware_gen.page_shows import EVERYTHING, made
from tests.unchecked import transfer_unchecked
from tests.waiting import SOON_S, until

CODE = "40718293"
HELD = 2
"""The heron's button that acts as long as it is held."""


def heron() -> CompiledShow:
    return made(EVERYTHING)[0].compiled


class NotedRequests(Witness):
    """What the player was asked, with the board's time."""

    def __init__(self) -> None:
        self.virtual: VirtualBoard | None = None
        self.asked_at: list[tuple[float, RequestKind, bytes]] = []
        self.last_s = 0.0
        """When the last came, by this computer's clock."""

    def asked(self, kind: RequestKind, payload: bytes) -> None:
        assert self.virtual is not None
        self.last_s = time.perf_counter()
        self.asked_at.append((self.virtual.time_s, kind, payload))


class ServedTable:
    """A board that plays a table, behind a port, and what its player was asked.

    `board`: None for a blank one. `number`: of its socket; 0: any free one.
    """

    def __init__(
        self, board: CompiledBoard | None, *, write_s: float = 0.0, number: int = 0
    ) -> None:
        self.noted = NotedRequests()
        self.virtual = VirtualBoard(write_s=0.0, witness=self.noted)
        self.noted.virtual = self.virtual
        if board:
            transfer_unchecked(HostLink(LocalPort(self.virtual)), board.data)
        self.virtual.advance(3.0)
        self.virtual.board.take_output()
        self.virtual._write_s = write_s
        self.noted.asked_at.clear()
        self.server = Server(self.virtual, tcp_port=number)

    @property
    def mode(self) -> int:
        return int(self.virtual.board.mode)

    def presses(self, kind: RequestKind) -> list[bytes]:
        return [payload for _, each, payload in list(self.noted.asked_at) if each == kind]

    def is_down(self, button: int) -> bool:
        asked = [one[1] for one in self.presses(RequestKind.BUTTON) if one[0] == button]
        return bool(asked) and asked[-1] == 1


class PhoneRig:
    """Boards and the server of the page, each in threads of this process.

    `controls`: what phones have their hands on.
    """

    def __init__(self, show: CompiledShow, controls: Controls, boards: list[ServedTable]) -> None:
        self.show = show
        self.controls = controls
        self.boards = boards
        self.said: list[str] = []
        self.number = 0
        self.pairing = Pairing(CODE)
        self._listening = threading.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._over: asyncio.Event | None = None
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()), daemon=True)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.number}/"

    @property
    def paired_url(self) -> str:
        return f"{self.url}#{CODE}"

    def begin(self) -> None:
        self._thread.start()
        assert self._listening.wait(SOON_S)

    def end(self) -> None:
        if self._loop and self._over:
            with suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._over.set)
        self._thread.join(SOON_S)

    def are(self, mode: ReportedMode) -> bool:
        return all(board.mode == mode for board in self.boards)

    async def _serve(self) -> None:
        self._loop, self._over = asyncio.get_running_loop(), asyncio.Event()
        server = PhoneServer(self.controls, self.pairing, self.said.append)

        def listening(number: int) -> None:
            self.number = number
            self._listening.set()

        await server.run("127.0.0.1", 0, listening, self._over)


@contextmanager
def phone_rig(show: CompiledShow | None = None, *, write_s: float = 0.0) -> Iterator[PhoneRig]:
    """The heron's two boards, or another show's, in the mode ready."""
    shown = show or heron()
    boards = [ServedTable(board, write_s=write_s) for board in shown.boards]
    controls = RemoteControls(shown, [board.server.url for board in boards], BAUD)
    rig = PhoneRig(shown, controls, boards)
    for board in boards:
        board.server.__enter__()
    try:
        rig.begin()
        yield rig
    finally:
        rig.end()
        for board in boards:
            board.server.stop()


@contextmanager
def own_place(folder: Path, patch: pytest.MonkeyPatch) -> Iterator[None]:
    """A runtime folder of the test's own; an owner that it leaves behind is ended."""
    patch.setenv("XDG_RUNTIME_DIR", str(folder))
    yield
    with suppress(LinkFailure):
        pid = owner_pid()
        if pid is not None and pid != os.getpid():
            os.kill(pid, signal.SIGKILL)


def owner_pid() -> int | None:
    met = meeting.meet(meeting.meeting_place(), "owner")
    if met is None:
        return None
    met.connection.close()
    return met.pid


class PhoneByHand:
    """A phone without a page: it says what a test wants."""

    def __init__(self, rig: PhoneRig, *, beats: bool = True, **more: Any) -> None:
        self.told: list[dict[str, Any]] = []
        more.setdefault("origin", rig.url.rstrip("/"))
        self._stack = ExitStack()
        address = f"ws://127.0.0.1:{rig.number}/socket"
        self.socket: ClientConnection = self._stack.enter_context(
            connect(address, compression=None, close_timeout=2, **more)
        )
        self.beats = beats
        self._n = 0
        self._reading = threading.Thread(target=self._read, daemon=True)
        self._beating = threading.Thread(target=self._beat, daemon=True)

    def come(self, code: str = CODE) -> PhoneByHand:
        self.say({"do": "pair", "code": code})
        self._reading.start()
        self._beating.start()
        assert until(lambda: any("boards" in one for one in self.told))
        return self

    def ready(self) -> PhoneByHand:
        """All boards are ready."""
        assert until(lambda: all(row["mode"] == "ready" for row in self.boards()))
        return self

    def boards(self) -> list[dict[str, Any]]:
        return next(one["boards"] for one in reversed(self.told) if "boards" in one)

    def say(self, message: object) -> None:
        self.socket.send(json.dumps(message))

    def ask(self, do: str, **fields: Any) -> str:
        """What went wrong; nothing if nothing did."""
        self._n += 1
        n = self._n
        self.say({"do": do, "n": n, **fields})
        assert until(lambda: any(one.get("n") == n and "taken" not in one for one in self.told))
        answer = next(one for one in self.told if one.get("n") == n and "taken" not in one)
        return str(answer.get("failed", ""))

    def close(self) -> None:
        self.beats = False
        self._stack.close()

    def __enter__(self) -> PhoneByHand:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _read(self) -> None:
        with suppress(Exception):
            for text in self.socket:
                self.told.append(json.loads(text))

    def _beat(self) -> None:
        with suppress(Exception):
            while True:
                time.sleep(0.2)
                if self.beats:
                    self.say({"do": "beat"})
