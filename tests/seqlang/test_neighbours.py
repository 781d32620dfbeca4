"""Another user of the computer stops what this user's commands move, and can do nothing else.

The other user is a process with another number, which only root may start. It may read all files,
for Python itself may lie where only root can look, but it may write no more than any other user.
"""

from __future__ import annotations

import json
import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from flap_show import SHOW, Outcome, table_of

from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner import neighbours
from firmware_gen.link.owner.client import connect, press_elsewhere
from firmware_gen.link.owner.serving import MOST_NEIGHBOURS
from firmware_gen.link.protocol import ReportedMode
from tests.seqlang.phone_rig import own_place
from tests.seqlang.terminal import ROOT
from tests.unchecked import transfer_unchecked
from tests.waiting import until

pytestmark = pytest.mark.skipif(
    os.geteuid() != 0 or shutil.which("setpriv") is None,
    reason="NO OTHER USER: only root may start another user's process, and needs `setpriv` for it",
)

OTHER = pwd.getpwnam("nobody")
AS_OTHER = (
    "setpriv",
    f"--reuid={OTHER.pw_uid}",
    f"--regid={OTHER.pw_gid}",
    "--clear-groups",
    "--inh-caps=+dac_read_search",
    "--ambient-caps=+dac_read_search",
    sys.executable,
)


class TwoUsers:
    """This user's board, and where all users meet."""

    def __init__(self, folder: Path, server: Server) -> None:
        self.folder = folder
        self.server = server
        self.home = folder / "other"
        self.home.mkdir(mode=0o700)
        os.chown(self.home, OTHER.pw_uid, OTHER.pw_gid)

    def other_says(self, *words: str) -> subprocess.CompletedProcess[str]:
        """A command of the other user's."""
        return subprocess.run(
            [*AS_OTHER, "-m", "seqlang", *words],
            env=self.environment(),
            cwd="/",
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    def environment(self) -> dict[str, str]:
        return {
            **os.environ,
            "XDG_RUNTIME_DIR": str(self.home),
            "HOME": str(self.home),
            "PYTHONPATH": str(ROOT),
        }

    @property
    def mode(self) -> int:
        return int(self.server.virtual.board.mode)

    def runs_a_cue(self) -> bool:
        player = self.server.virtual.board.player
        return player is not None and player.running_cues != 0


@pytest.fixture
def two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TwoUsers]:
    # not in pytest's folder, into which no other user can look
    folder = Path(tempfile.mkdtemp(dir="/tmp"))
    folder.chmod(0o711)
    shared = folder / "shared"
    shared.mkdir()
    shared.chmod(0o1777)
    monkeypatch.setenv(neighbours.FOLDER_SETTING, str(shared))
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=1, far=40))
    virtual = VirtualBoard(write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), table_of(path))
    virtual.advance(2.0)
    virtual.board.take_output()
    with own_place(tmp_path, monkeypatch), Server(virtual) as server:
        yield TwoUsers(folder, server)
    shutil.rmtree(folder, ignore_errors=True)


@pytest.mark.parametrize("what", ["stop", "limp"])
@pytest.mark.parametrize("names_port", [True, False])
def test_another_user_stops_what_this_users_command_holds(
    what: str, names_port: bool, two: TwoUsers
) -> None:
    url = two.server.url
    words = [sys.executable, "-m", "seqlang", "trigger", "wave", "--held", "60 s", "--port", url]
    with (
        connect("watch") as watching,
        subprocess.Popen(words, stderr=subprocess.PIPE, text=True) as held,
    ):
        watching.watch()
        assert until(two.runs_a_cue)
        done = two.other_says(what, *(["--port", url] if names_port else []))
        assert (done.returncode, done.stderr) == (0, "")
        assert f"the board on {url} has taken `{what}`; the user `root` has it" in done.stdout
        assert until(lambda: two.mode in (ReportedMode.LIMP, ReportedMode.STOPPING))
        _, told = held.communicate(timeout=20)
        assert held.returncode == 3
        assert "the board was stopped while `wave` was held" in told
        by = [each.get("client") for each in watching.events(2.0) if each.get("request") == what]
        assert f"{what} of the user `nobody`" in by
    assert until(lambda: two.mode == ReportedMode.LIMP)


def test_a_port_that_no_command_has_is_not_opened_for_another_user(two: TwoUsers) -> None:
    with connect("test") as owner:
        (door,) = doors(two)
        said = ask(door, {"urgent": "stop", "ports": [two.server.url], "all": False})
        assert said == {"taken": []}
        assert owner.ports() == []


@pytest.mark.parametrize(
    "line",
    [
        {"id": 1, "do": "end"},
        {"id": 1, "do": "greet", "port": "x"},
        {"client": "x", "pid": 1, "mark": "", "token": ""},
        {"urgent": "standby", "ports": []},
    ],
)
def test_another_user_can_ask_nothing_else(line: dict[str, object], two: TwoUsers) -> None:
    with connect("test") as owner:
        (door,) = doors(two)
        assert "failure" in ask(door, line)
        owner.board(two.server.url).greet()


def test_users_who_come_in_crowds_and_say_nothing_keep_no_stop_out(two: TwoUsers) -> None:
    with connect("test") as owner:
        owner.board(two.server.url).greet()
        (door,) = doors(two)
        crowd = [knocked(door) for _ in range(3 * MOST_NEIGHBOURS)]
        done = two.other_says("stop")
        assert done.returncode == 0, done.stderr
        assert until(lambda: two.mode in (ReportedMode.LIMP, ReportedMode.STOPPING))
        for each in crowd:
            each.close()


def test_who_says_nothing_is_let_go_of(two: TwoUsers) -> None:
    with connect("test"):
        (door,) = doors(two)
        silent = knocked(door)
        silent.settimeout(20.0)
        assert silent.recv(1) == b""
        silent.close()


def test_a_door_that_is_not_its_users_is_not_believed(
    two: TwoUsers, capsys: pytest.CaptureFixture[str]
) -> None:
    """Somebody listens in a folder that is another user's."""
    folder = two.folder / "shared" / "bellcrank-stop-65534-x"
    folder.mkdir()
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    listener.bind(str(folder / "stop"))
    listener.listen(1)
    os.chown(folder, OTHER.pw_uid, OTHER.pw_gid)
    assert neighbours.doors_of_others() == [folder]
    assert neighbours.knock(folder) is None
    done = Outcome(capsys, "stop", "--port", two.server.url)
    assert done.status == 0
    assert "has stopped" in done.out
    listener.close()


def test_a_neighbours_owner_that_hangs_is_told_and_the_own_board_stops(
    two: TwoUsers, capsys: pytest.CaptureFixture[str]
) -> None:
    script = (
        "import os, socket, sys; folder = sys.argv[1]; os.mkdir(folder, 0o755); "
        "s = socket.socket(socket.AF_UNIX); s.bind(folder + '/stop'); s.listen(1); "
        "print(flush=True); import time; time.sleep(60)"
    )
    folder = two.folder / "shared" / "bellcrank-stop-65534-y"
    with subprocess.Popen(
        [*AS_OTHER, "-c", script, str(folder)],
        stdout=subprocess.PIPE,
        cwd="/",
    ) as hanging:
        assert hanging.stdout is not None
        hanging.stdout.readline()
        with connect("test") as owner:
            owner.board(two.server.url).greet()
            done = Outcome(capsys, "stop")
        hanging.kill()
    assert done.status == 3
    assert "has stopped" in done.out
    told = " ".join(done.err.split())
    assert "of the user `nobody` does not answer" in told
    assert "use the switch in the supply's lead" in told


def test_without_a_door_a_stop_that_cannot_arrive_says_what_stops(two: TwoUsers) -> None:
    with connect("test") as owner:
        owner.board(two.server.url).greet()
        (door,) = doors(two)
        shutil.rmtree(door)
        done = two.other_says("stop", "--port", two.server.url)
    assert done.returncode == 3
    told = " ".join(done.stderr.split())
    assert "port-busy" in told
    assert "to stop now, use the switch in the supply's lead" in told


def test_doors_go_with_their_owner_and_stale_ones_with_the_next(two: TwoUsers) -> None:
    stale = two.folder / "shared" / "bellcrank-stop-0-stale"
    stale.mkdir()
    left = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    left.bind(str(stale / "stop"))
    left.close()
    with connect("test") as owner:
        (door,) = doors(two)
        assert door != stale
        owner.ask("end")
        assert until(lambda: not door.exists())


def doors(two: TwoUsers) -> list[Path]:
    return sorted((two.folder / "shared").glob("bellcrank-stop-*"))


def knocked(door: Path) -> socket.socket:
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.connect(str(door / "stop"))
    return connection


def ask(door: Path, line: dict[str, object]) -> dict[str, object]:
    with knocked(door) as connection:
        connection.settimeout(20.0)
        more = {"baud": 250_000, "token": "", "client": "test"}
        connection.sendall(json.dumps({**more, **line}).encode() + b"\n")
        found: dict[str, object] = json.loads(connection.makefile().readline())
        return found


# -- doors that lie --------------------------------------------------------------------------------

LYING = """
import json, os, socket, sys, time
folder, port, how = sys.argv[1:]
os.mkdir(folder, 0o755)
door = socket.socket(socket.AF_UNIX)
door.bind(folder + "/stop")
door.listen(8)
print(flush=True)
while True:
    knocked, _ = door.accept()
    try:
        knocked.recv(4096)
        if how == "claims":
            knocked.sendall(json.dumps({"taken": [port]}).encode() + b"\\n")
            knocked.sendall(json.dumps({"port": port, "status": 0, "rest": ""}).encode() + b"\\n")
        elif how == "escapes":
            words = "\\x1b[2J\\x07" + 5000 * "x"
            knocked.sendall(json.dumps({"failure": ["owner-lost", words, words]}).encode() + b"\\n")
        elif how == "trickles":
            knocked.sendall(b'{"taken": ["x"]}\\n')
            while True:
                knocked.sendall(b" ")
                time.sleep(0.2)
        elif how == "floods":
            while True:
                knocked.sendall(b"x" * 65536)
        else:
            knocked.sendall(how.encode() + b"\\n")
    except OSError:
        pass
    knocked.close()
"""


@contextmanager
def lying(two: TwoUsers, how: str, doors: int = 1) -> Iterator[None]:
    """Doors of another user's behind which no owner is."""
    with ExitStack() as stack:
        for number in range(doors):
            folder = two.folder / "shared" / f"bellcrank-stop-{OTHER.pw_uid}-{number}"
            words = [*AS_OTHER, "-c", LYING, str(folder), two.server.url, how]
            liar = stack.enter_context(subprocess.Popen(words, stdout=subprocess.PIPE, cwd="/"))
            stack.callback(liar.kill)
            assert liar.stdout is not None
            liar.stdout.readline()
        yield


@pytest.mark.parametrize("how", ["claims", "trickles", "floods", "escapes", "{}"])
@pytest.mark.parametrize("names_port", [True, False])
def test_no_door_of_another_users_keeps_the_own_board_from_stopping(
    how: str, names_port: bool, two: TwoUsers, capfd: pytest.CaptureFixture[str]
) -> None:
    with connect("test") as owner, lying(two, how):
        owner.board(two.server.url).greet()
        words = ["--port", two.server.url] if names_port else []
        subprocess.run([sys.executable, "-m", "seqlang", "stop", *words], check=False, timeout=60)
        said = capfd.readouterr()
    assert two.mode in (ReportedMode.LIMP, ReportedMode.STOPPING)
    assert "has stopped" in said.out
    assert "Traceback" not in said.err
    assert "\x1b" not in said.err
    assert len(said.err) < 1500
    assert ("supply's lead" in said.err) == (how != "claims")


@pytest.mark.parametrize("how", ["claims", "{}"])
def test_a_port_that_another_user_only_claims_to_have_is_stopped_all_the_same(
    how: str, two: TwoUsers, capfd: pytest.CaptureFixture[str]
) -> None:
    """No command of this user has it open."""
    with lying(two, how):
        words = [sys.executable, "-m", "seqlang", "stop", "--port", two.server.url]
        subprocess.run(words, check=False, timeout=60)
    assert "has stopped" in capfd.readouterr().out
    assert two.mode in (ReportedMode.LIMP, ReportedMode.STOPPING)


@pytest.mark.parametrize(
    "said", ["[]", "{", '{"taken": 5}', '{"taken": ["x"]}\n{"port": "x", "status": "?"}']
)
def test_a_door_that_says_nonsense_is_told_without_a_traceback(
    said: str, two: TwoUsers, capfd: pytest.CaptureFixture[str]
) -> None:
    with lying(two, said):
        (found,) = press_elsewhere("stop", [], everywhere=True)
    assert isinstance(found.outcome, LinkFailure)
    assert "`nobody` says what is not understood" in found.outcome.message
    assert capfd.readouterr().err == ""


def test_many_doors_of_one_user_that_trickle_take_no_longer_than_one(two: TwoUsers) -> None:
    with lying(two, "trickles", doors=6):
        found = press_elsewhere("stop", [], everywhere=True)
    assert 0 < len(found) < 6
    assert all(isinstance(each.outcome, LinkFailure) for each in found)


def test_a_user_with_many_connections_takes_no_other_users_place(two: TwoUsers) -> None:
    script = (
        "import socket, sys, time\n"
        f"held = [socket.socket(socket.AF_UNIX) for _ in range({3 * MOST_NEIGHBOURS})]\n"
        "for each in held: each.connect(sys.argv[1])\n"
        "print(flush=True)\n"
        "time.sleep(60)\n"
    )
    line = {"urgent": "stop", "ports": [two.server.url], "baud": 250_000, "token": ""}
    with connect("test") as owner:
        owner.board(two.server.url).greet()
        (door,) = doors(two)
        words = [*AS_OTHER, "-c", script, str(door / "stop")]
        with (
            knocked(door) as third,  # of this user's own number, which is not the crowd's
            subprocess.Popen(words, stdout=subprocess.PIPE, cwd="/") as crowd,
        ):
            third.settimeout(20.0)
            assert crowd.stdout is not None
            crowd.stdout.readline()
            third.sendall(json.dumps(line).encode() + b"\n")
            crowd.kill()
            assert json.loads(third.makefile().readline()) == {"taken": [two.server.url]}
        assert until(lambda: two.mode in (ReportedMode.LIMP, ReportedMode.STOPPING))


def test_a_user_who_floods_the_door_keeps_neither_programs_nor_stops_out(two: TwoUsers) -> None:
    script = (
        "import json, socket, sys\n"
        "line = json.dumps({'urgent': 'stop', 'ports': [], 'baud': 250000, 'token': ''})\n"
        "while True:\n"
        "    try:\n"
        "        held = [socket.socket(socket.AF_UNIX) for _ in range(20)]\n"
        "        for each in held: each.connect(sys.argv[1])\n"
        "        for each in held: each.sendall(line.encode() + b'\\n')\n"
        "    except OSError: pass\n"
    )
    with connect("test") as owner, ExitStack() as stack:
        link = owner.board(two.server.url)
        link.greet()
        (door,) = doors(two)
        for _ in range(3):
            words = [*AS_OTHER, "-c", script, str(door / "stop")]
            stack.callback(stack.enter_context(subprocess.Popen(words, cwd="/")).kill)
        for _ in range(100):
            assert link.state().mode == ReportedMode.READY
        with knocked(door) as third:  # this user's number is not theirs
            third.settimeout(20.0)
            line = {"urgent": "stop", "ports": [two.server.url], "baud": 250_000, "token": ""}
            third.sendall(json.dumps(line).encode() + b"\n")
            assert json.loads(third.makefile().readline()) == {"taken": [two.server.url]}
        assert until(lambda: two.mode in (ReportedMode.LIMP, ReportedMode.STOPPING))


def test_what_another_user_calls_itself_is_nothing_that_a_terminal_obeys(two: TwoUsers) -> None:
    with connect("watch") as watching:
        watching.board(two.server.url).greet()
        watching.watch()
        (door,) = doors(two)
        line = {"urgent": "stop", "ports": [two.server.url], "client": "\x1b[2Jx\n"}
        with knocked(door) as other:
            other.settimeout(20.0)
            other.sendall(json.dumps({**line, "baud": 250_000, "token": ""}).encode() + b"\n")
            assert len(other.makefile().readlines()) == 2
        by = [each.get("client") for each in watching.events(2.0) if each.get("request") == "stop"]
    assert by == ["?[2Jx? of the user `root`"]
