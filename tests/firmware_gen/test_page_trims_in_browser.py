"""Trims of lights, tried on the preview page: each frame is what the boards of a text with them
play, and the lines that are shown are those of that text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.firmware_gen.browser import Opened, chromium, needs_browser, opened
from tests.firmware_gen.page_shows import EVERYTHING, SNAKE, paged

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator

pytestmark = needs_browser
CAP, TINT = "    cap         800 mA\n", "    colour      orange\n"
EYE, SPINE = "    trim        {} %\n", "    balance     {} %, {} %, {} %\n"


def heron(eye: int, *spine: int) -> str:
    """The show with trims of its lamp and its strip."""
    whole, *balance = spine
    lines = EYE.format(whole) + SPINE.format(*balance)
    return EVERYTHING.replace(CAP, CAP + lines).replace(TINT, TINT + EYE.format(eye))


SAID = heron(80, 100, 100, 88, 72)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def said(browser: Browser, tmp_path: Path) -> Iterator[Opened]:
    with opened(browser, paged(SAID)[0], tmp_path) as found:
        found.page.click("#trims summary")
        yield found
        assert found.said == []


def slider(found: Opened, share: str) -> Locator:
    return found.page.locator(f"#shares input[aria-label^='{share} of ']")


def choose(found: Opened, *names: str) -> None:
    for box in found.page.locator("#untrimmed label").all():
        box.locator("input").set_checked(box.inner_text().strip() in names)


def lines(found: Opened) -> list[str]:
    return found.page.locator("#trim-lines pre").all_text_contents()


def played(found: Opened) -> list[list[list[int]]]:
    found.wait("bellcrank.take.recording.frames >= bellcrank.take.frames")
    return found.recorded()


def lit(found: Opened) -> Any:
    """What the boards give their lights in the frame that is shown."""
    return found.js(
        """() => bellcrank.take.at(bellcrank.frame).boards.map(
            ({ duties, pixels }) => [[...duties], [...pixels]])"""
    )


def test_nothing_is_tried_until_a_slider_moves(said: Opened) -> None:
    assert lines(said) == []
    assert said.page.locator("#retrimmed").is_hidden()
    assert said.js("() => bellcrank.show.boards.map(board => board.trial)") == [None, None]
    choose(said, "spine")
    told = said.page.locator("#shares output").all_text_contents()
    assert told == ["100 %", "100 %", "88 %", "72 %"]


def test_the_boards_play_what_a_text_with_these_trims_would_make_them_play(
    browser: Browser, said: Opened, tmp_path: Path
) -> None:
    choose(said, "eye")
    slider(said, "brightness").fill("41")
    choose(said, "spine")
    slider(said, "brightness").fill("63")
    slider(said, "green").fill("17")
    other = tmp_path / "other"
    other.mkdir()
    with opened(browser, paged(heron(41, 63, 100, 17, 72))[0], other) as wanted:
        assert played(said) == played(wanted)
    assert lines(said) == [
        "    trim        63 %\n    balance     100 %, 17 %, 72 %",
        "    trim        41 %",
    ]


def test_a_light_that_gave_all_its_light_is_trimmed_too(browser: Browser, tmp_path: Path) -> None:
    one, other = tmp_path / "one", tmp_path / "other"
    one.mkdir(), other.mkdir()
    with opened(browser, paged(EVERYTHING)[0], one) as found:
        whole = played(found)
        found.page.click("#trims summary")
        choose(found, "eye")
        slider(found, "brightness").fill("41")
        less = played(found)
        assert less != whole
        found.page.click("#untrim")
        assert played(found) == whole
        assert lines(found) == []
    with opened(browser, paged(heron(41, 100, 100, 100, 100))[0], other) as wanted:
        assert less == played(wanted)


def test_the_drawing_follows_a_slider_before_it_is_let_go(said: Opened) -> None:
    said.js("() => bellcrank.seek(900)")
    choose(said, "eye")
    before = lit(said)
    move = "(node, value) => { node.value = value; node.dispatchEvent(new Event('input')); }"
    slider(said, "brightness").evaluate(move, 60)
    slider(said, "brightness").evaluate(move, 40)
    after = lit(said)
    assert after[1][0][0] / before[1][0][0] == pytest.approx(0.5, abs=0.01)
    assert after[0] == before[0]


def test_ones_own_take_goes_on_in_the_new_light(said: Opened) -> None:
    said.js("() => { bellcrank.seek(200); bellcrank.ask('down 4'); bellcrank.ask('up 4'); }")
    said.wait("bellcrank.frame > 260")
    said.js("() => bellcrank.run(false)")
    script = said.script()
    before = lit(said)
    choose(said, "eye")
    slider(said, "brightness").fill("40")
    assert said.js("() => bellcrank.take.own")
    assert said.script() == script
    assert lit(said)[1][0][0] / before[1][0][0] == pytest.approx(0.5, abs=0.01)


def test_several_lights_are_set_at_once_by_the_keyboard_alone(said: Opened) -> None:
    said.page.locator("#untrimmed input").first.focus()
    said.page.keyboard.press("Tab")
    said.page.keyboard.press("Space")
    assert not said.js("() => bellcrank.trims.lights.length !== bellcrank.trims.chosen.size")
    told = said.page.locator("#shares output").first
    assert told.inner_text() == "80 to 100 %"
    bright = slider(said, "brightness")
    assert bright.get_attribute("aria-label") == "brightness of spine, eye"
    assert bright.get_attribute("aria-valuetext") == "80 to 100 percent"
    frame = said.js("() => bellcrank.frame")
    bright.focus()
    said.page.keyboard.press("ArrowLeft")
    assert told.inner_text() == "99 %"
    assert lines(said) == ["    trim        99 %", "    trim        99 %"]
    assert said.js("() => bellcrank.frame") == frame, "the arrows move the slider, not the time"


def test_the_lines_of_a_light_are_copied(said: Opened) -> None:
    said.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    choose(said, "spine")
    slider(said, "blue").fill("50")
    said.page.get_by_role("button", name="copy the lines of spine").click()
    said.wait("document.querySelector('#trim-lines button').textContent === 'Copied'")
    copied = said.js("() => navigator.clipboard.readText()")
    assert copied == "    balance     100 %, 88 %, 50 %"


def test_where_the_clipboard_is_closed_the_lines_are_marked(said: Opened) -> None:
    said.js(
        """() => Object.defineProperty(navigator, 'clipboard', {
            value: { writeText: () => Promise.reject(new Error()) } })"""
    )
    choose(said, "eye")
    slider(said, "brightness").fill("50")
    said.page.get_by_role("button", name="copy the lines of eye").click()
    said.wait("getSelection().toString()")
    assert "50 %" in str(said.js("() => getSelection().toString()"))


def test_with_no_light_chosen_there_is_nothing_to_move(said: Opened) -> None:
    choose(said)
    assert said.page.locator("#unchosen").is_visible()
    assert said.page.locator("#shares input:visible").count() == 0


def test_a_show_without_lights_has_nothing_to_trim(browser: Browser, tmp_path: Path) -> None:
    with opened(browser, paged(SNAKE)[0], tmp_path) as found:
        assert found.page.locator("#trims").is_hidden()


@pytest.mark.parametrize("size", [(320, 568), (390, 844), (844, 390), (1280, 800)])
def test_trims_fit_every_window(browser: Browser, tmp_path: Path, size: tuple[int, int]) -> None:
    with opened(browser, paged(SAID)[0], tmp_path, size) as found:
        found.page.click("#trims summary")
        choose(found, "spine", "eye")
        slider(found, "blue").fill("50")
        assert found.js("() => document.documentElement.scrollWidth") <= size[0]
        small = found.js(
            """() => [...document.querySelectorAll(
                "#trims summary, #trims .light, #trims input[type=range], #trim-lines button")]
                .map(node => node.getBoundingClientRect())
                .filter(box => box.width < 44 || box.height < 44).length"""
        )
        assert small == 0
