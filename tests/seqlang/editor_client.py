"""A text editor's end of the Language Server Protocol, over the pipes of a real server process.

Frames and JSON-RPC are written here from the protocol's text (LSP 3.17, Base Protocol); the
parameters are built by hand, so that nothing of the server's own library is taken for granted.
"""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

SECONDS = 60.0
"""Longer than anything takes on a loaded machine; nothing here measures time."""

Json = dict[str, Any]


class RequestFailedError(Exception):
    """The server answered with an error; `code` is of JSON-RPC 2.0 (5.1) or of the protocol."""

    def __init__(self, code: int, message: str) -> None:
        super().__init__(message)
        self.code = code


class EditorClient:
    """Starts a server, shakes hands, and keeps what it publishes."""

    def __init__(self, encodings: tuple[str, ...] = ()) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "seqlang", "editor"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        self._messages: queue.Queue[Json | None] = queue.Queue()
        self._answers: dict[int, Json] = {}
        self.published: list[Json] = []
        self.logged: list[str] = []
        self._next = 0
        self.version = 0
        self.uri = ""
        self._texts = 0
        threading.Thread(target=self._read, daemon=True).start()
        general = {"general": {"positionEncodings": list(encodings)}} if encodings else {}
        self.server = self.ask(
            "initialize", {"processId": None, "rootUri": None, "capabilities": general}
        )
        self.tell("initialized", {})

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            if value is None:
                self.ask("shutdown", None)
                self.tell("exit", None)
                assert self.process.wait(SECONDS) == 0
                assert self.process.stderr is not None
                assert self.process.stderr.read() == b""
                assert self.logged == []
        finally:
            self.process.kill()
            self.process.wait()
            for pipe in (self.process.stdin, self.process.stdout, self.process.stderr):
                assert pipe is not None
                pipe.close()

    def worked_s(self) -> float:
        """Processor time that the server has used so far (Linux, proc(5): utime and stime)."""
        line = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="ascii")
        fields = line.rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    # -- frames -------------------------------------------------------------------------------

    def _read(self) -> None:
        stream = self.process.stdout
        assert stream is not None
        try:
            while True:
                length = 0
                while line := stream.readline().strip():
                    name, _, value = line.partition(b":")
                    length = int(value) if name.lower() == b"content-length" else length
                if not length:
                    break
                self._messages.put(json.loads(stream.read(length)))
        except ValueError:  # closed under the reader
            pass
        self._messages.put(None)

    def _send(self, message: Json) -> None:
        self.send_body(json.dumps({"jsonrpc": "2.0", **message}).encode())

    def send_body(self, body: bytes) -> None:
        """Any bytes in a frame of the right length."""
        assert self.process.stdin is not None
        self.process.stdin.write(b"Content-Length: %d\r\n\r\n" % len(body) + body)
        self.process.stdin.flush()

    def _take(self, seconds: float = SECONDS) -> None:
        """Wait for one message and put it where it belongs."""
        message = self._messages.get(timeout=seconds)
        assert message is not None, "the server has gone"
        if "method" not in message:
            self._answers[message["id"]] = message
        elif message["method"] == "textDocument/publishDiagnostics":
            self.published.append(message["params"])
        elif message["method"] == "window/logMessage":
            self.logged.append(message["params"]["message"])
        else:
            raise AssertionError(f"nobody asked for {message}")

    # -- requests -----------------------------------------------------------------------------

    def send(self, method: str, params: object) -> int:
        """Ask without waiting; `answer` takes the number that comes back."""
        self._next += 1
        self._send({"id": self._next, "method": method, "params": params})
        return self._next

    def answer(self, number: int) -> Any:
        while number not in self._answers:
            self._take()
        message = self._answers.pop(number)
        if "error" in message:
            raise RequestFailedError(message["error"]["code"], message["error"]["message"])
        return message["result"]

    def ask(self, method: str, params: object) -> Any:
        return self.answer(self.send(method, params))

    def tell(self, method: str, params: object) -> None:
        self._send({"method": method, **({} if params is None else {"params": params})})

    # -- texts --------------------------------------------------------------------------------

    def open(self, text: str, uri: str | None = None) -> str:
        """Open a text, if not elsewhere then as one of its own; all that follows is about it."""
        self._texts += 1
        self.uri = uri or f"file:///home/maker/show{self._texts}.cues"
        self.version = 1
        document = {"uri": self.uri, "languageId": "cues", "version": 1, "text": text}
        self.tell("textDocument/didOpen", {"textDocument": document})
        return self.uri

    def change(self, *changes: Mapping[str, object]) -> int:
        self.version += 1
        document = {"uri": self.uri, "version": self.version}
        self.tell(
            "textDocument/didChange", {"textDocument": document, "contentChanges": [*changes]}
        )
        return self.version

    def findings(self, version: int | None = None, answers: int = 2) -> list[Json]:
        """The full answer about a version: the second that is published of it (or the first)."""
        version = self.version if version is None else version

        def those() -> list[Json]:
            here = (one for one in self.published if one["uri"] == self.uri)
            return [one for one in here if one.get("version") == version]

        while len(those()) < answers:
            self._take()
        found: list[Json] = those()[answers - 1]["diagnostics"]
        return found

    def told_of(self, uri: str, wanted: Callable[[list[Json]], bool]) -> list[Json]:
        """What is published of a text, once it is what is waited for."""
        while True:
            here = [one["diagnostics"] for one in self.published if one["uri"] == uri]
            if here and wanted(here[-1]):
                found: list[Json] = here[-1]
                return found
            self._take()

    def at(self, method: str, line: int, character: int, **more: object) -> Any:
        """Ask about a place in the text."""
        place = {"line": line, "character": character}
        params = {"textDocument": {"uri": self.uri}, "position": place, **more}
        return self.ask(f"textDocument/{method}", params)

    def about(self, method: str, **more: object) -> Any:
        """Ask about the text."""
        return self.ask(f"textDocument/{method}", {"textDocument": {"uri": self.uri}, **more})


def span(start: tuple[int, int], end: tuple[int, int]) -> Json:
    """A range of the protocol."""
    return {
        "start": {"line": start[0], "character": start[1]},
        "end": {"line": end[0], "character": end[1]},
    }


def edit(start: tuple[int, int], end: tuple[int, int], text: str) -> Json:
    """A change of the stretch between two places."""
    return {"range": span(start, end), "text": text}
