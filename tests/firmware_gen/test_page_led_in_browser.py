"""A show with a board that leads, in the preview page: the line between its boards, and parts that
come off. Each frame is held against reference boards on such a line."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import pytest

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.wired import stored
from firmware_gen.page.remote import sayings
from firmware_gen.player.in_step import ARRIVAL
from seqlang.check import CheckedShow
from tests.firmware_gen.browser import Opened, chromium, needs_browser, opened
from tests.firmware_gen.page_shows import EVERYTHING, LED, made, paged
from tests.firmware_gen.test_page_in_browser import button, by_output

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = needs_browser
FRAMES = 1600


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def newt(browser: Browser, tmp_path: Path) -> Iterator[Opened]:
    with opened(browser, paged(LED)[0], tmp_path) as found:
        yield found
        assert found.said == []


@pytest.fixture(scope="module")
def checked() -> CheckedShow:
    return made(LED)[0]


class Reference:
    """The boards of the show: one leads, and a part without feed is None."""

    def __init__(self, checked: CheckedShow) -> None:
        self.checked = checked
        rig = checked.show.rig
        self.channels, self.sensors = self._places(rig.channels), self._places(rig.sensors)
        self.pulses: list[dict[int, int]] = [{} for _ in checked.compiled.boards]
        self.readings: list[dict[int, int]] = [{} for _ in checked.compiled.boards]
        for number, place in self.sensors.values():
            self.readings[number][place] = 0
        self.boards: list[ReferenceBoard | None] = [
            self.switched_on(n) for n in range(len(checked.compiled.boards))
        ]
        self.names = [one.name for one in checked.compiled.boards]
        self._turns = itertools.cycle((0, 1))
        self._says = sayings(checked.show)
        self._in_reach = True

    def _places(self, sources: Any) -> dict[str, tuple[int, int]]:
        """By name, the number of a source's board, and its own there."""
        return {
            name: (number, place)
            for number, board in enumerate(self.checked.compiled.boards)
            for place, name in enumerate(one.name for one in sources if one.board == board.name)
        }

    def switched_on(self, number: int) -> ReferenceBoard:
        board = self.checked.compiled.boards[number]
        cells = stored(self.checked.tables[board.name], board.chip)
        heard = {"pulses": self.pulses[number], "readings": self.readings[number]}
        return ReferenceBoard(cells, board.chip, **heard)

    def _ask(self, lead: ReferenceBoard, request: str) -> None:
        what, _, which = request.partition(" ")
        if what == "put":
            name, value = which.split()
            is_sensor = name in self.sensors
            number, place = (self.sensors if is_sensor else self.channels)[name]
            (self.readings if is_sensor else self.pulses)[number][place] = int(value)
        elif what == "unplug":
            self.boards[self.names.index(which)] = None
        elif what == "plug":
            self.boards[self.names.index(which)] = self.switched_on(self.names.index(which))
        elif what in ("lose", "find"):
            self._in_reach = what == "find"
        elif self._in_reach:
            lead.receive(self._says[request][next(self._turns)])

    def frame(self, requests: list[str]) -> list[Any]:
        lead = self.boards[0]
        assert lead is not None
        if self._in_reach:
            lead.receive(self._says["beacon"][next(self._turns)])
        for request in requests:
            self._ask(lead, request)
        shown: list[Any] = [lead.frame()]
        for board in self.boards[1:]:
            if board is not None:
                board.moment = ARRIVAL
                board.receive_line(lead.line_output)
            shown.append(board and board.frame())
        return shown


def assert_played_as_the_reference(found: Opened, checked: CheckedShow) -> int:
    recorded = found.recorded()
    frames = len(recorded[0])
    asked: dict[int, list[str]] = {}
    for frame, request in found.script():
        asked.setdefault(frame, []).append(request)
    reference = Reference(checked)
    rows = [reference.frame(asked.get(number, [])) for number in range(frames)]
    at = 0
    for number, board in enumerate(checked.compiled.boards):
        lit = [(n, row[number]) for n, row in enumerate(rows) if row[number] is not None]
        wanted = by_output(board.table.outputs, [frame for _, frame in lit])
        for want in wanted:
            has_power = {n for n, _ in lit}
            for (n, _), value in zip(lit, want, strict=True):
                assert recorded[at][n] == value, f"{board.name}, frame {n}"
            dark = [recorded[at][n] for n in range(frames) if n not in has_power]
            assert not any(map(any, dark)), board.name
            at += 1
    return frames


def state(found: Opened, what: str) -> None:
    found.wait(f"document.getElementById('state').textContent.includes('{what}')")


def test_the_rehearsal_of_led_boards_is_played_as_the_reference_plays_it(
    newt: Opened, checked: CheckedShow
) -> None:
    newt.wait("bellcrank.take.recording.frames === bellcrank.take.frames")
    assert assert_played_as_the_reference(newt, checked) > 1000


def test_a_part_is_unplugged_and_plugged_in_again_in_the_middle_of_a_cue(
    newt: Opened, checked: CheckedShow
) -> None:
    newt.js("() => bellcrank.seek(200)")
    state(newt, "crest: ready")
    button(newt, "button 1: swim").click()
    state(newt, "swim")
    pull = button(newt, "unplug tail")
    assert pull.get_attribute("aria-pressed") == "false"
    pull.click()
    state(newt, "tail: unplugged")
    assert pull.get_attribute("aria-pressed") == "true"
    pull.click()
    state(newt, "tail: starting")
    state(newt, "tail: ready")
    newt.wait("bellcrank.frame > 340")
    asked = [request for _, request in newt.script()]
    assert asked[-2:] == ["unplug tail", "plug tail"]
    assert assert_played_as_the_reference(newt, checked) > 300
    running = newt.js("() => bellcrank.take.at(bellcrank.frame).boards.map(one => one.running)")
    assert running[1] & 0b10, "it has joined the cue that still runs"


def test_going_back_puts_a_part_on_again(newt: Opened) -> None:
    newt.js("() => bellcrank.seek(200)")
    state(newt, "tail: ready")
    button(newt, "unplug tail").click()
    state(newt, "tail: unplugged")
    newt.page.click("#run")
    newt.js("() => bellcrank.seek(150)")
    state(newt, "tail: ready")
    assert button(newt, "unplug tail").get_attribute("aria-pressed") == "false"


@pytest.mark.parametrize("seed", range(4))
def test_random_presses_at_the_board_that_leads_play_on_all_as_on_the_reference(
    newt: Opened, checked: CheckedShow, seed: int
) -> None:
    dice = Random(seed)
    requests = ["down 1", "up 1", "down 2", "up 2", "stop", "limp", "standby", "standby", "standby"]
    requests += ["go sag", "go swim", "lose", "find", "find", "down 3", "up 3"]
    script = [(dice.randrange(100, 1500), dice.choice(requests)) for _ in range(50)]
    for name in ("tail", "crest"):
        off = dice.randrange(300, 1200)
        script += [(off, f"unplug {name}"), (off + dice.randrange(1, 200), f"plug {name}")]
    newt.js(
        """([script, frames]) => {
            const own = bellcrank.take.branch(60);
            for (const [frame, request] of script) own.add(frame, request);
            own.extend(frames);
            Object.defineProperty(bellcrank, 'take', { get: () => own });
        }""",
        [sorted(script), FRAMES],
    )
    assert assert_played_as_the_reference(newt, checked) == FRAMES


def test_a_show_in_which_no_board_leads_has_nothing_to_unplug(
    browser: Browser, tmp_path: Path
) -> None:
    with opened(browser, paged(EVERYTHING)[0], tmp_path) as found:
        assert found.page.locator("#plugs").is_hidden()


@pytest.mark.parametrize("size", [(320, 568), (844, 390), (1280, 800)])
def test_what_unplugs_parts_fits_every_window(
    browser: Browser, tmp_path: Path, size: tuple[int, int]
) -> None:
    with opened(browser, paged(LED)[0], tmp_path, size) as found:
        assert found.js("() => document.documentElement.scrollWidth") <= size[0]
        small = found.js(
            """() => [...document.querySelectorAll("#plugs button")]
                .map(node => node.getBoundingClientRect())
                .map(box => [box.width >= 44, box.height >= 40])"""
        )
        assert small == [[True, True]] * 2
