"""The process that owns the ports: found, started once, shared, and survived."""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import stat
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from shared_line import Noted
from small_tables import BUTTON, NEW, NOD, OLD

from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.link.awaiting import LinkRequest, Reply
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner import client, meeting, messages
from firmware_gen.link.owner.client import connect, press
from firmware_gen.link.owner.serving import Owner
from firmware_gen.link.protocol import ReportedMode, RequestKind
from firmware_gen.link.transfer import ShowOn
from tests.unchecked import transfer_unchecked
from tests.waiting import SOON_S, until

posix_only = pytest.mark.skipif(os.name != "posix", reason="needs local sockets and signals")
ROOT = Path(__file__).parents[2]


def owner_pid() -> int | None:
    met = meeting.meet(meeting.meeting_place(), "owner")
    if met is None:
        return None
    met.connection.close()
    return met.pid


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[meeting.MeetingPlace]:
    """A runtime folder of the test's own; an owner that it leaves behind is ended."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    found = meeting.MeetingPlace(tmp_path / "bellcrank")
    yield found
    with suppress(LinkFailure):
        pid = owner_pid()
        if pid is not None and pid != os.getpid():
            os.kill(pid, signal.SIGKILL)


class ServedBoard:
    """A board with a show behind a port, and what its player was asked."""

    def __init__(self, *, pseudo_terminal: bool = False, write_s: float = 0.0) -> None:
        self.noted = Noted()
        self.virtual = VirtualBoard(write_s=0.0, witness=self.noted)
        self.noted.virtual = self.virtual
        transfer_unchecked(HostLink(LocalPort(self.virtual)), OLD)
        self.virtual.advance(1.0)
        self.virtual.board.take_output()
        self.virtual._write_s = write_s
        self.server = Server(self.virtual, pseudo_terminal=pseudo_terminal)

    @property
    def url(self) -> str:
        return self.server.url

    def is_down(self) -> bool:
        asked = [payload for _, kind, payload in self.noted.asked_at if kind == RequestKind.BUTTON]
        return bool(asked) and asked[-1][1] == 1


@pytest.fixture(params=[False, True], ids=["socket", "pseudo-terminal"])
def board(request: pytest.FixtureRequest) -> Iterator[ServedBoard]:
    if request.param and os.name != "posix":
        pytest.skip("no pseudo-terminals")
    found = ServedBoard(pseudo_terminal=request.param)
    with found.server:
        yield found


@pytest.fixture
def slow_board() -> Iterator[ServedBoard]:
    found = ServedBoard(write_s=0.05)
    with found.server:
        yield found


@contextmanager
def in_a_process(script: str, *words: str) -> Iterator[subprocess.Popen[str]]:
    """A client of its own that can be killed; it says a line when it has done its deed."""
    head = (
        "import sys, time\n"
        f"sys.path[:0] = [{str(ROOT)!r}, {str(ROOT / 'tests' / 'firmware_gen')!r}]\n"
        "from firmware_gen.link.owner.client import connect\n"
        "owner = connect('in a process')\n"
        "link = owner.board(sys.argv[1])\n"
        "link.greet()\n"
    )
    command = [sys.executable, "-c", head + script, *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()


# -- found and started -----------------------------------------------------------------------------


@posix_only
def test_of_many_clients_that_come_at_once_one_starts_the_owner(
    place: meeting.MeetingPlace,
) -> None:
    script = (
        f"import sys; sys.path.insert(0, {str(ROOT)!r})\n"
        "from firmware_gen.link.owner.client import connect\n"
        "with connect('one of many') as owner: print(owner._met.pid)\n"
    )
    crowd = [
        subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
        for _ in range(6)
    ]
    pids = {process.communicate(timeout=60)[0].strip() for process in crowd}
    assert len(pids) == 1
    assert {process.returncode for process in crowd} == {0}
    assert pids == {str(owner_pid())}


@posix_only
def test_only_its_user_can_reach_it(place: meeting.MeetingPlace) -> None:
    with connect("test"):
        assert stat.S_IMODE(place.folder.stat().st_mode) == 0o700
        for name in ("owner", "stop"):
            assert stat.S_IMODE(place.socket(name).stat().st_mode) == 0o600


@posix_only
@pytest.mark.parametrize("mode", [0o770, 0o707, 0o711])
def test_a_folder_that_others_can_use_is_refused(mode: int, place: meeting.MeetingPlace) -> None:
    place.folder.mkdir()
    place.folder.chmod(mode)
    with pytest.raises(LinkFailure, match="others can use") as failure:
        connect("test")
    assert failure.value.reason == "owner-not-ours"


@posix_only
@pytest.mark.skipif(os.name == "posix" and os.geteuid() != 0, reason="only root can give away")
def test_another_users_folder_and_owner_are_refused(place: meeting.MeetingPlace) -> None:
    place.folder.mkdir(mode=0o700)
    os.chown(place.folder, 65534, 65534)
    with pytest.raises(LinkFailure, match="others can use"):
        connect("test")
    os.chown(place.folder, 0, 0)
    script = (
        "import os, socket, sys, time\n"
        "listener = socket.socket(socket.AF_UNIX)\n"
        "listener.bind(sys.argv[1])\n"
        "os.setuid(65534)\n"
        "listener.listen()\n"
        "print('ready', flush=True)\n"
        "time.sleep(60)\n"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", script, str(place.socket("owner"))],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == "ready\n"
        with pytest.raises(LinkFailure, match="another user") as failure:
            connect("test")
        assert failure.value.reason == "owner-not-ours"
    finally:
        other.kill()
        other.communicate()


@posix_only
def test_a_link_in_the_folders_place_is_refused(
    place: meeting.MeetingPlace, tmp_path: Path
) -> None:
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    place.folder.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(LinkFailure) as failure:
        connect("test")
    assert failure.value.reason == "owner-not-ours"


@posix_only
def test_a_folder_with_a_long_name_is_no_hindrance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deep = tmp_path / ("d" * 120)
    deep.mkdir()
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(deep))
    # Not in the test's own folder, whose name may be long itself.
    with tempfile.TemporaryDirectory(prefix="bc") as short:
        monkeypatch.setattr("tempfile.tempdir", short)
        with connect("test") as owner:
            assert owner.ports() == []
            assert owner._met.pid is not None
            os.kill(owner._met.pid, signal.SIGKILL)


@posix_only
def test_it_ends_by_itself_when_nobody_needs_it(place: meeting.MeetingPlace) -> None:
    place.folder.mkdir(mode=0o700)
    meeting.start(place, grace_s=0.3)
    with connect("test"):
        first = owner_pid()
        time.sleep(0.6)
        assert owner_pid() == first
    assert until(lambda: not place.socket("owner").exists())
    lock = meeting.take_lock(place.life_lock, SOON_S)
    assert lock is not None
    lock.close()
    with connect("test"):
        assert owner_pid() != first
    assert place.log.read_text() == ""


@posix_only
def test_after_a_kill_the_next_client_starts_another(place: meeting.MeetingPlace) -> None:
    with connect("test"):
        first = owner_pid()
    assert first is not None
    os.kill(first, signal.SIGKILL)
    assert place.socket("owner").exists()  # stale
    with connect("test"):
        assert owner_pid() not in (None, first)


@posix_only
def test_an_idle_owner_of_another_version_makes_way(monkeypatch: pytest.MonkeyPatch) -> None:
    with connect("test"):
        first = owner_pid()
    monkeypatch.setattr(client.meeting, "mark", lambda: "another")
    monkeypatch.setattr(
        client.meeting, "start", lambda place: (_ for _ in ()).throw(RuntimeError("free"))
    )
    with pytest.raises(RuntimeError, match="free"):
        connect("upgraded")
    assert owner_pid() != first


@posix_only
def test_an_owner_of_another_version_that_serves_others_is_named_and_stop_works(
    board: ServedBoard, monkeypatch: pytest.MonkeyPatch
) -> None:
    with connect("monitor") as old:
        old.board(board.url).greet()
        monkeypatch.setattr(client.meeting, "mark", lambda: "another")
        with pytest.raises(LinkFailure, match="`monitor`") as failure:
            connect("upgraded")
        assert failure.value.reason == "owner-differs"
        assert press("stop", [], everywhere=True) == {board.url: Reply(0)}


@posix_only
def test_a_runtime_folder_that_cannot_be_written_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    (tmp_path / "bellcrank").symlink_to(tmp_path / "file")
    with pytest.raises(LinkFailure) as failure:
        connect("test")
    assert failure.value.reason == "owner-not-ours"


# -- shared ----------------------------------------------------------------------------------------


def test_two_clients_share_a_board_and_see_what_the_other_does(board: ServedBoard) -> None:
    with connect("first") as first, connect("second") as second:
        links = [each.board(board.url) for each in (first, second)]
        for link in links:
            assert link.greet().chunk_bytes == 16
        second.watch()
        assert links[0].trigger(NOD).done
        assert links[1].trigger(NOD).done
        events = list(second.events(0.2))
        assert [(each["request"], each["client"]) for each in events] == [
            ("trigger", "first"),
            ("trigger", "second"),
        ]
        (listed,) = second.ports()
        assert (listed["port"], listed["address"]) == (board.url, 1)
        assert [each["client"] for each in listed["clients"]] == ["first"]


def test_a_board_behaves_through_the_owner_as_on_a_port_of_ones_own(board: ServedBoard) -> None:
    with connect("test") as owner:
        link = owner.board(board.url)
        known = ShowOn()
        done = transfer_unchecked(link, NEW, show_on=known)
        assert (done.length, known.fact) == (len(NEW), "new")
        assert link.table() == NEW
        assert link.state().mode in (ReportedMode.STARTING, ReportedMode.READY)
        assert link.limp().done
        assert until(lambda: link.state().mode == ReportedMode.LIMP)
        assert link.standby().done


def test_a_port_that_is_not_there_is_told_as_ever() -> None:
    with connect("test") as owner:
        with pytest.raises(LinkFailure) as failure:
            owner.board("/dev/no-such-port").greet()
        assert failure.value.reason == "no-port"
        found = press("stop", ["/dev/no-such-port"])["/dev/no-such-port"]
        assert isinstance(found, LinkFailure)
        assert found.reason == "no-port"


def test_another_program_may_open_a_port_that_is_lent_and_nobody_else(board: ServedBoard) -> None:
    with connect("uploader") as uploader, connect("other") as other:
        other.board(board.url).greet()
        with pytest.raises(LinkFailure, match="in use by `other`"), uploader.lent(board.url):
            pass
    with connect("uploader") as uploader, connect("other") as other:
        with uploader.lent(board.url):
            with pytest.raises(LinkFailure, match="in use by `uploader`"):
                other.board(board.url).greet()
            from firmware_gen.link.ports import open_port

            port = open_port(board.url)
            HostLink(port).greet()
            port.close()
        assert until(lambda: other.board(board.url).greet())


def test_two_owners_do_not_share_a_port(
    board: ServedBoard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two users, or two computers on one board: the second hears that it is in use."""
    with connect("first") as first:
        first.board(board.url).greet()
        (tmp_path / "other").mkdir()
        monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "other"))
        with connect("second") as second:
            with pytest.raises(LinkFailure) as failure:
                second.board(board.url).greet()
            assert failure.value.reason == "port-busy"
            pid = second._met.pid
        assert first.board(board.url).state().mode == ReportedMode.READY
    if pid is not None:
        os.kill(pid, signal.SIGKILL)


@posix_only
def test_a_port_has_one_owner_whichever_of_its_names_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As `/dev/serial/by-id/...` and `/dev/ttyUSB0` are one; names may be relative, too."""
    board = ServedBoard(pseudo_terminal=True)
    (tmp_path / "by-id").symlink_to(board.url)
    monkeypatch.chdir(tmp_path)
    with board.server, connect("first") as first, connect("second") as second:
        names = (board.url, str(tmp_path / "by-id"), "by-id", "./by-id")
        for owner in (first, second):
            for name in names:
                assert owner.board(name).greet().chunk_bytes == 16
        for name in names:
            assert press("limp", [name]) == {board.url: Reply(0)}
        assert [each["port"] for each in first.ports()] == [board.url]
        with pytest.raises(LinkFailure, match="in use by `second`"), first.lent("by-id"):
            pass


# -- bad clients -----------------------------------------------------------------------------------


@posix_only
@pytest.mark.parametrize(
    "line",
    [
        b"\n",
        b"hello\n",
        b"[1]\n",
        b"[" * 3000 + b"\n",
        b"x" * 5000,
        b"\xff\xfe\n",
        b'{"client": 3}\n',
        b'{"client": "x", "pid": -1, "token": "", "mark": ""}\n',
        b'{"client": "x", "pid": 1, "token": "wrong", "mark": ""}\n',
        b'{"client": "x", "pid": 1, "token": "", "mark": ""}\n{"id": 1, "do": "fly"}\n',
        b'{"client": "x", "pid": 1, "token": "", "mark": ""}\n{"do": "ask"}\n',
        b'{"client": "x", "pid": 1, "token": "", "mark": ""}\n{"id": 1, "do": ["ask"]}\n',
        b'{"client": "x", "pid": 1, "token": "", "mark": ""}\n'
        b'{"id": 1, "do": "ask", "port": "p", "kind": 99, "payload": ""}\n',
        b'{"client": "x", "pid": 1, "token": "", "mark": ""}\n'
        b'{"id": 1, "do": "ask", "port": "p", "kind": 21, "payload": "zz"}\n',
        b'{"client": "x", "pid": 1, "token": "", "mark": ""}\n{"id": 1e400, "do": "ports"}\n',
    ],
)
@pytest.mark.parametrize("name", ["owner", "stop"])
def test_what_is_no_message_ends_its_own_connection_only(
    line: bytes, name: str, place: meeting.MeetingPlace
) -> None:
    with connect("other") as other:
        met = meeting.meet(place, name)
        assert met is not None
        with met.connection as connection:
            connection.settimeout(SOON_S)
            connection.sendall(line)
            said = b""
            with suppress(ConnectionResetError):
                while data := connection.recv(4096):
                    said += data
            assert b"not understood" in said
        assert other.ports() == []
    assert place.log.read_text() == ""


@posix_only
def test_a_client_that_never_reads_delays_nobody(
    board: ServedBoard, place: meeting.MeetingPlace
) -> None:
    with connect("other") as other:
        met = meeting.meet(place, "owner")
        assert met is not None
        stuck = met.connection
        link = other.board(board.url)
        link.greet()
        words = {"client": "stuck", "pid": 1, "mark": "", "token": ""}
        stuck.setblocking(False)
        flood = messages.packed(words)
        flood += b"".join(
            messages.packed({"id": number, "do": "ports"}) for number in range(20_000)
        )
        with suppress(OSError):
            while flood:
                with suppress(BlockingIOError):
                    flood = flood[stuck.send(flood) :]
                assert link.state().mode == ReportedMode.READY
        assert link.state().mode == ReportedMode.READY
        assert press("limp", [board.url]) == {board.url: Reply(0)}
        stuck.close()


@posix_only
def test_a_client_that_is_killed_lets_go_of_its_button(board: ServedBoard) -> None:
    running = in_a_process(
        f"link.button({BUTTON}, True)\n"
        "print('down', flush=True)\n"
        "while True: time.sleep(0.2); link.beacon()\n",
        board.url,
    )
    with running as process, connect("watcher") as watcher:
        assert process.stdout is not None
        assert process.stdout.readline() == "down\n"
        watcher.watch()
        time.sleep(1.3)  # longer than a silent client is borne with
        assert board.is_down()
        process.kill()
        assert until(lambda: not board.is_down())
        assert [each["what"] for each in watcher.events(0.1)] == ["let-go", "asked"]


@posix_only
def test_a_client_that_is_stopped_for_a_while_lets_go_and_is_told(board: ServedBoard) -> None:
    """As when a laptop sleeps: the processes stand still, and the board plays on."""
    running = in_a_process(
        f"link.button({BUTTON}, True)\n"
        "print('down', flush=True)\n"
        "try:\n"
        "    while True: time.sleep(0.2); link.beacon()\n"
        "except Exception as error: print(error)\n",
        board.url,
    )
    with running as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "down\n"
        process.send_signal(signal.SIGSTOP)
        assert until(lambda: not board.is_down())
        process.send_signal(signal.SIGCONT)
        assert select.select([process.stdout], [], [], SOON_S)[0], "nothing was told"
        assert "was let go" in process.stdout.readline()


@posix_only
def test_all_stand_still_for_a_while_and_the_board_lets_go_by_itself(board: ServedBoard) -> None:
    with connect("test") as owner:
        link = owner.board(board.url)
        link.greet()
        owner.watch()
        assert link.button(BUTTON, True).done
        pid = owner_pid()
        assert pid is not None
        os.kill(pid, signal.SIGSTOP)
        try:
            assert until(lambda: not board.is_down())
            time.sleep(2.5)
        finally:
            os.kill(pid, signal.SIGCONT)
        with pytest.raises(LinkFailure, match="was let go"):
            link.exchange([LinkRequest(RequestKind.BEACON)] * 100)
        assert "slept" in [each["what"] for each in owner.events(0.2)]


@posix_only
def test_a_client_that_is_killed_in_mid_transfer_leaves_the_old_show(
    slow_board: ServedBoard,
) -> None:
    running = in_a_process(
        "from small_tables import NEW\n"
        "from tests.unchecked import transfer_unchecked\n"
        "transfer_unchecked(link, NEW, progress=lambda *step: print(*step, flush=True))\n",
        slow_board.url,
    )
    with running as process:
        assert process.stdout is not None
        while not process.stdout.readline().startswith("verify"):
            pass
        process.kill()
    with connect("next") as owner:
        link = owner.board(slow_board.url)
        link.greet()
        assert link.table() == OLD
        assert transfer_unchecked(link, NEW).length == len(NEW)


# -- a bad owner -----------------------------------------------------------------------------------


@posix_only
@pytest.mark.parametrize("step", ["transfer", "verify", "read back"])
def test_an_owner_killed_in_a_transfer_is_told_with_what_is_true_of_the_board(
    step: str, board: ServedBoard
) -> None:
    known = ShowOn()

    def killing(name: str, done: int, total: int) -> None:
        if name == step and done == (0 if step == "read back" else total):
            pid = owner_pid()
            assert pid is not None
            os.kill(pid, signal.SIGKILL)

    with connect("test") as owner:
        link = owner.board(board.url)
        with pytest.raises(LinkFailure) as failure:
            transfer_unchecked(link, NEW, progress=killing, show_on=known)
    assert failure.value.reason == "owner-lost"
    with connect("next") as owner:
        link = owner.board(board.url)
        assert until(lambda: _greeted(link))
        assert known.fact == ("new" if link.table() == NEW else "old")


def _greeted(link: client.OwnedLink) -> bool:
    """A board on a socket notices a little late that its last host is gone."""
    try:
        return bool(link.greet())
    except LinkFailure:
        return False


@posix_only
@pytest.mark.skipif(not hasattr(socket, "SO_PEERCRED"), reason="the process is not known here")
def test_a_stop_gets_through_although_the_owner_hangs(board: ServedBoard) -> None:
    with connect("test") as owner:
        owner.board(board.url).greet()
        pid = owner_pid()
        assert pid is not None
        os.kill(pid, signal.SIGSTOP)
        found: dict[str, Reply | LinkFailure] = {}
        assert until(
            lambda: found.update(press("stop", [board.url])) or found[board.url] == Reply(0)
        )
        assert board.noted.times(RequestKind.STOP)
        assert owner_pid() != pid


@posix_only
def test_ended_from_outside_it_lets_go_of_buttons_first(board: ServedBoard) -> None:
    with connect("test") as owner:
        link = owner.board(board.url)
        link.greet()
        assert link.button(BUTTON, True).done
        pid = owner_pid()
        assert pid is not None
        os.kill(pid, signal.SIGTERM)
        assert until(lambda: not board.is_down(), 0.9)  # sooner than the board would by itself


# -- a port that goes away -------------------------------------------------------------------------


class CutTerminal:
    """A pseudo-terminal between the host and a board; it goes away after so many bytes."""

    def __init__(self, virtual: VirtualBoard, after: int | None) -> None:
        import pty
        import tty

        self.virtual = virtual
        self.passed = 0
        self._after = after
        self._board_end, self._host_end = pty.openpty()
        tty.setraw(self._host_end)
        self.url = os.ttyname(self._host_end)
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def __enter__(self) -> CutTerminal:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join()

    def _run(self) -> None:
        import select

        last_s = time.monotonic()
        is_cut = False
        while not self._end.is_set() and not is_cut:
            if select.select([self._board_end], [], [], 0.001)[0]:
                data, is_cut = self._cut(os.read(self._board_end, 4096))
                self.virtual.receive(data)
            now_s = time.monotonic()
            self.virtual.advance(self.virtual.time_s + now_s - last_s)
            last_s = now_s
            data = self.virtual.board.take_output()
            if data and not is_cut:
                data, is_cut = self._cut(data)
                os.write(self._board_end, data)
        os.close(self._board_end)
        os.close(self._host_end)

    def _cut(self, data: bytes) -> tuple[bytes, bool]:
        if self._after is not None:
            data = data[: self._after - self.passed]
        self.passed += len(data)
        return data, self.passed == self._after


def _cut_after(count: int | None, owner: client.OwnerConnection) -> tuple[int, str, bool]:
    """Bytes that passed, the fact that the transfer tells, and whether the new show is on."""
    virtual = VirtualBoard(write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), OLD)
    virtual.board.take_output()
    known = ShowOn()
    with CutTerminal(virtual, count) as cut:
        try:
            transfer_unchecked(owner.board(cut.url), NEW, show_on=known)
        except LinkFailure as failure:
            assert failure.reason == "port-lost", failure  # noqa: PT017
    virtual.advance(virtual.time_s + 1.0)
    return cut.passed, known.fact, virtual.board.slots.table == NEW


def assert_every_fact_is_so(counts: range, owner: client.OwnerConnection) -> None:
    for count in counts:
        _, fact, is_new = _cut_after(count, owner)
        assert fact == "unknown" or (fact == "new") == is_new, count


@posix_only
def test_a_port_unplugged_at_every_so_many_bytes_leaves_a_fact_that_is_so() -> None:
    with connect("test") as owner:
        total, fact, is_new = _cut_after(None, owner)
        assert (fact, is_new) == ("new", True)
        assert_every_fact_is_so(range(1, total, 29), owner)


@posix_only
@pytest.mark.long
def test_a_port_unplugged_at_any_byte_leaves_a_fact_that_is_so() -> None:
    with connect("test") as owner:
        total, _, _ = _cut_after(None, owner)
        assert_every_fact_is_so(range(1, total), owner)


# -- where there are no local sockets --------------------------------------------------------------


def test_over_loopback_a_token_in_a_private_file_tells_who_may_come(
    board: ServedBoard, place: meeting.MeetingPlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(meeting, "by_tcp", lambda: True)
    listeners = meeting.listen(meeting.meeting_place())
    serving = Owner(listeners, 60.0, lambda: meeting.leave(place, listeners))
    thread = threading.Thread(target=serving.run)
    thread.start()
    try:
        with connect("test") as owner:
            link = owner.board(board.url)
            link.greet()
            assert link.trigger(NOD).done
            assert press("stop", [board.url]) == {board.url: Reply(0)}
        address = json.loads(place.address.read_text())
        if os.name == "posix":
            assert stat.S_IMODE(place.address.stat().st_mode) == 0o600
        place.address.write_text(json.dumps({**address, "token": "guessed"}))
        with pytest.raises(LinkFailure, match="token is wrong"):
            connect("stranger")
        with pytest.raises(LinkFailure, match="token is wrong"):
            press("stop", [board.url])
    finally:
        serving.end()
        thread.join()
    assert not place.address.exists()
