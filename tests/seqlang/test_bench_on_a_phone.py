"""A servo that is turned by a phone's slider: in a real browser, with fingers, and by hand."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from flap_show import FLAP, SHOW, Outcome

from firmware_gen.link.owner.client import connect, press
from firmware_gen.link.protocol import ReportedMode, RequestKind
from seqlang.check import check
from seqlang.command._jog_session import JogSession
from seqlang.command._jogged import servos_on
from seqlang.loading import load
from seqlang.phone.bench import BenchControls
from seqlang.recording import FittedPart, Take, fitted_part
from sim.model import Hold, Law, Move, Servo
from sim.score.laws import position
from tests.firmware_gen.browser import chromium, needs_browser
from tests.seqlang.phone_in_hand import (
    SHOWN,
    SIZES,
    PhonePageInHand,
    assert_stop_is_there,
    in_hand,
    waits,
)
from tests.seqlang.phone_rig import PhoneByHand, PhoneRig, ServedTable, own_place
from tests.seqlang.show_text import servo
from tests.seqlang.terminal import ROOT
from tests.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from seqlang.loading import Loaded

TEXT = SHOW.format(address=1, far=40).replace(
    "cue wave", servo("fin", "PB2", FLAP, "box") + "cue wave"
)


class Bench:
    """The flap's board, its page, and what is known of both."""

    def __init__(
        self, loaded: Loaded, board: ServedTable, controls: BenchControls, rig: PhoneRig
    ) -> None:
        self.loaded = loaded
        self.board = board
        self.controls = controls
        self.rig = rig

    @property
    def has_pulses(self) -> bool:
        player = self.board.virtual.board.player
        assert player is not None
        return player._jog is not None

    def shows(self, words: str) -> bool:
        return words in str(self.controls.news()["bench"])


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(TEXT)
    return path


@pytest.fixture
def bench(show: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    loaded = load(show)
    checked = check(loaded).show
    assert checked is not None
    assert loaded.show is not None
    board = ServedTable(checked.compiled.boards[0])
    with own_place(tmp_path, monkeypatch), board.server, connect("jog") as owner:
        link = owner.board(board.server.url)
        link.greet()
        link.limp()
        assert until(lambda: board.mode == ReportedMode.LIMP)
        servos = servos_on(link, loaded.show.rig)
        said: list[str] = []
        session = JogSession(servos, time.monotonic())
        controls = BenchControls(session, servos, "A flap", time.monotonic, said.append)
        rig = PhoneRig(checked.compiled, controls, [board])
        rig.said = said
        rig.begin()
        yield Bench(loaded, board, controls, rig)
        rig.end()


@pytest.fixture
def phone(bench: Bench) -> Iterator[PhoneByHand]:
    with PhoneByHand(bench.rig) as found:
        yield found.come()


def nod(at_s: float) -> float:
    """40 deg up in 4 s, 1 s there, 25 deg down in 3 s."""
    law = Law("3-4-5")
    up, down = (position(law, [at_s / 4.0]), position(law, [(at_s - 5.0) / 3.0]))
    return float(40.0 * up[0] - 25.0 * down[0])


def pulse_us(place_deg: float) -> float:
    return 1000.0 + 1000.0 * place_deg / 90.0


def mind(found: PhonePageInHand) -> PhonePageInHand:
    """The cautions are read."""
    found.come().tap("#minded")
    found.wait("!document.getElementById('bench').hidden")
    return found


LIVE = "document.getElementById('bench').classList.contains('live')"


def hold(found: PhonePageInHand, bench: Bench) -> None:
    """A finger holds, and the page knows that the servo has pulses."""
    found.touch("#hold", finger=1)
    assert waits(found, lambda: bench.has_pulses)
    found.wait(LIVE)


# -- in a browser ------------------------------------------------------------------------------


@needs_browser
def test_a_known_gesture_that_is_made_with_the_slider_comes_back(
    browser: Browser, bench: Bench
) -> None:
    with in_hand(browser, bench.rig, ready=mind) as found:
        hold(found, bench)
        found.touch("#record", finger=2)
        found.lift(2)
        assert waits(found, lambda: bench.shows("'records': True"))
        low, high, way = found.js(SLIDER)
        found.touch("#slider", finger=2)
        start_s, is_at = time.monotonic(), pulse_us(0.0)
        did: list[tuple[float, float]] = []
        while (at_s := time.monotonic() - start_s) < 9.0:
            place = nod(at_s)
            found.move((pulse_us(place) - is_at) / (high - low) * way, finger=2)
            is_at = pulse_us(place)
            did.append((at_s, place))
            found.page.wait_for_timeout(15)
        found.lift(2)
        found.touch("#record", finger=2)
        found.lift(2)
        assert waits(found, lambda: bench.shows("'records': False"))
        found.lift(1)
        assert waits(found, lambda: not bench.has_pulses)
        assert "flap: " in found.page.inner_text("#takes")
    (take,) = bench.controls._session.takes().values()
    assert take.servo == "flap"
    assert_is_what_the_hand_did(bench, take, did)


SLIDER = """() => {
    const slider = document.getElementById('slider');
    const ends = ['min', 'max'].map(end => Number(slider.getAttribute(`aria-value${end}`)));
    return [...ends, slider.clientWidth - document.getElementById('knob').offsetWidth];
}"""


def assert_is_what_the_hand_did(bench: Bench, take: Take, did: list[tuple[float, float]]) -> None:
    """The gesture comes through each place at which the finger was, within the tolerance.

    A busy machine lets the finger, the network and the board wait; so the moment is given some
    room. That the fewest moves are found is held in a session whose time is not the machine's.
    """
    show = bench.loaded.show
    assert show is not None
    one = next(output for output in show.rig.outputs if output.name == "flap")
    assert isinstance(one, Servo)
    part = fitted_part(show.rig, one, take, 1.5)
    assert part.told == ()
    assert part.motion.worst_miss <= 1.5
    targets = [step.angle_deg for step in part.steps if isinstance(step, Move)]
    assert max(targets) == pytest.approx(40.0, abs=1.0)
    assert targets[-1] == pytest.approx(15.0, abs=1.0)
    times = np.arange(0.0, 12.0, 0.02)
    places = np.array([place_in(part, at_s) for at_s in times])
    for at_s, place in did:
        near = places[(times > at_s - 0.1) & (times < at_s + 0.7)]
        assert near.min() - 1.5 <= place <= near.max() + 1.5, at_s


def place_in(part: FittedPart, at_s: float) -> float:
    """Where the gesture has the part, by its own clock."""
    place = part.motion.start
    for step in part.steps:
        assert isinstance(step, Move | Hold)
        lasts_s = step.duration_ms / 1000.0
        if isinstance(step, Move):
            share = float(position(step.law, [at_s / lasts_s])[0])
            place += (step.angle_deg - place) * share
        at_s -= lasts_s
        if at_s < 0.0:
            break
    return place


@needs_browser
@pytest.mark.parametrize("how", ["lifts", "hides", "leaves", "drops the link"])
def test_who_does_not_hold_any_more_makes_it_limp(how: str, browser: Browser, bench: Bench) -> None:
    with in_hand(browser, bench.rig, ready=mind) as found:
        hold(found, bench)
        if how == "lifts":
            found.lift()
        elif how == "hides":
            found.js("() => dispatchEvent(new Event('blur'))")
        elif how == "leaves":
            found.page.goto("about:blank")
        else:
            found.page.context.set_offline(True)
            bench.rig.end()
        assert waits(found, lambda: not bench.has_pulses)
        found.said.clear()  # what a page says of a laptop that has gone


@needs_browser
def test_a_touch_of_the_slider_alone_moves_nothing(browser: Browser, bench: Bench) -> None:
    with in_hand(browser, bench.rig, ready=mind) as found:
        found.touch("#slider", finger=2)
        found.move(80, finger=2)
        found.lift(2)
        hold(found, bench)
        found.touch("#slider", finger=2)  # in its middle, far from the knob
        found.lift(2)
        found.page.wait_for_timeout(400)
        assert found.js("() => document.getElementById('where').textContent") == "1000 us, 0.0 deg"
        found.touch("#slider", finger=2)
        found.move(40, finger=2)
        found.wait("!document.getElementById('where').textContent.startsWith('1000 us')")
        found.lift(2)
        found.lift(1)


@needs_browser
def test_keys_do_what_fingers_do(browser: Browser, bench: Bench) -> None:
    with in_hand(browser, bench.rig, ready=mind) as found:
        slider = found.page.get_by_role("slider", name="Pulse of the servo")
        slider.focus()
        found.page.keyboard.down(" ")
        assert waits(found, lambda: bench.has_pulses)
        found.wait(LIVE)
        found.page.keyboard.press("PageUp")
        found.page.keyboard.press("ArrowRight")
        found.wait("document.getElementById('where').textContent.startsWith('1011 us')")
        found.page.keyboard.up(" ")
        assert waits(found, lambda: not bench.has_pulses)


@needs_browser
@pytest.mark.parametrize("text", ["100%", "200%"])
def test_stop_is_on_the_screen_and_what_is_touched_is_large(
    text: str, browser: Browser, bench: Bench
) -> None:
    with in_hand(browser, bench.rig, ready=mind) as found:
        found.js("text => { document.documentElement.style.fontSize = text; }", text)
        for width, height in SIZES:
            found.page.set_viewport_size({"width": width, "height": height})
            for scrolled in (0, 100_000):
                assert_stop_is_there(found.js(SHOWN, scrolled))


@needs_browser
def test_all_hands_fit_a_phone_on_its_side(browser: Browser, bench: Bench) -> None:
    with in_hand(browser, bench.rig, size=(568, 320), ready=lambda found: found.come()) as found:
        found.js("() => document.getElementById('minded').scrollIntoView()")
        mind(found)
        for name in ("servo", "record", "slider", "hold", "limp", "stop"):
            box = found.page.locator(f"#{name}").bounding_box()
            assert box
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= 320
        assert found.page.locator("#limp .small").is_visible()


# -- by hand -----------------------------------------------------------------------------------


def grasp(phone: PhoneByHand) -> None:
    assert phone.ask("minded") == ""
    assert phone.ask("grasp") == ""


def test_nobody_turns_a_servo_before_the_cautions_were_read(
    bench: Bench, phone: PhoneByHand
) -> None:
    assert phone.ask("grasp") == "read the cautions first"
    assert phone.ask("record") == "read the cautions first"
    assert not bench.has_pulses
    grasp(phone)
    assert until(lambda: bench.has_pulses)


def test_a_board_that_is_not_limp_is_made_so_by_a_hold_of_its_own(
    bench: Bench, phone: PhoneByHand
) -> None:
    with connect("test") as owner:
        link = owner.board(bench.board.server.url)
        link.greet()
        link.standby()
        assert until(lambda: bench.board.mode == ReportedMode.READY)
        assert until(lambda: bench.shows("The board is not limp"))
        grasp(phone)
        assert until(lambda: bench.board.mode == ReportedMode.LIMP)
        assert not bench.has_pulses
        phone.ask("loose")
        phone.ask("grasp")
        assert until(lambda: bench.has_pulses)


def test_a_phone_that_falls_silent_makes_it_limp(bench: Bench, phone: PhoneByHand) -> None:
    grasp(phone)
    assert until(lambda: bench.has_pulses)
    time.sleep(1.5)
    assert bench.has_pulses  # it says that somebody is there
    phone.beats = False
    assert until(lambda: not bench.has_pulses, within_s=3.0)
    assert until(lambda: any("let_go" in one for one in phone.told))


def test_a_phone_that_goes_makes_it_limp(bench: Bench, phone: PhoneByHand) -> None:
    grasp(phone)
    assert until(lambda: bench.has_pulses)
    phone.close()
    assert until(lambda: not bench.has_pulses, within_s=3.0)


def test_one_phone_holds_and_any_stops(bench: Bench, phone: PhoneByHand) -> None:
    grasp(phone)
    assert until(lambda: bench.has_pulses)
    with PhoneByHand(bench.rig) as other:
        other.come().ask("minded")
        assert other.ask("grasp") == "phone 1 holds it"
        assert other.ask("record") == "phone 1 holds it"
        other.say({"do": "slide", "pulse": 1700})
        assert other.ask("loose") == ""
        assert bench.has_pulses
        assert other.ask("stop", press="ab") == ""
        assert until(lambda: not bench.has_pulses)
        assert until(lambda: bench.shows("Stopped."))
    time.sleep(1.5)  # the first still holds: nothing comes back by itself
    assert not bench.has_pulses
    phone.ask("loose")
    phone.ask("grasp")
    assert until(lambda: bench.has_pulses)


def test_a_stop_of_another_program_ends_it_until_somebody_holds_anew(
    bench: Bench, phone: PhoneByHand
) -> None:
    grasp(phone)
    assert until(lambda: bench.has_pulses)
    press("stop", [bench.board.server.url], name="test")
    assert until(lambda: not bench.has_pulses)
    time.sleep(1.5)
    assert not bench.has_pulses


@pytest.mark.parametrize(("asked", "end"), [(2600, "1778 us, 70.0 deg"), (400, "1000 us, 0.0 deg")])
def test_a_slider_passes_no_end_of_the_travel(
    asked: int, end: str, bench: Bench, phone: PhoneByHand
) -> None:
    grasp(phone)
    assert until(lambda: bench.has_pulses)
    phone.say({"do": "slide", "pulse": asked})
    assert until(lambda: bench.shows("It stands at an end of its travel"))
    assert until(lambda: bench.shows(end))
    time.sleep(0.3)
    assert bench.shows(end)


def test_another_servo_takes_its_turn_and_the_first_is_limp(
    bench: Bench, phone: PhoneByHand
) -> None:
    grasp(phone)
    assert until(lambda: bench.has_pulses)
    assert phone.ask("servo", servo=1) == ""
    assert until(lambda: not bench.has_pulses)
    assert bench.controls.news()["bench"]["servo"] == 1
    assert phone.ask("servo", servo=7) == ""  # there is none
    assert bench.controls.news()["bench"]["servo"] == 1


@pytest.mark.parametrize("said", ['{"do": "down", "button": 1, "n": 1}', '{"do": "rearm", "n": 1}'])
def test_the_remote_is_not_on_the_bench(said: str, bench: Bench, phone: PhoneByHand) -> None:
    phone.socket.send(said)
    assert until(lambda: phone.socket.close_code is not None)
    assert bench.board.presses(RequestKind.BUTTON) == []


def test_a_board_that_goes_away_ends_the_bench_and_keeps_what_was_recorded(
    bench: Bench, phone: PhoneByHand
) -> None:
    over: list[bool] = []
    bench.controls.ends(lambda: over.append(True))
    grasp(phone)
    assert until(lambda: bench.has_pulses)
    phone.ask("record")
    phone.say({"do": "slide", "pulse": 1200})
    assert until(lambda: bench.shows("1200 us"))
    phone.ask("record")
    assert until(lambda: any("recorded" in words for words in bench.rig.said))
    bench.board.server.stop()
    assert until(lambda: over)
    assert bench.controls.failure is not None
    assert set(bench.controls._session.takes()) == {"flap"}


# -- the command -------------------------------------------------------------------------------


def test_what_a_phone_recorded_stands_in_the_text_when_the_command_has_ended(
    show: Path, bench: Bench
) -> None:
    before = show.read_bytes()
    words = ["jog", str(show), "--phone", "--port", bench.board.server.url, "--record", "nod"]
    with subprocess.Popen(
        [sys.executable, "-m", "seqlang", *words, "--write"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as command:
        try:
            assert command.stdout is not None
            first = command.stdout.readline()
            found = re.fullmatch(r"the page is at http://127\.0\.0\.1:(\d+)/#(\d{8})\n", first)
            assert found, first
            bench.rig.number = int(found[1])
            with PhoneByHand(bench.rig) as phone:
                phone.come(found[2])
                grasp(phone)
                assert until(lambda: bench.has_pulses)
                phone.ask("record")
                for pulse in range(1000, 1301, 10):
                    phone.say({"do": "slide", "pulse": pulse})
                    time.sleep(0.05)
                assert until(lambda: any("1300 us" in str(one) for one in phone.told[-5:]))
                phone.ask("record")
                phone.ask("loose")
            command.send_signal(signal.SIGINT)
            told = command.stdout.read()
            assert command.wait(timeout=20) == 0, told
        finally:
            command.kill()
    assert "the worst miss is" in told
    written = show.read_bytes()
    assert written.startswith(before + b"\ngesture nod\n    # by hand: flap from 0 deg")
    assert re.search(rb"    flap to 2[67](\.\d+)? deg in", written)
    assert not bench.has_pulses


def test_what_is_for_a_phone_is_refused_without_one(
    show: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused = Outcome(capsys, "jog", str(show), "--open")
    assert refused.status == 2
    assert "add `--phone`" in refused.err
