"""The page for phones in a real browser, with fingers, keys and aids, and boards behind it.

WCAG 2.2. Sizes of targets: 2.5.8 (24 CSS pixels, level AA) and 2.5.5 (44, level AAA). Contrast:
1.4.3. Text at twice its size: 1.4.4. The width of 320 CSS pixels: 1.4.10. A press acts when the
finger comes down, because it is held as on the rig: 2.5.2 lets that be where it is essential.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from firmware_gen.link.protocol import ReportedMode, RequestKind
from tests.firmware_gen.browser import chromium, needs_browser
from tests.seqlang.phone_in_hand import (
    SHOWN,
    SIZES,
    PhonePageInHand,
    assert_stop_is_there,
    button,
    in_hand,
    waits,
)
from tests.seqlang.phone_rig import CODE, HELD, PhoneRig, own_place, owner_pid, phone_rig

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = needs_browser

CONTRAST = 4.5


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[PhoneRig]:
    with own_place(tmp_path, monkeypatch), phone_rig() as found:
        yield found


# -- pressing --------------------------------------------------------------------------------------


def test_a_finger_holds_a_button_as_on_the_rig(browser: Browser, rig: PhoneRig) -> None:
    body = rig.boards[0]
    with in_hand(browser, rig) as found:
        found.touch(button(HELD))
        assert waits(found, lambda: body.is_down(HELD))
        then = body.virtual.time_s
        assert waits(found, lambda: body.virtual.time_s > then + 1.5)
        assert body.is_down(HELD)
        found.wait("document.querySelector('.press.runs')?.getAttribute('aria-pressed') === 'true'")
        assert found.js("() => String(getSelection())") == ""
        found.lift()
        assert waits(found, lambda: not body.is_down(HELD))
        assert body.presses(RequestKind.BUTTON) == [bytes([HELD, 1]), bytes([HELD, 0])]


def test_two_fingers_hold_two_buttons(browser: Browser, rig: PhoneRig) -> None:
    body = rig.boards[0]
    with in_hand(browser, rig) as found:
        found.touch(button(HELD), 1)
        found.touch(button(3), 2)
        assert waits(found, lambda: body.is_down(HELD) and body.is_down(3))
        found.lift(1)
        assert waits(found, lambda: not body.is_down(HELD))
        assert body.is_down(3)
        found.lift(2)
        assert waits(found, lambda: not body.is_down(3))


def test_keys_hold_and_an_aid_that_only_clicks_presses(browser: Browser, rig: PhoneRig) -> None:
    body = rig.boards[0]
    with in_hand(browser, rig) as found:
        found.page.locator(button(HELD)).focus()
        found.page.keyboard.down("Space")
        assert waits(found, lambda: body.is_down(HELD))
        found.page.keyboard.up("Space")
        assert waits(found, lambda: not body.is_down(HELD))
        before = len(body.presses(RequestKind.BUTTON))
        found.js(f'() => document.querySelector("{button(3)}").click()')
        assert waits(found, lambda: len(body.presses(RequestKind.BUTTON)) == before + 2)
        found.page.keyboard.press("Escape")
        assert waits(found, lambda: rig.are(ReportedMode.LIMP))


@pytest.mark.parametrize("how", ["hangs", "hidden", "closed"])
def test_a_page_that_goes_lets_go(how: str, browser: Browser, rig: PhoneRig) -> None:
    """Hangs: it runs no more, as some time after the screen is off, and its socket stays open."""
    body = rig.boards[0]
    with in_hand(browser, rig) as found, in_hand(browser, rig) as other:
        found.touch(button(HELD))
        assert waits(other, lambda: body.is_down(HELD))
        if how == "hangs":
            found.send("Debugger.enable")
            found.send("Debugger.pause")
        elif how == "hidden":
            found.js(
                "() => { Object.defineProperty(document, 'hidden', { value: true });"
                " document.dispatchEvent(new Event('visibilitychange')); }"
            )
        else:
            found.page.close()
        assert waits(other, lambda: not body.is_down(HELD))
        if how == "hangs":
            found.send("Debugger.resume")
            found.wait(f'document.querySelector("{button(HELD)}").ariaPressed === "false"')


# -- stop, limp, re-arm ----------------------------------------------------------------------------


def test_one_phone_stops_what_another_holds(browser: Browser, rig: PhoneRig) -> None:
    with in_hand(browser, rig) as found, in_hand(browser, rig) as other:
        found.touch(button(HELD))
        assert waits(found, lambda: rig.boards[0].is_down(HELD))
        other.tap("#stop")
        assert waits(found, lambda: rig.are(ReportedMode.LIMP))
        assert all(len(board.presses(RequestKind.STOP)) == 1 for board in rig.boards)
        for each in (found, other):
            each.wait("document.querySelectorAll('#boards li.limp').length === 2")
        found.lift()


def test_limp_ends_the_pulses(browser: Browser, rig: PhoneRig) -> None:
    with in_hand(browser, rig) as found:
        found.tap("#limp")
        assert waits(found, lambda: rig.are(ReportedMode.LIMP))
        assert all(board.presses(RequestKind.STOP) == [] for board in rig.boards)


@pytest.mark.parametrize("motion", ["no-preference", "reduce"])
def test_re_arm_is_held_and_a_tap_does_nothing(
    motion: str, browser: Browser, rig: PhoneRig
) -> None:
    with in_hand(browser, rig, reduced_motion=motion) as found:
        assert not found.page.is_visible("#rearm")
        found.tap("#limp")
        found.wait("!document.getElementById('rearm').hidden")
        found.tap("#rearm")
        found.page.wait_for_timeout(1500)
        assert rig.are(ReportedMode.LIMP)
        found.touch("#rearm")
        filling = "() => getComputedStyle(document.getElementById('rearm'), '::before')"
        moves = found.js(f"{filling}.transitionDuration")
        assert (moves == "1.2s") == (motion == "no-preference")
        assert waits(found, lambda: not any(b.mode == ReportedMode.LIMP for b in rig.boards))
        found.lift()
        found.wait("document.getElementById('rearm').hidden")


def test_who_cannot_hold_re_arms_in_two_steps(browser: Browser, rig: PhoneRig) -> None:
    with in_hand(browser, rig) as found:
        found.tap("#limp")
        found.wait("!document.getElementById('rearm').hidden")
        click = "() => document.getElementById('rearm').click()"
        found.page.wait_for_timeout(1100)  # what was just touched takes no click
        found.js(click)
        found.js(click)
        found.page.wait_for_timeout(1200)
        assert rig.are(ReportedMode.LIMP)
        found.js(click)
        assert waits(found, lambda: not any(b.mode == ReportedMode.LIMP for b in rig.boards))


# -- what goes wrong -------------------------------------------------------------------------------


def test_a_board_that_is_unplugged_stands_there_with_what_to_do(
    browser: Browser, rig: PhoneRig
) -> None:
    with in_hand(browser, rig) as found:
        rig.boards[1].server.stop()
        found.wait("document.querySelector('#boards li.away')")
        words = found.page.inner_text("#boards li.away")
        assert "bill does not answer" in words
        assert "switch in its supply's lead" in words
        found.tap("#stop")
        found.wait("document.getElementById('alarm').textContent.includes('not confirmed on')")
        assert "`bill`" in found.page.inner_text("#alarm")
        assert waits(found, lambda: rig.boards[0].mode == ReportedMode.LIMP)


@pytest.mark.skipif(os.name != "posix", reason="needs signals")
def test_when_the_owner_is_killed_the_page_lets_go_and_goes_on(
    browser: Browser, rig: PhoneRig
) -> None:
    body = rig.boards[0]
    with in_hand(browser, rig) as found:
        found.touch(button(HELD))
        assert waits(found, lambda: body.is_down(HELD))
        pid = owner_pid()
        assert pid
        os.kill(pid, signal.SIGKILL)
        found.wait("document.getElementById('told').textContent.includes('Press again')")
        assert found.page.get_attribute(button(HELD), "aria-pressed") == "false"
        found.lift()
        found.ready()

        def presses() -> bool:
            """Again, as the page says."""
            found.touch(button(3))
            found.page.wait_for_timeout(300)
            is_down = body.is_down(3)
            found.lift()
            return is_down

        assert waits(found, presses)
        found.tap("#stop")
        assert waits(found, lambda: rig.are(ReportedMode.LIMP))


def test_without_a_connection_the_page_says_what_stops_instead(
    browser: Browser, rig: PhoneRig
) -> None:
    with in_hand(browser, rig) as found:
        rig.end()
        found.wait("document.getElementById('alarm').textContent.includes('No connection')")
        assert found.page.is_visible("#stop")
        found.tap("#stop")
        found.wait("document.getElementById('alarm').textContent.includes('did not arrive')")
        assert "switch in the supply's lead" in found.page.inner_text("#alarm")
        found.said = [words for words in found.said if "ERR_CONNECTION_REFUSED" not in words]


# -- coming in -------------------------------------------------------------------------------------


def test_the_code_is_asked_for_and_a_wrong_one_is_told(browser: Browser, rig: PhoneRig) -> None:
    context = browser.new_context(viewport={"width": 320, "height": 568})
    found = PhonePageInHand(context.new_page())
    found.page.goto(rig.url)
    found.page.fill("#code", "1234 5678")
    found.page.click("#enter")
    found.wait("document.getElementById('turned').textContent === 'Wrong code. 4 tries are left.'")
    found.page.fill("#code", f"{CODE[:4]} {CODE[4:]}")
    found.page.keyboard.press("Enter")
    found.ready()
    assert found.js("() => document.cookie") == ""
    found.page.reload()
    found.ready()
    assert found.said == []
    context.close()


def test_after_too_many_wrong_codes_the_page_says_how_long_to_wait(
    browser: Browser, rig: PhoneRig
) -> None:
    context = browser.new_context()
    found = PhonePageInHand(context.new_page())
    found.page.goto(rig.url)
    for _ in range(5):
        found.js("() => { document.getElementById('turned').textContent = ''; }")
        found.page.fill("#code", "12345678")
        found.page.click("#enter")
        found.wait("document.getElementById('turned').textContent")
    assert "possible in 60 s" in found.page.inner_text("#turned")
    context.close()


# -- how it looks ----------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["100%", "200%"])
def test_stop_and_limp_are_on_the_screen_and_all_targets_are_large(
    text: str, browser: Browser, rig: PhoneRig
) -> None:
    with in_hand(browser, rig) as found:
        found.js("text => { document.documentElement.style.fontSize = text; }", text)
        for state in ("ready", "limp"):
            if state == "limp":
                found.tap("#limp")
                found.wait("document.querySelectorAll('#boards li.limp').length === 2")
            for width, height in SIZES:
                found.page.set_viewport_size({"width": width, "height": height})
                for scrolled in (0, 100_000):
                    assert_stop_is_there(found.js(SHOWN, scrolled))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_what_is_behind_them(
    scheme: str, browser: Browser, rig: PhoneRig
) -> None:
    with in_hand(browser, rig, color_scheme=scheme) as found:
        found.touch(button(HELD))
        found.wait("document.querySelector('.press.runs')")
        rows = found.js(COLOURS)
        found.lift()
        rig.boards[1].server.stop()
        found.wait("document.querySelector('#boards li.away')")
        found.tap("#limp")
        found.wait("document.querySelector('#boards li.limp')")
        rows += found.js(COLOURS)
        assert len(rows) > 20
        low = [row for row in rows if contrast(row["ink"], row["paper"]) < CONTRAST]
        assert low == []


COLOURS = """() => {
    const numbers = colour => colour.match(/[\\d.]+/g).map(Number);
    const behind = node => {
        for (let each = node; each; each = each.parentElement) {
            const found = numbers(getComputedStyle(each).backgroundColor);
            if (found.length < 4 || found[3] > 0) return found.slice(0, 3);
        }
    };
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const rows = [];
    while (walker.nextNode()) {
        const node = walker.currentNode.parentElement;
        if (!walker.currentNode.data.trim() || !node.offsetParent) continue;
        const ink = numbers(getComputedStyle(node).color).slice(0, 3);
        rows.push({ words: walker.currentNode.data, ink, paper: behind(node) });
    }
    return rows;
}"""


def contrast(ink: list[float], paper: list[float]) -> float:
    """WCAG 2.2, definitions of relative luminance and contrast ratio."""

    def luminance(colour: list[float]) -> float:
        parts = [value / 255 for value in colour]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    lighter, darker = sorted((luminance(ink), luminance(paper)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_black_on_white_has_the_contrast_that_the_definition_gives_it() -> None:
    assert contrast([0, 0, 0], [255, 255, 255]) == pytest.approx(21.0)


def test_a_screen_reader_finds_every_part_by_its_name(browser: Browser, rig: PhoneRig) -> None:
    with in_hand(browser, rig) as found:
        tree = found.page.locator("body").aria_snapshot()
        for words in (
            'heading "Heron with a lantern"',
            'list "Boards"',
            'region "Buttons of the remote"',
            'button "button 2: beat, hold, Beats the wing while the button is held"',
            'region "Stop"',
            'button "Limp ends all pulses: parts may drop"',
            'button "Stop to the safe pose, then limp"',
            "status",
        ):
            assert words in tree, tree


def test_nothing_zooms_scrolls_or_is_selected_while_it_is_held(
    browser: Browser, rig: PhoneRig
) -> None:
    with in_hand(browser, rig) as found:
        styles = found.js(
            """() => [...document.querySelectorAll('.press, #stop, #limp, #rearm')].map(node => {
                const style = getComputedStyle(node);
                return [style.touchAction, style.userSelect];
            })"""
        )
        assert styles == [["none", "none"]] * 7
        assert found.js("() => getComputedStyle(document.documentElement).touchAction") == "pan-y"
        kept = found.js(
            """() => ['contextmenu', 'selectstart', 'dragstart'].map(kind => {
                const event = new Event(kind, { bubbles: true, cancelable: true });
                return document.querySelector('.press .does').dispatchEvent(event);
            })"""
        )
        assert kept == [False, False, False]
        found.touch(button(HELD))
        found.touch(button(1), 2)  # two fingers on the page, as for a pinch
        assert found.js("() => visualViewport.scale") == 1
        found.lift(2)
        found.lift(1)
