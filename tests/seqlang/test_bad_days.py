"""Bad days at an event, with real processes: each ends in words, and nothing is lost or held.

A port that is unplugged at any byte stands in `test_owner_process.py` and
`test_transfer_cut_anywhere.py`.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from firmware_gen.link.protocol import ReportedMode
from seqlang.monitoring.event_log import read_log
from tests.firmware_gen.browser import chromium, needs_browser
from tests.firmware_gen.page_shows import EVERYTHING
from tests.seqlang.bad_days import (
    LOSING,
    ROOT,
    Cable,
    can_mount,
    losing_network,
    on_a_disk,
    shift,
    started,
    with_shifted_clocks,
)
from tests.seqlang.phone_rig import (
    HELD,
    PhoneByHand,
    ServedTable,
    heron,
    own_place,
    owner_pid,
    phone_rig,
    until,
)

posix_only = pytest.mark.skipif(os.name != "posix", reason="needs signals")
needs_mounts = pytest.mark.skipif(not can_mount(), reason="NO DISK OF ITS OWN (unshare)")


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("HOME", str(tmp_path))
    with own_place(tmp_path, monkeypatch):
        yield


@pytest.fixture
def body() -> Iterator[ServedTable]:
    """The heron's first board, that plays."""
    served = ServedTable(heron().boards[0])
    with served.server:
        yield served


def ran(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "seqlang", *words]
    whole = {**os.environ, **environment}
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, cwd=ROOT, env=whole)
    assert "Traceback" not in done.stderr, done.stderr
    return done


# -- clocks ----------------------------------------------------------------------------------------


@posix_only
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs a clock that sleeps not")
def test_a_laptop_that_sleeps_for_an_hour_in_mid_show_holds_nothing_when_it_wakes(
    body: ServedTable, tmp_path: Path
) -> None:
    environment = with_shifted_clocks(tmp_path, dict(os.environ))
    port, log = ("--port", body.server.url), tmp_path / "evening.log"
    monitor = started("monitor", *port, "--log", str(log), environment=environment)
    holding = started("trigger", "beat", *port, "--held", "9 min", environment=environment)
    try:
        assert until(lambda: body.is_down(HELD))
        assert until(lambda: log.exists() and read_log(log).records)
        pids = [monitor.pid, holding.pid, owner_pid()]
        assert None not in pids
        for pid in pids:
            os.kill(pid or 0, signal.SIGSTOP)
        shift(tmp_path, slept=3600.0)
        assert until(lambda: not body.is_down(HELD))  # the board let go by itself
        for pid in pids:
            os.kill(pid or 0, signal.SIGCONT)
        words, _ = holding.communicate(timeout=60)
        assert holding.returncode == 3
        assert "was let go" in " ".join(words.split())
        assert not body.is_down(HELD)
        assert ran("trigger", "look", *port).returncode == 0  # all works again
        assert until(lambda: "slept" in [each.what for each in read_log(log).records])
    finally:
        for process in (monitor, holding):
            process.kill()
            process.communicate()
    told = ran("monitor", "--summary", "--log", str(log)).stdout
    slept = re.search(r"this computer slept for (\d+) s", " ".join(told.split()))
    # The hour, and what the test itself takes between stopping and waking the processes.
    assert slept
    assert 3600 <= int(slept[1]) < 3660


@posix_only
def test_a_clock_that_is_set_back_in_mid_show_changes_no_duration_and_is_told(
    body: ServedTable, tmp_path: Path
) -> None:
    environment = with_shifted_clocks(tmp_path, dict(os.environ))
    port, log = ("--port", body.server.url), tmp_path / "evening.log"
    monitor = started("monitor", *port, "--log", str(log), environment=environment)
    try:
        assert until(lambda: log.exists() and read_log(log).records)
        shift(tmp_path, set=-3600.0)
        assert ran("trigger", "look", *port).returncode == 0
        assert until(lambda: "asked" in [each.what for each in read_log(log).records])
        monitor.send_signal(signal.SIGINT)
        monitor.communicate(timeout=60)
    finally:
        monitor.kill()
    records = read_log(log).records
    steady = [each.s for each in records]
    assert steady == sorted(steady)
    assert records[-1].at < records[0].at
    told = " ".join(ran("monitor", "--summary", "--log", str(log)).stdout.split())
    assert "clock was set back by" in told


# -- disks -----------------------------------------------------------------------------------------


@needs_mounts
@pytest.mark.parametrize("trouble", ["full", "read-only"])
def test_on_such_a_disk_commands_reach_the_board_and_files_stay_whole(
    trouble: str, body: ServedTable, tmp_path: Path
) -> None:
    """Home, runtime folder and working folder are all on it."""
    beside, disk = tmp_path / "beside", tmp_path / "disk"
    beside.mkdir()
    disk.mkdir()
    (beside / "heron.cues").write_text(EVERYTHING)
    (beside / "heron.html").write_text("an older page")
    script = f"""
export HOME={disk} XDG_RUNTIME_DIR={disk}
port={body.server.url}
say() {{ echo "== $1 $?"; }}
bellcrank status --port $port; say status
bellcrank limp --port $port; say limp
bellcrank flash {disk}/heron.cues --board body --port $port; say flash
bellcrank flash {disk}/heron.cues --board body --port virtual; say virtual
bellcrank preview {disk}/heron.cues --out {disk}/heron.html; say preview
bellcrank compile {disk}/heron.cues --out {disk}/tables; say compile
bellcrank calibrate {disk}/heron.cues neck "1 ms at -40 deg, 2 ms at 41 deg" --write; say calibrate
bellcrank monitor --port $port --log {disk}/evening.log --for "1 s"; say monitor
echo "== older $(cat {disk}/heron.html)"
cmp {beside}/heron.cues {disk}/heron.cues; say text
ls -A {disk}
"""
    done = on_a_disk(disk, trouble, script)
    assert "Traceback" not in done.stderr, done.stderr
    assert "mistake in bellcrank" not in done.stderr, done.stderr
    ends = dict(
        line.split(" ", 2)[1:] for line in done.stdout.splitlines() if line.startswith("== ")
    )
    for name in ("status", "limp", "flash", "virtual"):
        assert ends[name] == "0", (name, done.stdout, done.stderr)
    for name in ("preview", "compile", "calibrate", "monitor"):
        assert ends[name] == "2", (name, done.stdout, done.stderr)
    assert ends["older"] == "an older page"
    assert ends["text"] == "0"
    why = "no space left" if trouble == "full" else "read-only file system"
    assert why in done.stderr.lower()
    assert body.mode in (ReportedMode.STARTING, ReportedMode.READY)  # of the show that was flashed


# -- people ----------------------------------------------------------------------------------------


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0 or shutil.which("setpriv") is None,
    reason="NO SECOND USER: only root can be another one",
)
def test_a_second_user_is_told_that_the_port_is_taken_and_may_only_stop() -> None:
    """Here is nothing to stop: the board is blank. `test_neighbours.py` stops what moves."""
    from firmware_gen.board.virtual import Server, VirtualBoard

    with Server(VirtualBoard(), pseudo_terminal=True) as server:
        os.chmod(server.url, 0o666)
        assert ran("status", "--port", server.url).returncode == 0
        first = owner_pid()
        for words, why in (
            (("status",), "(port-busy)"),
            (("limp",), "it has no show"),
            (("stop",), "it has no show"),
        ):
            command = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
            command += [sys.executable, "-m", "seqlang", *words, "--port", server.url]
            whole = {**os.environ, "XDG_RUNTIME_DIR": "/nonexistent", "HOME": "/nonexistent"}
            done = subprocess.run(
                command, capture_output=True, text=True, timeout=60, cwd="/", env=whole
            )
            assert done.returncode == 3, (words, done.stderr)
            assert why in " ".join(done.stderr.split())
            assert "Traceback" not in done.stderr
        assert ran("status", "--port", server.url).returncode == 0
        assert owner_pid() == first


@posix_only
def test_a_board_that_is_plugged_into_a_second_laptop_lets_go_and_obeys_that_one(
    body: ServedTable, tmp_path: Path
) -> None:
    """Two runtime folders stand for two laptops: neither knows of the other's processes."""
    with ExitStack() as stack:
        number = int(body.server.url.rpartition(":")[2])
        cable = stack.enter_context(closing(Cable(number, laptops=2)))
        places = []
        for laptop in range(2):
            folder = tmp_path / f"laptop{laptop}"
            folder.mkdir(mode=0o700)
            places.append({"XDG_RUNTIME_DIR": str(folder)})
        cable.plug_into(0)
        environment = {**os.environ, **places[0]}
        port = ("--port", cable.port(0))
        holding = started("trigger", "beat", *port, "--held", "60 s", environment=environment)
        stack.callback(holding.communicate)
        stack.callback(holding.kill)
        assert until(lambda: body.is_down(HELD))
        second = ran("limp", "--port", cable.port(1), **places[1])
        assert second.returncode == 3  # it does not have the board yet
        cable.plug_into(1)
        words = holding.communicate(timeout=60)[0]
        assert holding.returncode == 3
        assert "(port-lost)" in words
        assert until(lambda: not body.is_down(HELD))  # by itself, a second later
        assert ran("status", "--port", cable.port(1), **places[1]).returncode == 0
        assert ran("limp", "--port", cable.port(1), **places[1]).returncode == 0
        assert until(lambda: body.mode == ReportedMode.LIMP)
        late = ran("standby", *port, **places[0])
        assert late.returncode == 3  # the first one cannot wake it
        assert body.mode == ReportedMode.LIMP
        for laptop in places:
            pid = _owner_in(laptop["XDG_RUNTIME_DIR"])
            if pid is not None:
                stack.callback(os.kill, pid, signal.SIGKILL)


def _owner_in(folder: str) -> int | None:
    from firmware_gen.link.owner import meeting

    return meeting.process_of_owner(meeting.MeetingPlace(Path(folder) / "bellcrank"))


# -- the venue's network ---------------------------------------------------------------------------


@needs_browser
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs a second loopback address")
@pytest.mark.parametrize("seed", range(2))
def test_over_a_network_that_loses_half_its_packets_stop_arrives_and_nothing_stays_held(
    seed: int,
) -> None:
    """The page comes again by itself whenever it is cut off. A helper presses until it is done."""
    with (
        phone_rig() as rig,
        losing_network(rig.number, 0.5, seed),
        chromium() as browser,
        PhoneByHand(rig) as near,
    ):
        near.come().ready()
        page = browser.new_page()
        page.set_default_timeout(120_000)
        page.goto(rig.paired_url.replace("127.0.0.1", LOSING))
        page.wait_for_selector("#boards li.ready")
        button = page.locator(f".press[aria-label^='button {HELD}:']")
        for _ in range(3):
            button.hover()
            page.mouse.down()
            page.wait_for_timeout(700)
            assert near.ask("up", button=31) == ""  # who is near is not held up
            page.mouse.up()
        assert until(lambda: not any(board.is_down(HELD) for board in rig.boards))
        presses = 0
        while not rig.are(ReportedMode.LIMP):
            presses += 1
            assert presses < 20
            page.locator("#stop").click()
            page.wait_for_timeout(3_000)
        assert page.locator("#stop").is_visible()
        assert until(lambda: near.boards()[0]["mode"] == "limp")  # boards are asked in turn
