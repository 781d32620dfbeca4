"""A radio's stick turns a servo of a limp board, and its motion becomes a gesture."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flap_show import SHOW, Outcome, table_of

from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from seqlang.command._jog_screen import lines_of_view
from seqlang.command._jog_session import JogSession
from seqlang.command._jogged import servos_on, source_on
from seqlang.jogging import IDLE_S
from seqlang.loading import load
from seqlang.recording import fitted_part
from sim.model import Hold, Move
from sim.rulebook import CHANNEL_LOST_FRAMES, FRAME_S
from tests.seqlang.hands import Hands
from tests.seqlang.test_jog_session import FIRST_S, nod
from tests.unchecked import transfer_unchecked

TEXT = (
    SHOW.format(address=1, far=40)
    .replace("atmega328p", "atmega2560")
    .replace("pin PB1", "pin PA0")
    .replace("stop button 2", "stop button 2\n    button 4: go lift")
    + "sensor knob: box pin PF0\nchannel stick: box pin PL0\n    button 4 from 1950 us to 2100 us\n"
    + "lamp glow: box pin PB4\n    follows knob from 0 % to 90 %, 0 % to 60 %\n"
)
GONE_S = (CHANNEL_LOST_FRAMES + 3) * FRAME_S


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(TEXT)
    return path


def board_with(show: Path) -> VirtualBoard:
    virtual = VirtualBoard(chip=CHIP, write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), table_of(show))
    virtual.advance(2.0)
    virtual.board.take_output()
    return virtual


class Bench:
    """A session with a stick on a limp board, in fast time."""

    def __init__(self, show: Path, source: str = "stick") -> None:
        self.virtual = board_with(show)
        self.link = HostLink(LocalPort(self.virtual))
        self.link.greet()
        self.link.limp()
        self.wait(0.1)
        loaded = load(show).show
        assert loaded is not None
        self.rig = loaded.rig
        stick = source_on([self.link], self.rig, source)
        self.session = JogSession(servos_on(self.link, self.rig), self.now, stick)

    @property
    def now(self) -> float:
        return self.virtual.time_s

    @property
    def held_us(self) -> float:
        return self.session.view().jog.held_us

    @property
    def is_limp(self) -> bool:
        return self.session.view().jog.is_limp

    def wait(self, seconds: float) -> None:
        self.virtual.advance(self.now + seconds)

    def run(self, seconds: float = 0.3) -> None:
        end_s = self.now + seconds
        while self.now < end_s:
            self.wait(0.04)
            self.session.tick(self.now)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.session.press([key], self.now)
            self.session.tick(self.now)
            self.run()

    def put(self, stick_us: float) -> None:
        """The stick stands there from now on; 0: its sender is off."""
        self.virtual.pulses[0] = round(2 * stick_us)

    def shown(self) -> str:
        return "\n".join(lines_of_view(self.session.view(), 80))


def test_the_stick_does_nothing_before_a_key_lets_it_and_before_it_comes_past_the_part(
    show: Path,
) -> None:
    bench = Bench(show)
    bench.put(1500)
    bench.press("enter")
    bench.put(1000)
    bench.run(1.0)
    assert bench.held_us == 1000.0
    assert "stick: c lets it turn the part" in bench.shown()
    bench.put(1600)
    bench.run(0.5)
    bench.press("c")
    assert "move it to less, past 1000.0 us" in bench.shown()
    bench.put(1200)
    bench.run()
    assert bench.held_us == 1000.0
    bench.put(1000)
    bench.run()
    assert " us and turns the part" in bench.shown()
    bench.put(1500)
    bench.run(2.0)
    # half of its way is half of the travel, 70 deg: 1000 + 1000 * 35 / 90 us
    assert bench.held_us == pytest.approx(1389.0, abs=0.5)
    assert bench.link.pulse(0) == 2 * bench.held_us
    bench.press("c")
    bench.put(1100)
    bench.run(1.0)
    assert bench.held_us == pytest.approx(1389.0, abs=0.5)


def test_a_known_gesture_that_is_made_with_a_stick_comes_back_as_its_moves(show: Path) -> None:
    bench = Bench(show)
    bench.put(1040)
    bench.press("enter", "c")
    bench.run(0.5)
    bench.put(1000)
    bench.run(0.5)
    bench.press("r")
    start_s = bench.now + FIRST_S
    while bench.now < start_s + 9.0:
        bench.put(1000.0 + 1000.0 * nod(max(0.0, bench.now - start_s)) / 70.0)
        bench.session.tick(bench.now)
        bench.wait(0.04)
    bench.press("r")
    (take,) = bench.session.takes().values()
    part = fitted_part(bench.rig, bench.session.view().servo, take, 1.5)
    up, stand, down = part.steps
    assert isinstance(up, Move)
    assert isinstance(stand, Hold)
    assert isinstance(down, Move)
    assert (up.angle_deg, down.angle_deg) == (
        pytest.approx(40.0, abs=1.0),
        pytest.approx(15.0, abs=1.0),
    )
    assert up.duration_ms == pytest.approx(4000, rel=0.2)
    assert down.duration_ms == pytest.approx(3000, rel=0.2)


def test_a_radio_that_is_lost_ends_the_pulses_and_says_so(show: Path) -> None:
    bench = Bench(show)
    bench.put(1040)
    bench.press("enter", "c")
    bench.run(0.5)
    bench.put(1000)
    bench.run()
    bench.put(1300)
    bench.run(1.0)
    assert not bench.is_limp
    bench.put(0)
    bench.run(GONE_S)
    assert bench.is_limp
    assert "`stick` is not heard any more: the pulses ended" in bench.shown()
    held = bench.held_us
    bench.put(2000)
    bench.run(1.0)
    bench.press("enter")
    bench.run(1.0)
    assert bench.held_us == held


def test_a_stick_that_stands_still_keeps_no_pulses(show: Path) -> None:
    bench = Bench(show)
    bench.put(1040)
    bench.press("enter", "c")
    bench.run(0.5)
    bench.put(1000)
    bench.run(1.0)
    assert not bench.is_limp
    bench.run(IDLE_S + 0.5)
    assert bench.is_limp


def test_a_knob_is_a_hand_too(show: Path) -> None:
    bench = Bench(show, "knob")
    bench.virtual.readings[0] = 30
    bench.press("enter", "c")
    bench.virtual.readings[0] = 0
    bench.run()
    bench.virtual.readings[0] = 1023
    bench.run(3.0)
    assert bench.held_us == pytest.approx(1777.5, abs=0.5)  # the end of travel: 70 deg


def test_no_lock_of_the_keys_is_needed_to_stop_what_a_stick_turns(show: Path) -> None:
    bench = Bench(show)
    bench.put(1040)
    bench.press("enter", "c")
    bench.run(0.5)
    bench.put(1000)
    bench.run()
    bench.put(1800)
    bench.run(0.2)
    bench.press(" ")
    held = bench.held_us
    bench.put(1200)
    bench.run(1.0)
    assert bench.is_limp
    assert bench.held_us == held


def test_a_board_with_an_older_show_does_not_know_the_stick(show: Path) -> None:
    virtual = board_with(show)
    link = HostLink(LocalPort(virtual))
    link.greet()
    show.write_text(TEXT.replace("box pin PL0", "box pin PL1"))
    loaded = load(show).show
    assert loaded is not None
    with pytest.raises(LinkFailure, match="no channel or sensor on the pin of `stick`"):
        source_on([link], loaded.rig, "stick")


@pytest.fixture
def served(show: Path) -> Iterator[Server]:
    with Server(board_with(show)) as server:
        yield server


def test_the_screen_tells_of_the_stick_and_its_key(show: Path, served: Server) -> None:
    served.virtual.pulses[0] = 2 * 1500
    with Hands("jog", str(show), "--stick", "stick", "--port", served.url) as hands:
        hands.begin()
        hands.press("c", "move it to less, past 1000.0 us")
        assert "c      the stick turns it" in hands.shown()
        served.virtual.pulses[0] = 2 * 1005
        hands.sees(" us and turns the part")
        hands.leave("q", "no servo has pulses")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            ["--stick", "knoob"],
            "there is no channel or sensor `knoob`; this show has `stick`, `knob`",
        ),
        (["--stick", "stick", "--list"], "`--stick` is for keys"),
        (["--stick", "stick", "--phone"], "`--stick` is for keys"),
    ],
)
def test_a_stick_that_cannot_turn_anything_is_told_before_anything_moves(
    show: Path,
    served: Server,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    told: str,
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    refused = Outcome(capsys, "jog", str(show), *words, "--port", served.url)
    assert refused.status == 2
    assert told in refused.err
