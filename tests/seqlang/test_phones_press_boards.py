"""Phones on a socket, virtual boards in real time behind it: pressed, held, lost and stopped."""

from __future__ import annotations

import http.client
import json
import os
import select
import signal
import socket
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from websockets.exceptions import ConnectionClosed, InvalidStatus

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.owner.client import connect
from firmware_gen.link.protocol import ReportedMode, RequestKind
from seqlang.phone import serving
from seqlang.phone.pairing import TRIES
from seqlang.phone.said import MAX_BYTES
from seqlang.phone.serving import is_own_name
from tests.seqlang.phone_rig import (
    CODE,
    HELD,
    PhoneByHand,
    PhoneRig,
    ServedTable,
    own_place,
    owner_pid,
    phone_rig,
)
from tests.unchecked import transfer_unchecked
from tests.waiting import SOON_S, until

posix_only = pytest.mark.skipif(os.name != "posix", reason="needs signals")


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    with own_place(tmp_path, monkeypatch):
        yield


@pytest.fixture
def rig(place: None) -> Iterator[PhoneRig]:
    with phone_rig() as found:
        yield found


@pytest.fixture
def phone(rig: PhoneRig) -> Iterator[PhoneByHand]:
    with PhoneByHand(rig) as found:
        yield found.come().ready()


# -- buttons ---------------------------------------------------------------------------------------


def test_a_press_reaches_the_boards_that_do_something_with_the_button(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    body, bill = rig.boards
    assert phone.ask("down", button=HELD) == ""
    assert until(lambda: body.is_down(HELD))
    assert phone.ask("up", button=HELD) == ""
    assert until(lambda: not body.is_down(HELD))
    assert body.presses(RequestKind.BUTTON) == [bytes([HELD, 1]), bytes([HELD, 0])]
    assert bill.presses(RequestKind.BUTTON) == []
    assert until(lambda: any("beat" in row["plays"] for row in phone.boards()))


def test_a_button_of_both_boards_starts_its_cue_on_both(rig: PhoneRig, phone: PhoneByHand) -> None:
    assert phone.ask("down", button=1) == ""
    for board in rig.boards:
        assert until(lambda board=board: board.is_down(1))  # type: ignore[misc]
    assert phone.ask("up", button=1) == ""


def test_a_button_that_the_show_has_not_is_told(phone: PhoneByHand) -> None:
    assert phone.ask("down", button=30) == "no board of this show has that button"


def test_while_a_phone_says_that_it_is_there_its_button_stays_down(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    body = rig.boards[0]
    assert phone.ask("down", button=HELD) == ""
    then = body.virtual.time_s
    assert until(lambda: body.virtual.time_s > then + 2.5)
    assert body.is_down(HELD)
    assert not any("let_go" in one for one in phone.told)


def test_a_phone_that_falls_silent_lets_go_and_the_show_does_what_it_says(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    body = rig.boards[0]
    assert phone.ask("down", button=HELD) == ""
    phone.beats = False
    silent_at = body.virtual.time_s + 0.2  # a beat may have been on its way
    assert until(lambda: not body.is_down(HELD))
    (let_go_at, _, _) = next(one for one in reversed(body.noted.asked_at) if one[2] == b"\x02\0")
    assert let_go_at - silent_at < 1.0
    assert until(lambda: any(one.get("let_go") == [HELD] for one in phone.told))
    # the heron lets everything hang when its remote is silent for two seconds
    sag = [cue.name for cue in rig.show.boards[0].cues].index("sag")
    player = body.virtual.board.player
    assert player
    assert until(lambda: player.running_cues >> sag & 1)


def test_a_phone_that_goes_lets_go_at_once(rig: PhoneRig, phone: PhoneByHand) -> None:
    assert phone.ask("down", button=HELD) == ""
    phone.close()
    assert until(lambda: not rig.boards[0].is_down(HELD))


def test_a_button_that_two_phones_hold_stays_down_until_both_let_go(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    body = rig.boards[0]
    with PhoneByHand(rig) as other:
        other.come().ready()
        assert phone.ask("down", button=HELD) == ""
        assert other.ask("down", button=HELD) == ""
        assert phone.ask("up", button=HELD) == ""
        assert phone.ask("down", button=1) == ""
        assert until(lambda: body.is_down(1))
        assert body.is_down(HELD)
        other.close()
        assert until(lambda: not body.is_down(HELD))


# -- stop, limp, re-arm ----------------------------------------------------------------------------


def test_stop_reaches_every_board_and_counts_once_however_often_it_is_sent(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    assert phone.ask("stop", press="one") == ""
    assert {one["taken"] for one in phone.told if "taken" in one} == {"body", "bill"}
    assert phone.ask("stop", press="one") == ""
    assert all(len(board.presses(RequestKind.STOP)) == 1 for board in rig.boards)
    assert until(lambda: rig.are(ReportedMode.LIMP))


def test_a_stop_that_did_not_arrive_everywhere_does_not_pass_for_one_when_it_is_said_again(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    rig.boards[0].server.stop()
    assert "not confirmed on `body`" in phone.ask("stop", press="one")
    assert "not confirmed on `body`" in phone.ask("stop", press="one")
    with PhoneByHand(rig) as other:  # it lost its connection meanwhile
        assert "not confirmed on `body`" in other.come().ask("stop", press="one")
    assert len(rig.boards[1].presses(RequestKind.STOP)) == 1


def test_limp_ends_the_pulses_at_once(rig: PhoneRig, phone: PhoneByHand) -> None:
    assert phone.ask("limp", press="a") == ""
    assert until(lambda: rig.are(ReportedMode.LIMP))
    assert all(board.presses(RequestKind.STOP) == [] for board in rig.boards)
    assert "not ready" in phone.ask("down", button=HELD)


def limp(rig: PhoneRig, phone: PhoneByHand) -> None:
    assert phone.ask("limp", press="to begin with") == ""
    assert until(lambda: [row["mode"] for row in phone.boards()] == ["limp", "limp"])


def later(rig: PhoneRig, seconds: float) -> None:
    then = rig.boards[0].virtual.time_s
    assert until(lambda: rig.boards[0].virtual.time_s > then + seconds)


def test_re_arm_takes_two_steps_a_second_apart(rig: PhoneRig, phone: PhoneByHand) -> None:
    limp(rig, phone)
    assert "two steps" in phone.ask("rearm")
    assert phone.ask("ready-to-rearm") == ""
    assert "two steps" in phone.ask("rearm")
    assert "two steps" in phone.ask("rearm")
    assert rig.are(ReportedMode.LIMP)
    assert phone.ask("ready-to-rearm") == ""
    later(rig, 1.1)
    assert phone.ask("rearm") == ""
    assert until(lambda: not any(board.mode == ReportedMode.LIMP for board in rig.boards))


def test_a_stop_of_anybody_ends_a_re_arm_that_is_under_way(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    limp(rig, phone)
    with PhoneByHand(rig) as other:
        other.come()
        assert phone.ask("ready-to-rearm") == ""
        later(rig, 1.1)
        assert other.ask("stop", press="no") == ""
        assert phone.ask("rearm") == "somebody pressed stop meanwhile"
    assert rig.are(ReportedMode.LIMP)


def test_a_stop_in_mid_transfer_arrives_and_the_old_show_stays(place: None) -> None:
    with phone_rig(write_s=0.02) as rig, PhoneByHand(rig) as phone:
        phone.come().ready()
        body = rig.boards[0]
        ended: list[str] = []

        def put() -> None:
            with connect("flash") as owner:
                link = owner.board(body.server.url)
                link.greet()
                try:
                    transfer_unchecked(link, rig.show.boards[0].data)  # type: ignore[arg-type]
                except LinkFailure as failure:
                    ended.append(failure.reason)

        cells = body.virtual.eeprom.cells
        first = 4 if body.virtual.board.slots.current else 504
        cells[first : first + 480] = os.urandom(480)  # so that much is stored
        writes = body.virtual.eeprom.writes
        putting = threading.Thread(target=put)
        putting.start()
        assert until(lambda: body.virtual.eeprom.writes > writes + 20)
        assert phone.ask("limp", press="mid") == ""
        putting.join()
        assert ended == ["overtaken"]
        assert rig.are(ReportedMode.LIMP)


# -- what goes wrong -------------------------------------------------------------------------------


def test_a_board_that_is_unplugged_is_told_and_the_other_goes_on(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    body, bill = rig.boards
    body.server.stop()
    assert until(lambda: phone.boards()[0]["mode"] == "away")
    assert "switch" in phone.boards()[0]["to_do"]
    assert phone.ask("down", button=HELD) == "board `body` does not answer"
    assert "body" in phone.ask("down", button=1)
    assert until(lambda: bill.is_down(1))
    assert phone.ask("stop", press="s") == "stop is not confirmed on `body`"
    assert until(lambda: bill.mode in (ReportedMode.STOPPING, ReportedMode.LIMP))


def test_a_board_that_comes_back_is_there_again(rig: PhoneRig, phone: PhoneByHand) -> None:
    bill = rig.boards[1]
    number = int(bill.server.url.rpartition(":")[2])
    bill.server.stop()
    assert until(lambda: phone.boards()[1]["mode"] == "away")
    again = ServedTable(rig.show.boards[1], number=number)
    with again.server:
        assert until(lambda: phone.boards()[1]["mode"] == "ready")
        assert until(lambda: phone.ask("down", button=4) == "")
        assert until(lambda: again.is_down(4))


def test_a_board_with_another_show_is_named_and_not_pressed(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    bill = rig.boards[1]
    number = int(bill.server.url.rpartition(":")[2])
    bill.server.stop()
    assert until(lambda: phone.boards()[1]["mode"] == "away")
    blank = ServedTable(None, number=number)
    with blank.server:
        assert until(lambda: any(one.get("notes") for one in phone.told))
        notes = next(one["notes"] for one in reversed(phone.told) if one.get("notes"))
        assert notes == [
            f"a board without a show is on {blank.server.url}: somebody at the laptop flashes it"
        ]
        phone.ask("down", button=4)
        assert blank.presses(RequestKind.BUTTON) == []


def test_a_spare_that_gets_the_show_meanwhile_is_pressed_like_the_board_before(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    bill = rig.boards[1]
    number = int(bill.server.url.rpartition(":")[2])
    bill.server.stop()
    assert until(lambda: phone.boards()[1]["mode"] == "away")
    spare = ServedTable(None, number=number)
    with spare.server:
        assert until(lambda: any(one.get("notes") for one in phone.told))
        with connect("spare") as owner:
            link = owner.board(spare.server.url)
            link.greet()
            transfer_unchecked(link, rig.show.boards[1].data)  # type: ignore[arg-type]
        assert until(lambda: phone.boards()[1]["mode"] == "ready")
        assert until(lambda: phone.ask("down", button=4) == "")
        assert until(lambda: spare.is_down(4))


@posix_only
def test_when_the_owner_is_killed_buttons_go_up_and_presses_work_again(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    body = rig.boards[0]
    assert phone.ask("down", button=HELD) == ""
    pid = owner_pid()
    assert pid
    os.kill(pid, signal.SIGKILL)
    assert until(lambda: any(one.get("let_go") == [HELD] for one in phone.told))
    player = body.virtual.board.player
    assert player
    assert until(lambda: all(row["mode"] == "ready" for row in phone.boards()))
    assert until(lambda: phone.ask("down", button=HELD) == "")
    assert phone.ask("up", button=HELD) == ""
    assert until(lambda: not body.is_down(HELD))


@posix_only
def test_stop_works_at_once_after_the_owner_was_killed(rig: PhoneRig, phone: PhoneByHand) -> None:
    pid = owner_pid()
    assert pid
    os.kill(pid, signal.SIGKILL)
    assert phone.ask("stop", press="s") == ""
    assert until(lambda: rig.are(ReportedMode.LIMP))


def test_fifty_phones_press_and_one_of_them_stops(rig: PhoneRig) -> None:
    with ExitStack() as stack:
        crowd = [stack.enter_context(PhoneByHand(rig)).come() for _ in range(50)]
        crowd[-1].ready()
        done: list[str] = []

        def pressing(one: PhoneByHand) -> None:
            done.append(one.ready().ask("down", button=HELD))

        threads = [threading.Thread(target=pressing, args=(one,)) for one in crowd]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert done == [""] * 50
        assert rig.boards[0].is_down(HELD)
        assert crowd[7].ask("stop", press="s") == ""
        assert until(lambda: rig.are(ReportedMode.LIMP))


def test_a_phone_that_never_reads_delays_nobody_and_is_let_go_of(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    with closing(stuck(rig)) as deaf:
        assert until(lambda: any(words.startswith("phone 2 ") for words in rig.said))
        for n in range(40):
            assert phone.ask("down", button=HELD) == "", n
            assert phone.ask("up", button=HELD) == ""
        assert until(lambda: "phone 2 has gone" in rig.said)
        assert phone.ask("stop", press="s") == ""
        assert deaf.fileno() >= 0


def test_a_phone_that_says_too_much_at_a_time_is_let_go_of(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    with closing(stuck(rig, pause_s=0.0)):
        assert until(lambda: "phone 2 has gone" in rig.said)
    assert phone.ask("down", button=HELD) == ""


@pytest.mark.skipif(not hasattr(select, "poll"), reason="the system has no `poll`")
def test_a_phone_presses_though_strangers_have_the_first_thousand_sockets(
    rig: PhoneRig, phone: PhoneByHand
) -> None:
    import resource

    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    if before[1] != resource.RLIM_INFINITY and before[1] < 2048:
        pytest.skip("this system opens too few files")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(2048, before[0]), before[1]))
    taken = [os.dup(0) for _ in range(1100)]
    try:
        with PhoneByHand(rig) as late:
            assert late.come().ready().ask("down", button=HELD) == ""
            assert rig.boards[0].is_down(HELD)
    finally:
        for number in taken:
            os.close(number)
        resource.setrlimit(resource.RLIMIT_NOFILE, before)


def test_however_many_sockets_of_strangers_say_nothing_a_phone_comes_in(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Some have not even asked for anything, some have a socket of the page's. None goes."""
    monkeypatch.setattr(serving, "STRANGER_S", 600.0)
    with ExitStack() as open_ones:
        rig = open_ones.enter_context(phone_rig())
        for _ in range(100):
            open_ones.enter_context(closing(socket.create_connection(("127.0.0.1", rig.number))))
        for _ in range(100):
            open_ones.enter_context(closing(stranger(rig)))
        late = open_ones.enter_context(PhoneByHand(rig)).come().ready()
        assert late.ask("down", button=HELD) == ""
        fetching = http.client.HTTPConnection("127.0.0.1", rig.number, timeout=SOON_S)
        with closing(fetching):
            fetching.request("GET", "/")
            assert fetching.getresponse().status == 200
    assert not [words for words in rig.said if "went wrong" in words]


def is_let_go_of(opened: socket.socket) -> bool:
    """Whether the other end closes a socket on which nothing is said, in time."""
    opened.settimeout(SOON_S)
    try:
        while opened.recv(4096):  # the reason stands in a last frame
            pass
    except ConnectionError:
        pass
    except TimeoutError:
        return False
    return True


def test_a_stranger_who_says_nothing_is_let_go_of(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving, "STRANGER_S", 0.2)
    with phone_rig() as rig:
        for opened in (stranger(rig), socket.create_connection(("127.0.0.1", rig.number))):
            with closing(opened):
                assert is_let_go_of(opened)


def test_a_stranger_who_asks_and_goes_leaves_no_words_on_the_laptop(
    rig: PhoneRig, phone: PhoneByHand, capfd: pytest.CaptureFixture[str]
) -> None:
    for _ in range(3):
        with closing(stranger(rig)) as opened, suppress(OSError):
            opened.sendall(b"\x89\x80\0\0\0\0" * 20_000)  # pings (RFC 6455, 5.5.2)
    assert phone.ask("up", button=31) == ""
    assert capfd.readouterr().err == ""


def stuck(rig: PhoneRig, pause_s: float = 0.01) -> socket.socket:
    """A phone that comes in, asks for more answers than fit anywhere, and reads none."""
    opened = stranger(rig)
    opened.sendall(framed({"do": "pair", "code": CODE}))

    def flood() -> None:
        try:
            for n in range(1, 1_000_000):
                opened.sendall(framed({"do": "down", "button": 30, "n": n}))
                time.sleep(pause_s if n % 30 == 0 else 0)
        except OSError:
            return

    threading.Thread(target=flood, daemon=True).start()
    return opened


def stranger(rig: PhoneRig) -> socket.socket:
    """An open socket of the page's, with little room for what it is told."""
    opened = socket.socket()
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    opened.connect(("127.0.0.1", rig.number))
    head = (
        f"GET /socket HTTP/1.1\r\nHost: 127.0.0.1:{rig.number}\r\nUpgrade: websocket\r\n"
        f"Origin: http://127.0.0.1:{rig.number}\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    )
    opened.sendall(head.encode())
    assert b" 101 " in opened.recv(4096)
    return opened


def framed(message: object) -> bytes:
    """A text frame as a browser sends it (RFC 6455, section 5.2), with a mask of zeros."""
    data = json.dumps(message).encode()
    assert len(data) < 126
    return struct.pack("!BB4x", 0x81, 0x80 | len(data)) + data


# -- who may come ----------------------------------------------------------------------------------


def turned_away(rig: PhoneRig, code: str) -> dict[str, object]:
    with PhoneByHand(rig) as stranger:
        stranger.say({"do": "pair", "code": code})
        found: dict[str, object] = json.loads(stranger.socket.recv())["turned_away"]
        with pytest.raises(ConnectionClosed):
            stranger.socket.recv()
        return found


def test_wrong_codes_are_counted_and_then_even_the_right_one_waits(rig: PhoneRig) -> None:
    with PhoneByHand(rig) as phone:
        phone.come()
        pass_ = next(one["pass"] for one in phone.told if "pass" in one)
        assert turned_away(rig, "11111111") == {"left": TRIES - 1, "wait_s": 0}
        for _ in range(TRIES - 1):
            locked = turned_away(rig, "11111111")
        assert locked == {"left": 0, "wait_s": 60}
        assert turned_away(rig, CODE)["left"] == 0
        assert phone.ask("up", button=1) == ""  # who is in stays in
        with PhoneByHand(rig) as again:  # and comes again
            again.say({"do": "return", "pass": pass_})
            assert json.loads(again.socket.recv())["phone"] == 1
        with PhoneByHand(rig) as stranger:
            stranger.say({"do": "return", "pass": pass_[::-1]})
            assert json.loads(stranger.socket.recv()) == {"turned_away": {}}


@pytest.mark.parametrize("do", ["down", "stop", "rearm"])
def test_a_stranger_can_do_nothing(do: str, rig: PhoneRig) -> None:
    fields = {"down": {"button": 1}, "stop": {"press": "s"}}.get(do, {})
    with PhoneByHand(rig) as stranger:
        stranger.say({"do": do, "n": 1, **fields})
        assert json.loads(stranger.socket.recv()) == {"turned_away": {}}
    assert all(board.noted.asked_at == [] for board in rig.boards)


@pytest.mark.parametrize("origin", ["http://example.org", "null", None, "https://127.0.0.1"])
def test_a_page_from_elsewhere_is_refused(origin: str | None, rig: PhoneRig) -> None:
    with pytest.raises(InvalidStatus) as found:
        PhoneByHand(rig, origin=origin)
    assert found.value.response.status_code == 403


@pytest.mark.parametrize(
    ("host", "is_ours"),
    [
        ("127.0.0.1:8080", True),
        ("192.168.7.1:8080", True),
        ("localhost:8080", True),
        ("192.168.7.1", False),
        ("192.168.7.1:8081", False),
        ("example.org:8080", False),
        ("127.0.0.1.example.org:8080", False),
        ("127.0.0.1:8080:8080", False),
        ("", False),
        (":8080", False),
    ],
)
def test_only_an_address_is_a_name_of_ours(host: str, is_ours: bool) -> None:
    assert is_own_name(host, 8080) == is_ours


def test_a_name_that_points_here_gets_no_page(rig: PhoneRig) -> None:
    assert asked(rig, "/", Host=f"example.org:{rig.number}").status == 421
    assert asked(rig, "/secret").status == 404


def asked(rig: PhoneRig, path: str, **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection("127.0.0.1", rig.number, timeout=10)
    connection.request("GET", path, headers=headers)
    return connection.getresponse()


def test_the_page_lets_itself_do_nothing_but_its_own_socket(rig: PhoneRig) -> None:
    found = asked(rig, "/")
    policy = found.getheader("Content-Security-Policy") or ""
    assert "default-src 'none'" in policy
    assert f"connect-src ws://127.0.0.1:{rig.number};" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert found.getheader("Set-Cookie") is None
    body = found.read().decode()
    assert "http://" not in body
    assert "https://" not in body


@pytest.mark.parametrize(
    "data",
    ["x", "{}", '{"do":"beat","n":1}', '{"do":"pair","code":"1"}', b"beat", "9" * (MAX_BYTES + 1)],
    ids=["no JSON", "empty", "a field too many", "twice", "bytes", "too long"],
)
def test_what_is_no_message_ends_its_own_connection_only(
    data: str | bytes, rig: PhoneRig, phone: PhoneByHand
) -> None:
    with PhoneByHand(rig) as other:
        other.come()
        other.socket.send(data)
        assert until(lambda: "phone 2 has gone" in rig.said)
    assert phone.ask("down", button=HELD) == ""


_WORDS = st.sampled_from(["down", "up", "beat", "rearm", "ready-to-rearm", "pair", "return", "x"])
_FUZZ = st.lists(
    st.text(max_size=40)
    | st.binary(max_size=40)
    | st.fixed_dictionaries(
        {"do": _WORDS},
        optional={"n": st.integers(-1, 9), "button": st.integers(-1, 33), "code": st.just("1")},
    ).map(json.dumps),
    max_size=12,
)


def test_whatever_phones_say_the_others_are_served(rig: PhoneRig, phone: PhoneByHand) -> None:
    @settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
    @given(_FUZZ, st.booleans())
    def fuzzed(messages: list[str | bytes], comes_in: bool) -> None:
        with PhoneByHand(rig) as other:
            try:
                if comes_in:
                    other.say({"do": "pair", "code": CODE})
                for message in messages:
                    other.socket.send(message)
            except ConnectionClosed:
                pass
        assert phone.ask("up", button=31) == ""

    fuzzed()
    assert rig.are(ReportedMode.READY)
    assert phone.ask("down", button=HELD) == ""
