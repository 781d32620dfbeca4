"""A socket that cannot be had is told in words, with what would pass."""

from __future__ import annotations

import errno
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from seqlang.command import WrongUse, _listening
from seqlang.command._listening import must_be_own, no_socket

SHOW = Path(__file__).parents[2] / "shows" / "first" / "first.cues"


@pytest.mark.parametrize(
    ("number", "at", "says"),
    [
        (errno.EADDRINUSE, 4777, "another program listens at number 4777 already"),
        (errno.EACCES, 80, "numbers below 1024 are the system's own"),
        (errno.EACCES, 4777, "this user may not listen at number 4777; leave out"),
        (errno.EADDRNOTAVAIL, 0, "does not have the address 10.9.9.9; it has 192.168.7.1"),
        (errno.EMFILE, 0, "nobody can listen at 10.9.9.9, number 0 (too many"),
    ],
)
def test_each_reason_has_words_and_a_way_out(
    number: int, at: int, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_listening, "own_addresses", lambda: ["192.168.7.1"])
    error = OSError(number, "Too many open files")  # what the system calls it is told last
    told = no_socket(error, "10.9.9.9", at).message
    assert says in told
    assert "attempting to bind" not in told


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("stage", "found `stage`; it has 192.168.7.1"),
        ("256.1.1.1", "found `256.1.1.1`; it has 192.168.7.1"),
        ("10.9.9.9", "does not have the address 10.9.9.9; it has 192.168.7.1"),
        ("224.0.0.1", "does not have the address 224.0.0.1"),
        ("255.255.255.255", "does not have the address 255.255.255.255"),
        ("0.0.0.0", "0.0.0.0 is all of them: use --open"),
    ],
)
def test_an_address_that_this_computer_has_not_is_told_with_those_that_it_has(
    address: str, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_listening, "own_addresses", lambda: ["192.168.7.1"])
    with pytest.raises(WrongUse) as told:
        must_be_own(address)
    assert says in told.value.message
    must_be_own("192.168.7.1")
    must_be_own("127.0.0.1")


def test_a_computer_in_no_network_is_told_that(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_listening, "own_addresses", list)
    with pytest.raises(WrongUse) as told:
        must_be_own("10.9.9.9")
    assert "it is in no network" in told.value.message


@pytest.mark.parametrize("words", [("remote",), ("preview", "--serve")])
def test_with_a_number_that_is_taken_the_command_says_so(words: tuple[str, ...]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        number = taken.getsockname()[1]
        command = [sys.executable, "-m", "seqlang", *words, str(SHOW), "--number", str(number)]
        done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 2
    told = " ".join(done.stderr.split())
    assert f"another program listens at number {number} already; leave out --number" in told
    assert "errno" not in told.lower()


def test_open_and_an_address_exclude_one_another() -> None:
    words = ["remote", str(SHOW), "--open", "--address", "127.0.0.1"]
    done = subprocess.run([sys.executable, "-m", "seqlang", *words], capture_output=True, text=True)
    assert done.returncode == 2
    assert "give one of them" in done.stderr
