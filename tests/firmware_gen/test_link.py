"""The host's end: greeting, retries, and an end within two seconds whatever is on the port."""

from __future__ import annotations

import pytest
from faulty_port import FAULTS, GOOD, BabblingPort, FaultyPort
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tables import NOD, OLD

from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.link.awaiting import TRIES, LinkRequest
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import (
    PROTOCOL_VERSION,
    REPLY,
    Hello,
    ReportedMode,
    RequestKind,
    Status,
)
from tests.unchecked import transfer_unchecked

LIMIT_S = 2.0


def ready_board() -> VirtualBoard:
    virtual = VirtualBoard(write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), OLD)
    virtual.advance(virtual.time_s + 1.0)
    assert virtual.board.mode == ReportedMode.READY
    return virtual


class StartCounter:
    """Counts how often the board's player is really told to start a cue."""

    def __init__(self, virtual: VirtualBoard) -> None:
        self.count = 0
        player = virtual.board.player
        assert player is not None
        inner = player.trigger

        def counted(tag: int) -> object:
            self.count += 1
            return inner(tag)

        player.trigger = counted  # type: ignore[method-assign]


class ResettingPort(LocalPort):
    """A board that opening the port has reset: deaf for a while, then from its start."""

    def __init__(self, virtual: VirtualBoard, deaf_s: float) -> None:
        super().__init__(virtual)
        self.started_s = virtual.time_s
        self._awake_s = self.started_s + deaf_s
        self._asleep = True

    def write(self, data: bytes) -> None:
        if self.now() < self._awake_s:
            return
        if self._asleep:
            self.virtual.restart()
            self._asleep = False
        super().write(data)


# -- greeting ----------------------------------------------------------------------------------


@pytest.mark.parametrize("deaf_s", [0.0, 0.3, 1.0, 1.5, 1.6])
def test_a_board_that_needs_up_to_1600_ms_to_start_is_reached(deaf_s: float) -> None:
    virtual = ready_board()
    port = ResettingPort(virtual, deaf_s)
    hello = HostLink(port).greet()
    assert hello.mode == ReportedMode.STARTING
    assert port.now() - port.started_s < LIMIT_S


def test_silence_ends_within_two_seconds_in_plain_words() -> None:
    port = BabblingPort(b"")
    with pytest.raises(LinkFailure, match="nobody answers on babbling") as failure:
        HostLink(port).greet()
    assert failure.value.reason == "no-answer"
    assert "250000 baud" in (failure.value.help or "")
    assert 1.6 < port.now() < LIMIT_S


@pytest.mark.parametrize(
    "babble",
    [
        b"temperature 21.5\r\n",
        b"\x55",
        b"\xff",
        b"\0",
        b"\x00\x03\x01\x02",
        b"\0" + bytes(range(1, 87)) + b"\0",
    ],
)
def test_garbage_for_ever_ends_within_two_seconds_in_plain_words(babble: bytes) -> None:
    port = BabblingPort(babble)
    with pytest.raises(LinkFailure, match="does not speak this link") as failure:
        HostLink(port).greet()
    assert failure.value.reason == "garbage"
    assert 1.0 <= port.now() < 1.2


def test_a_few_stray_bytes_are_told_from_silence() -> None:
    class Stray(BabblingPort):
        def read(self, timeout_s: float) -> bytes:
            stray = b"" if self._now else b"\x13"
            self._now += timeout_s
            return stray

    with pytest.raises(LinkFailure) as failure:
        HostLink(Stray(b"")).greet()
    assert failure.value.reason == "garbage"


def test_a_line_that_only_returns_what_is_sent_is_recognised() -> None:
    class Echo(BabblingPort):
        def read(self, timeout_s: float) -> bytes:
            self._now += 0.001
            sent, self.sent = self.sent, b""
            return sent

    with pytest.raises(LinkFailure, match="only returns what is sent to it") as failure:
        HostLink(Echo(b"")).greet()
    assert failure.value.reason == "echo"


@pytest.mark.parametrize(
    ("reply", "words"),
    [
        (bytes([0, 2]) + bytes(15), "the board speaks version 2 of the link"),
        (bytes([0, 2]), "the board speaks version 2 of the link"),
        (bytes([0, 0]) + bytes(40), "the board speaks version 0 of the link"),
        (bytes([0, PROTOCOL_VERSION, 1]), "cannot be read"),
        (bytes([Status.UNKNOWN_KIND]), "cannot be read"),
    ],
)
def test_another_protocol_version_is_told(reply: bytes, words: str) -> None:
    class Other(BabblingPort):
        def read(self, timeout_s: float) -> bytes:
            self._now += 0.001
            (hello,) = Receiver().feed(self.sent)
            return encode(LinkFrame(1, RequestKind.HELLO | REPLY, hello.seq, reply))

    with pytest.raises(LinkFailure, match=words) as failure:
        HostLink(Other(b"")).greet()
    assert failure.value.reason == "wrong-version"
    assert failure.value.help


@pytest.mark.parametrize("cut", range(1, 14))
def test_a_board_in_the_middle_of_a_frame_hears_the_next_host(cut: int) -> None:
    virtual = ready_board()
    left_over = encode(LinkFrame(0, RequestKind.TRIGGER, 3, b"\x01\x01\x01\x01\x01"))
    virtual.receive(left_over[:cut])
    port = LocalPort(virtual)
    assert HostLink(port).greet().mode == ReportedMode.READY
    assert port.now() < virtual.time_s + 0.1


def test_what_an_earlier_host_left_in_the_line_is_not_taken_for_an_answer() -> None:
    virtual = ready_board()
    for seq in range(5):
        virtual.receive(encode(LinkFrame(0, RequestKind.STATUS, seq)))
    link = HostLink(LocalPort(virtual))
    assert link.greet().mode == ReportedMode.READY
    assert link.state().mode == ReportedMode.READY


# -- retries -----------------------------------------------------------------------------------


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("way", ["request", "reply"])
def test_a_faulty_frame_does_not_start_a_cue_twice_nor_not_at_all(fault: str, way: str) -> None:
    virtual = ready_board()
    starts = StartCounter(virtual)
    link = HostLink(
        FaultyPort(LocalPort(virtual), [GOOD, GOOD] + [GOOD] * (way == "reply") + [fault])
    )
    link.greet()
    assert link.trigger(NOD).done
    assert starts.count == 1


@settings(max_examples=200)
@given(st.lists(st.sampled_from((GOOD, GOOD, *FAULTS)), max_size=60))
def test_whatever_happens_to_frames_a_cue_starts_once_for_each_trigger_that_is_confirmed(
    faults: list[str],
) -> None:
    virtual = ready_board()
    starts = StartCounter(virtual)
    link = HostLink(FaultyPort(LocalPort(virtual), faults))
    confirmed = failed = 0
    for _ in range(6):
        try:
            if not link.address:
                link.greet()
            confirmed += link.trigger(NOD).done
            link.state()
        except LinkFailure:
            failed += 1
            link = HostLink(link.port)
    assert confirmed <= starts.count <= confirmed + failed


def test_a_lost_frame_is_sent_again_until_five_tries_are_over() -> None:
    virtual = ready_board()
    port = FaultyPort(LocalPort(virtual), [GOOD, GOOD] + ["drop"] * (TRIES - 1))
    link = HostLink(port)
    link.greet()
    started = port.now()
    assert link.state().mode == ReportedMode.READY
    assert link.traffic.repeats == TRIES - 1
    assert 1.0 < port.now() - started < 1.2


def test_a_board_that_dies_is_told_within_two_seconds() -> None:
    virtual = ready_board()
    port = FaultyPort(LocalPort(virtual), [GOOD, GOOD] + ["drop"] * 99)
    link = HostLink(port)
    link.greet()
    started = port.now()
    with pytest.raises(LinkFailure, match="stopped answering") as failure:
        link.trigger(NOD)
    assert failure.value.reason == "no-answer"
    assert port.now() - started < LIMIT_S


def test_a_babbling_board_is_given_up_in_the_middle_too() -> None:
    virtual = ready_board()

    class Gone(LocalPort):
        def read(self, timeout_s: float) -> bytes:
            if gone:
                self.virtual.advance(self.now() + 0.001)
                return b"babble"
            return super().read(timeout_s)

    gone = False
    port = Gone(virtual)
    link = HostLink(port)
    link.greet()
    gone = True
    started = port.now()
    with pytest.raises(LinkFailure, match="stopped answering"):
        link.state()
    assert port.now() - started < LIMIT_S


def test_a_board_reset_in_the_middle_is_told_and_its_cue_is_not_started_again() -> None:
    virtual = ready_board()
    link = HostLink(LocalPort(virtual))
    link.greet()
    virtual.restart()
    virtual.advance(virtual.time_s + 1.0)
    starts = StartCounter(virtual)
    with pytest.raises(LinkFailure, match="restarted") as failure:
        link.trigger(NOD)
    assert failure.value.reason == "board-reset"
    assert starts.count == 0


def test_a_second_host_is_told_that_another_program_speaks_to_the_board() -> None:
    virtual = ready_board()
    first, second = HostLink(LocalPort(virtual)), HostLink(LocalPort(virtual))
    first.greet()
    for _ in range(3):
        first.button(9, False)
    second.greet()
    assert second.trigger(NOD).done
    virtual.advance(virtual.time_s + 0.1)
    starts = StartCounter(virtual)
    for _ in range(4):
        first.button(9, False)
    second_again = second.trigger(NOD)
    assert second_again.status == Status.OUT_OF_ORDER
    assert starts.count == 0


def test_replies_come_in_the_order_of_the_requests_whatever_order_they_arrive_in() -> None:
    virtual = ready_board()
    link = HostLink(FaultyPort(LocalPort(virtual), [GOOD, GOOD, GOOD, GOOD, "late"]))
    link.greet()
    offsets = (0, 8, 16, 24)
    requests = [LinkRequest(RequestKind.READ, bytes([offset, 0, 8])) for offset in offsets]
    replies = link.exchange(requests, window=4)
    assert [reply.rest for reply in replies] == [OLD[offset : offset + 8] for offset in offsets]


def test_a_slow_line_is_given_the_time_its_bytes_take() -> None:
    """At 1200 baud a byte takes 8.3 ms: a full frame and its answer need 1.4 s."""
    virtual = ready_board()

    class Slow(LocalPort):
        def __init__(self) -> None:
            super().__init__(virtual, baud=1200)
            self._due: list[tuple[float, bytes]] = []

        def write(self, data: bytes) -> None:
            super().write(data)
            answer = self.virtual.board.take_output()
            self._due.append((self.now() + (len(data) + len(answer)) * 10 / 1200, answer))

        def read(self, timeout_s: float) -> bytes:
            self.virtual.advance(self.now() + min(timeout_s, 0.01))
            ready = b"".join(data for due, data in self._due if due <= self.now())
            self._due = [(due, data) for due, data in self._due if due > self.now()]
            return ready

    link = HostLink(Slow())
    link.greet()
    assert link.table() == OLD
    assert link.traffic.repeats == 0


# -- a board that says anything ----------------------------------------------------------------


class AnyBoard(BabblingPort):
    """Answers every request at once with whatever payload it is given next."""

    def __init__(self, payloads: list[bytes]) -> None:
        super().__init__(b"")
        self._payloads = iter(payloads)
        self._receiver = Receiver()
        self._hello = True

    def read(self, timeout_s: float) -> bytes:
        requests = self._receiver.feed(self.sent)
        self.sent = b""
        if not requests:
            self._now += timeout_s
            return b""
        self._now += 0.001
        return b"".join(self._answer(request) for request in requests)

    def _answer(self, request: LinkFrame) -> bytes:
        payload = next(self._payloads, b"\0" * 30)
        if request.kind == RequestKind.HELLO and self._hello:
            self._hello = False
            payload = b"\0" + Hello(1, 1, 0, 1, 2, 2, 500, 0, 0, 0, 32, 2).pack()
        return encode(LinkFrame(1, request.kind | REPLY, request.seq, payload))


ANY_REPLY = st.one_of(
    st.binary(max_size=80),
    st.builds(
        lambda status, rest: bytes([status]) + rest, st.integers(0, 12), st.binary(max_size=79)
    ),
    st.just(b"\0" + b"\xbc\x01\xff\xff" + bytes(60)),
)


@settings(max_examples=200)
@given(st.lists(ANY_REPLY, max_size=40), st.sampled_from(["transfer", "table", "state", "trigger"]))
def test_a_board_that_answers_anything_ends_in_a_result_or_in_words(
    payloads: list[bytes], deed: str
) -> None:
    port = AnyBoard(payloads)
    link = HostLink(port)
    try:
        link.greet()
        if deed == "transfer":
            transfer_unchecked(link, OLD)
        elif deed == "table":
            assert len(link.table()) <= 0x10000 + 64
        elif deed == "state":
            link.state()
        else:
            link.trigger(NOD)
    except LinkFailure as failure:
        assert str(failure)  # noqa: PT017
    assert port.now() < 60
