"""Ports: what fails is told apart, with the remedy that is usual on the system."""

from __future__ import annotations

import errno
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from serial import SerialException

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.ports import explain, find_port, only_candidate, open_port

posix_only = pytest.mark.skipif(os.name != "posix", reason="needs pseudo-terminals")


def failure_of(name: str, baud: int = 250_000) -> LinkFailure:
    with pytest.raises(LinkFailure) as failure:
        open_port(name, baud)
    return failure.value


# -- really opened -----------------------------------------------------------------------------


def test_a_plain_file_is_no_port_and_stays_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "show.cues"
    path.write_text("show\n")
    failure = failure_of(str(path))
    assert failure.reason == "not-a-port"
    assert "it is a plain file" in failure.message
    assert path.read_text() == "show\n"


def test_a_folder_is_no_port(tmp_path: Path) -> None:
    assert failure_of(str(tmp_path)).reason == "not-a-port"


@posix_only
def test_a_pipe_is_no_port_and_does_not_block(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    assert failure_of(str(path)).reason == "not-a-port"


@posix_only
def test_a_device_that_is_no_serial_port_is_told() -> None:
    assert failure_of("/dev/null").reason == "not-a-port"


@pytest.mark.parametrize(
    "name", ["/dev/no-such-port", "no/such/port", "COM99", "", "nonsense://x", "socket://x:y", "\0"]
)
def test_a_port_that_is_not_there_is_told(name: str) -> None:
    failure = failure_of(name)
    assert failure.reason == "no-port"
    assert failure.help


def test_a_socket_that_nobody_listens_at_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
    failure = failure_of(f"socket://127.0.0.1:{number}")
    assert (failure.reason, "nothing listens" in failure.message) == ("no-port", True)


@pytest.mark.parametrize("end", [":", "x", "", "99999"])
def test_a_socket_without_a_whole_number_is_no_name_of_a_port(end: str) -> None:
    """As it is copied with a colon behind it, or without all of its digits."""
    failure = failure_of("socket://127.0.0.1" + (f":4000{end}" if end else ""))
    assert failure.reason == "no-port"
    assert "is not the name of a port" in failure.message
    assert "socket://127.0.0.1:4000" in failure.help


@posix_only
def test_a_port_that_another_program_holds_is_busy() -> None:
    import pty

    board_end, host_end = pty.openpty()
    name = os.ttyname(host_end)
    holder = open_port(name)
    try:
        failure = failure_of(name)
        assert failure.reason == "port-busy"
        assert "in use by another program" in failure.message
    finally:
        holder.close()
        os.close(board_end)
        os.close(host_end)


@posix_only
@pytest.mark.skipif(os.name == "posix" and os.geteuid() == 0, reason="root may open everything")
def test_a_port_without_permission_is_told(tmp_path: Path) -> None:
    import pty

    board_end, host_end = pty.openpty()
    os.chmod(os.ttyname(host_end), 0)
    try:
        assert failure_of(os.ttyname(host_end)).reason == "no-permission"
    finally:
        os.close(board_end)
        os.close(host_end)


@posix_only
def test_a_port_whose_other_end_goes_away_is_told() -> None:
    import pty

    board_end, host_end = pty.openpty()
    port = open_port(os.ttyname(host_end))
    os.close(board_end)
    os.close(host_end)
    with pytest.raises(LinkFailure) as failure:
        HostLink(port).greet()
    assert failure.value.reason == "port-lost"
    port.close()


@posix_only
def test_a_port_is_left_so_that_the_next_opening_does_not_reset_the_board() -> None:
    import pty
    import termios

    board_end, host_end = pty.openpty()
    port = open_port(os.ttyname(host_end))
    port.close()
    assert not termios.tcgetattr(host_end)[2] & termios.HUPCL
    os.close(board_end)
    os.close(host_end)


@pytest.fixture
def closing_server() -> Iterator[str]:
    """Accepts a host and hangs up at once, as a board does that already talks to another."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def hang_up() -> None:
            server.accept()[0].close()

        thread = threading.Thread(target=hang_up)
        thread.start()
        yield f"socket://127.0.0.1:{server.getsockname()[1]}"
        thread.join()


def test_a_board_that_talks_to_another_host_is_busy(closing_server: str) -> None:
    port = open_port(closing_server)
    with pytest.raises(LinkFailure, match="another program talks to this board") as failure:
        HostLink(port).greet()
    assert failure.value.reason == "port-busy"
    port.close()


# -- what cannot be brought about here: the errors as pyserial raises them -----------------------


def denied(code: int) -> SerialException:
    return SerialException(code, f"could not open port P: [Errno {code}] {os.strerror(code)}: 'P'")


WINDOWS_ABSENT = SerialException(
    "could not open port 'COM7': FileNotFoundError(2, 'The system cannot find the file "
    "specified.', None, 2)"
)
WINDOWS_BUSY = SerialException(
    "could not open port 'COM7': PermissionError(13, 'Access is denied.', None, 5)"
)


@pytest.mark.parametrize(
    ("error", "platform", "reason", "words"),
    [
        (denied(errno.EACCES), "linux", "no-permission", "usermod -a -G"),
        (denied(errno.EPERM), "darwin", "no-permission", "usermod -a -G"),
        (denied(errno.EBUSY), "linux", "port-busy", "close the program that has it open"),
        (denied(errno.EBUSY), "darwin", "port-busy", "close the program that has it open"),
        (denied(errno.EAGAIN), "linux", "port-busy", "close the program that has it open"),
        (denied(errno.ENOENT), "linux", "no-port", "check plug and cable"),
        (denied(errno.ENODEV), "linux", "no-port", "check plug and cable"),
        (denied(errno.EIO), "linux", "no-port", "check plug and cable"),
        (WINDOWS_BUSY, "win32", "port-busy", "close the program that has it open"),
        (WINDOWS_ABSENT, "win32", "no-port", "check plug and cable"),
        (ValueError("Failed to set custom baud rate (250000): x"), "darwin", "rate-refused", "--b"),
        (
            SerialException("Could not configure port: (25, 'Inappropriate ioctl for device')"),
            "linux",
            "not-a-port",
            "wants the name of a serial port",
        ),
    ],
)
def test_errors_of_each_system_get_their_reason_and_remedy(
    error: Exception, platform: str, reason: str, words: str
) -> None:
    failure = explain(error, "P", 250_000, platform)
    assert failure.reason == reason
    assert words in (failure.help or "")
    assert "P" in failure.message or "COM7" in failure.message


# -- finding -----------------------------------------------------------------------------------


def test_the_only_port_is_taken() -> None:
    assert only_candidate([("/dev/ttyUSB0", "USB serial")]) == "/dev/ttyUSB0"


def test_no_port_names_the_virtual_board() -> None:
    with pytest.raises(LinkFailure, match="no USB serial port found") as failure:
        only_candidate([])
    assert failure.value.reason == "no-port"
    assert "--port virtual" in (failure.value.help or "")


def test_several_ports_are_listed_for_the_user_to_choose() -> None:
    with pytest.raises(LinkFailure) as failure:
        only_candidate([("COM4", "USB serial"), ("COM3", "")])
    assert failure.value.reason == "several-ports"
    assert "COM3, COM4 (USB serial)" in failure.value.message
    assert "--port COM3" in (failure.value.help or "")


def test_looking_for_ports_finds_one_or_says_why_not() -> None:
    try:
        assert find_port()
    except LinkFailure as failure:
        assert failure.reason in ("no-port", "several-ports")  # noqa: PT017


# -- other systems -----------------------------------------------------------------------------


def test_nothing_posix_only_is_imported_on_the_way_to_a_port() -> None:
    """A stand-in system without these modules still imports and uses all of the host's side."""
    program = """
import sys
for name in ("termios", "fcntl", "tty", "pty", "grp", "pwd", "resource"):
    sys.modules[name] = None
import firmware_gen.link.host, firmware_gen.link.transfer, firmware_gen.board.virtual
from firmware_gen.link.ports import explain
from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
print(firmware_gen.link.host.HostLink(LocalPort(VirtualBoard())).greet().protocol)
print(explain(PermissionError(13, "x"), "/", 1, "linux").help)
with Server(VirtualBoard()) as server:
    print(server.url)
try:
    Server(VirtualBoard(), pseudo_terminal=True)
except firmware_gen.link.failures.LinkFailure as failure:
    print(failure)
"""
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0] == "1"
    assert "-G dialout" in lines[1]
    assert lines[2].startswith("socket://127.0.0.1:")
    assert lines[3] == "this system has no pseudo-terminals"
