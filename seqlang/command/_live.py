"""A page that follows the text of its show: made anew at every save, and sent to whoever looks.

The page is served on the loopback address only, and only to who asks for it by that name: a page
from elsewhere that has its own name point here is refused. New versions go out as server-sent
events (WHATWG HTML, section 9.2). There is one newest version: whoever is slow gets that one next.
Trims that were set by eye come back from this page, and from no other one: a browser says of all
that is sent which page sends it (WHATWG Fetch, section 3.2, `Origin`).
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Condition, Lock, Thread
from typing import TYPE_CHECKING, Any, Final

from firmware_gen.page.page import as_json, laid_out, page_data, waiting
from seqlang.check import check
from seqlang.command._page_notes import page_notes
from seqlang.command._set_trims import read_asked, set_trims, version_number
from seqlang.loading import ReadBefore, load
from seqlang.text.render import text
from seqlang.trimming import said_trims
from sim.rehearsal.run_through import LongRehearsalError, run_through

if TYPE_CHECKING:
    from seqlang.check import Checked
    from seqlang.loading import Loaded

HOST: Final = "127.0.0.1"
LOOK_S: Final = 0.02
"""Between two looks at the file."""
SETTLE_S: Final = 0.06
"""A text with errors is looked at again after this time: it may have been saved only in part."""
BEAT_S: Final = 5.0
"""A sign of life to those who listen, by which those who left are noticed."""
MOST_LISTENERS: Final = 16
MOST_SENT: Final = 60_000
"""Bytes of what a page sends; the trims of all lights of a show are far less."""


@dataclass(frozen=True, slots=True)
class ShowVersion:
    """What a text comes to: the page's data, or what is wrong with it in words."""

    data: dict[str, Any] | None
    findings: str = ""
    files: tuple[Path, ...] = ()
    """All that were read, the show's own first."""

    @property
    def page(self) -> str:
        return waiting(self.findings) if self.data is None else laid_out(self.data, live=True)

    @property
    def event(self) -> bytes:
        """The same for a page that is open already; the chips' programs stay as they are there."""
        if self.data is None:
            return f"event: findings\ndata: {as_json(self.findings)}\n\n".encode()
        news = {name: value for name, value in self.data.items() if name != "chips"}
        return f"event: show\ndata: {as_json(news)}\n\n".encode()


class LastVersion:
    """What was found out about the last version of a show: what is alike is not worked out anew."""

    def __init__(self) -> None:
        self.read = ReadBefore()
        self.checked: Checked | None = None


def version_of(path: Path, last: LastVersion | None = None) -> ShowVersion:
    """Read, check and rehearse a show. OSError if its file cannot be opened.

    `last` is brought up to date.
    """
    last = LastVersion() if last is None else last
    loaded = load(path, last.read)
    files = tuple(map(Path, loaded.sources))
    found = last.checked = check(loaded, int, last.checked)
    if found.show is None:
        wrong = [finding for finding in found.findings if finding.severity == "error"]
        return ShowVersion(None, text(wrong, loaded.sources), files)
    try:
        return ShowVersion(_data(loaded, found) | {"version": version_number(loaded)}, files=files)
    except LongRehearsalError as error:
        return ShowVersion(None, str(error), files)


def _data(loaded: Loaded, found: Checked) -> dict[str, Any]:
    assert found.show is not None
    played = run_through(found.show.show)
    notes = page_notes(found.findings, found.show.origins, loaded.sources, played)
    said = said_trims(loaded)
    return page_data(found.show.compiled, found.show.tables, played, notes, said)


def versions(path: Path) -> Iterator[ShowVersion]:
    """The version in a file, then one for each change of it or of what it includes. Never ends."""
    files: tuple[Path, ...] = (path,)
    before: object = None
    last = LastVersion()
    while True:
        seen = _seen(files)
        if seen is None or seen == before:
            time.sleep(LOOK_S)
            continue
        try:
            version = version_of(path, last)
        except OSError:
            continue
        if version.data is None and before is not None:
            time.sleep(SETTLE_S)
            if _seen(files) != seen:
                continue
        if version.files != files:  # it includes others now: look at those as well, from here on
            files = version.files
            continue
        before = seen
        yield version


def _seen(files: tuple[Path, ...]) -> tuple[object, ...] | None:
    """What the files hold; None while the first is not there, as while an editor puts a new one in
    its place. Names beside it count too: one that is included may come later."""
    contents = [_content(file) for file in files]
    if contents[0] is None:
        return None
    names = sorted(file.name for file in files[0].parent.glob("*.cues"))
    return (*contents, *names)


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


class Newest:
    """The newest version, and how many there were; many may wait for the next one."""

    def __init__(self, version: ShowVersion) -> None:
        self._changed = Condition()
        self.version = version
        self.number = 1

    def put(self, version: ShowVersion) -> None:
        with self._changed:
            self.version = version
            self.number += 1
            self._changed.notify_all()

    def after(self, number: int) -> tuple[int, ShowVersion] | None:
        """The newest version if it is not that one; None if none came for a while."""
        with self._changed:
            if self._changed.wait_for(lambda: self.number != number, BEAT_S):
                return self.number, self.version
            return None


class LiveServer(ThreadingHTTPServer):
    """Serves the newest version on the loopback address. OSError if the number is taken."""

    daemon_threads = True

    def __init__(self, path: Path, newest: Newest, number: int = 0) -> None:
        super().__init__((HOST, number), _PageAnswers)
        self.path = path
        self.newest = newest
        self.writing = Lock()
        self.listeners = 0
        port = self.server_address[1]
        self.names = frozenset(f"{name}:{port}" for name in (HOST, "localhost"))
        self.url = f"http://{HOST}:{port}/"

    def begin(self) -> None:
        Thread(target=self.serve_forever, daemon=True).start()


class _PageAnswers(BaseHTTPRequestHandler):
    server: LiveServer
    protocol_version = "HTTP/1.1"
    timeout = 30

    def do_GET(self) -> None:
        if self.headers.get("Host") not in self.server.names:
            self.send_error(HTTPStatus.MISDIRECTED_REQUEST)
        elif self.path == "/":
            self._send(self.server.newest.version.page.encode())
        elif self.path == "/changes":
            self._changes()
        elif self.path == "/favicon.ico":  # browsers ask by themselves
            self.send_response(HTTPStatus.NO_CONTENT)
            self.end_headers()
        else:
            self.send_error(HTTPStatus.NOT_FOUND)

    def do_POST(self) -> None:
        self.close_connection = True  # what was not read of a request is not the next one
        host = self.headers.get("Host")
        if host not in self.server.names:
            self.send_error(HTTPStatus.MISDIRECTED_REQUEST)
        elif self.headers.get_all("Origin") != [f"http://{host}"]:
            self.send_error(HTTPStatus.FORBIDDEN)
        elif self.path != "/trims":
            self.send_error(HTTPStatus.NOT_FOUND)
        elif self.headers.get_content_type() != "application/json":
            self.send_error(HTTPStatus.UNSUPPORTED_MEDIA_TYPE)
        else:
            self._set_trims()

    def _set_trims(self) -> None:
        length = self.headers.get("Content-Length", "")
        if not (length.isascii() and length.isdigit()):
            self.send_error(HTTPStatus.LENGTH_REQUIRED)
        elif len(length) > 9 or int(length) > MOST_SENT:
            self.send_error(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        else:
            asked = read_asked(self.rfile.read(int(length)))
            if asked is None:
                self.send_error(HTTPStatus.BAD_REQUEST)
                return
            with self.server.writing:
                answer = set_trims(self.server.path, asked)
            self._send(as_json(asdict(answer)).encode(), "application/json")

    def _send(self, body: bytes, kind: str = "text/html; charset=utf-8") -> None:
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.wfile.write(body)

    def _changes(self) -> None:
        if self.server.listeners >= MOST_LISTENERS:
            self.send_error(HTTPStatus.SERVICE_UNAVAILABLE)
            return
        self.server.listeners += 1
        self.close_connection = True
        try:
            self.send_response(HTTPStatus.OK)
            self.send_header("Content-Type", "text/event-stream")
            self.send_header("Cache-Control", "no-store")
            self.end_headers()
            self._send_changes()
        except OSError:
            pass  # whoever listened has left
        finally:
            self.server.listeners -= 1

    def _send_changes(self) -> None:
        number = 0
        while True:
            newer = self.server.newest.after(number)
            if newer is None:
                self.wfile.write(b":\n\n")
            else:
                number, version = newer
                self.wfile.write(version.event)
            self.wfile.flush()

    def log_message(self, format: str, *args: object) -> None:
        """The terminal is for what the show's maker wants to know."""
