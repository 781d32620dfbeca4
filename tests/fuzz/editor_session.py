"""The language server under spoilt texts: a real one over pipes, which must outlive them all.

Each input opens a text, edits it, asks about it and throws in a message that is none. The server
must answer every request, may say of nothing that it is its own mistake, and must stay alive.
"""

from __future__ import annotations

import atexit
from random import Random
from typing import Any, Final

from tests.fuzz.budget import MOST_S, TooSlowError
from tests.seqlang.editor_client import EditorClient, RequestFailedError, edit

NEW: Final = ("", " ", "\n", "    ", "hold 1 s\n", "jaw", "🦉", '"', "in 3", "(", "to 20 deg")
ABOUT: Final = ("formatting", "documentSymbol", "semanticTokens/full")
AT: Final = ("completion", "hover", "definition", "references", "prepareRename", "rename")
MORE: Final[dict[str, dict[str, object]]] = {
    "references": {"context": {"includeDeclaration": True}},
    "formatting": {"options": {"tabSize": 4, "insertSpaces": True}},
}
NAMES: Final = ("wing", "3", "hold", "é")
NO_MESSAGES: Final = (b"", b"{}", b"[]", b"7", b'{"jsonrpc": "2.0"}', b"\xff\xfe", b"{" * 50)

_OWN_MISTAKE: Final = "a mistake in bellcrank itself"


class _Sessions:
    """The server that is alive now; another is started after one that broke."""

    def __init__(self) -> None:
        self._client: EditorClient | None = None

    def client(self) -> EditorClient:
        if self._client is None:
            self._client = EditorClient()
            atexit.register(self._client.process.kill)
        return self._client

    def end(self) -> None:
        if self._client is not None:
            self._client.process.kill()
            self._client.process.wait()
        self._client = None


_SESSIONS: Final = _Sessions()


def serve(data: bytes) -> None:
    """One text with its edits and questions. Raises whatever is wrong."""
    client = _SESSIONS.client()
    try:
        _talked(client, data)
    except BaseException:
        _SESSIONS.end()  # what it knows may be spoilt: the next input gets a new one
        raise


def _talked(client: EditorClient, data: bytes) -> None:
    chance = Random(data)
    text = data.decode("utf-8", "replace")
    lines = text.count("\n") + 2
    start = client.worked_s()
    client.open(text, "file:///home/maker/fuzz.cues")
    client.findings()
    asked = 1
    for _ in range(chance.randint(0, 2)):
        spots = sorted(_spot(chance, lines) for _ in range(2))
        client.change(edit(spots[0], spots[1], chance.choice(NEW)))
        asked += 1
        if chance.random() < 0.3:  # the next one comes before this one is answered
            continue
        _ask(client, chance, lines)
    if chance.random() < 0.1:
        client.send_body(chance.choice(NO_MESSAGES))
    client.findings()
    client.ask("textDocument/codeAction", _everywhere(client, lines))
    took = client.worked_s() - start
    client.tell("textDocument/didClose", {"textDocument": {"uri": client.uri}})
    client.published.clear()
    told, client.logged[:] = list(client.logged), []
    assert not any(_OWN_MISTAKE in words for words in told), told
    if took > MOST_S * asked:
        raise TooSlowError(took)


def _ask(client: EditorClient, chance: Random, lines: int) -> None:
    try:
        if chance.random() < 0.3:
            method = chance.choice(ABOUT)
            client.about(method, **MORE.get(method, {}))
            return
        method = chance.choice(AT)
        new = {"newName": chance.choice(NAMES)} if method == "rename" else {}
        client.at(method, *_spot(chance, lines), **MORE.get(method, new))
    except RequestFailedError as error:
        _refused_on_purpose(error)


def _refused_on_purpose(error: RequestFailedError) -> None:
    """`RequestFailed` of the protocol, not JSON-RPC's internal error."""
    assert (error.code, bool(str(error))) == (-32803, True), error


def _spot(chance: Random, lines: int) -> tuple[int, int]:
    """A line and a column, sometimes outside the text."""
    return chance.randint(0, lines), chance.choice((0, 0, 4, 8, chance.randint(0, 90)))


def _everywhere(client: EditorClient, lines: int) -> dict[str, Any]:
    ends = {"start": {"line": 0, "character": 0}, "end": {"line": lines, "character": 0}}
    document = {"uri": client.uri}
    return {"textDocument": document, "range": ends, "context": {"diagnostics": []}}
