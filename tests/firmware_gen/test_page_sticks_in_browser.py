"""The channels of a radio as sliders in the preview page: moved by hand, they press their bands as
on the rig. Each frame is held against reference boards whose channels get the same pulses."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import pytest

from seqlang.check import CheckedShow
from sim.rulebook import CHANNEL_GOOD, FRAME_MS
from tests.firmware_gen.browser import Opened, chromium, needs_browser, opened
from tests.firmware_gen.page_shows import EVERYTHING, STICK, VOICE, made, paged
from tests.firmware_gen.test_page_in_browser import button
from tests.firmware_gen.test_page_led_in_browser import assert_played_as_the_reference, state

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
    with opened(browser, paged(STICK)[0], tmp_path, has_touch=True) as found:
        yield found
        assert found.said == []
        assert [url for url in found.asked_for if not url.startswith("file:")] == []


@pytest.fixture(scope="module")
def checked() -> CheckedShow:
    return made(STICK)[0]


def stick(found: Opened) -> Any:
    return found.page.get_by_role("slider", name="channel stick on trunk")


def silence(found: Opened) -> Any:
    return found.page.get_by_role("button", name="no signal on stick")


def ready(found: Opened) -> None:
    found.js("() => bellcrank.seek(200)")
    state(found, "crest: ready")


def heard(found: Opened) -> None:
    """The stick stands in the middle, and its channel is live."""
    ready(found)
    silence(found).click()
    frame = found.js("() => bellcrank.frame")
    found.wait(f"bellcrank.frame > {frame + CHANNEL_GOOD + 2}")


def places(found: Opened) -> list[int]:
    """Where the stick was put in one's own take, in ticks."""
    asked = [one.split() for _, one in found.script()]
    return [int(one[2]) for one in asked if one[:2] == ["put", "stick"]]


@pytest.mark.parametrize("seed", range(6))
def test_random_sticks_and_presses_play_on_all_boards_as_on_the_reference(
    newt: Opened, checked: CheckedShow, seed: int
) -> None:
    dice = Random(seed)
    requests = ["down 1", "up 1", "down 2", "up 2", "stop", "standby", "standby", "lose", "find"]
    script = [(dice.randrange(100, 1500), dice.choice(requests)) for _ in range(25)]
    edges = (0, 0, 1500, 1599, 1600, 3000, 3350, 3349, 3400, 4250, 4251, 4400, 4401, 2600, 1800)
    for name in ("stick", "knob"):
        at = 100
        while at < 1500:
            ticks = dice.choice((*edges, dice.randrange(1500, 4500)))
            script.append((at, f"put {name} {ticks}"))
            at += dice.choice((1, 2, 3, 9, 10, 12, 26, 60, 150))
    off = dice.randrange(300, 1200)
    script += [(off, "unplug tail"), (off + dice.randrange(1, 200), "plug tail")]
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
    cues = newt.js("() => new Set(bellcrank.take.recording.running[0].values).size")
    assert cues > 1


def test_a_stick_that_is_moved_into_its_band_presses_it(newt: Opened, checked: CheckedShow) -> None:
    ready(newt)
    assert stick(newt).get_attribute("aria-valuetext") == "no signal"
    assert silence(newt).get_attribute("aria-pressed") == "true"
    heard(newt)
    assert stick(newt).get_attribute("aria-valuetext") == "1500 microseconds"
    assert silence(newt).get_attribute("aria-pressed") == "false"
    stick(newt).fill("3800")
    assert stick(newt).get_attribute("aria-valuetext") == "1900 microseconds, button 1: swim"
    state(newt, "swim")
    marks = newt.js("() => [...document.querySelectorAll('.mark.runs')].map(one => one.title)")
    assert marks == ["button 1: swim, 1700 \u00b5s to 2100 \u00b5s"]
    assert places(newt) == [3000, 3800]
    newt.page.wait_for_timeout(300)
    assert assert_played_as_the_reference(newt, checked) > 220


def test_a_stick_that_stands_in_a_band_as_its_signal_comes_presses_nothing(
    newt: Opened, checked: CheckedShow
) -> None:
    ready(newt)
    stick(newt).fill("3800")
    frame = newt.js("() => bellcrank.frame")
    newt.wait(f"bellcrank.frame > {frame + 30}")
    assert "swim" not in newt.page.inner_text("#state")
    assert_played_as_the_reference(newt, checked)


def test_a_radio_without_a_signal_lets_go_and_then_its_silence_starts_the_cue_for_it(
    newt: Opened, checked: CheckedShow
) -> None:
    heard(newt)
    newt.page.click("#reach")  # nobody but the radio is heard
    stick(newt).fill("2200")
    state(newt, "flare")
    silence(newt).click()
    newt.wait("!document.getElementById('state').textContent.includes('flare')")
    state(newt, "sag")
    assert places(newt) == [3000, 2200, 0]
    assert_played_as_the_reference(newt, checked)


def test_keys_move_a_stick_and_the_other_keys_still_press(newt: Opened) -> None:
    heard(newt)
    stick(newt).focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowLeft", "End", "Home"):
        newt.page.keyboard.press(key)
        newt.page.wait_for_timeout(60)
    assert places(newt) == [3000, 3010, 3020, 3010, 4400, 1600]
    newt.page.keyboard.press("1")
    newt.page.keyboard.press("Escape")
    asked = [request for _, request in newt.script()]
    assert asked[-3:] == ["down 1", "up 1", "stop"]


def test_a_stick_that_is_dragged_lets_time_go_at_its_own_pace(
    newt: Opened, checked: CheckedShow
) -> None:
    """Many moves of a hand come in one frame: the last counts, and no frame is played for each."""
    heard(newt)
    stick(newt).scroll_into_view_if_needed()
    box = stick(newt).bounding_box()
    y = box["y"] + box["height"] / 2
    before = newt.js("() => [bellcrank.frame, performance.now()]")
    newt.page.mouse.move(box["x"] + box["width"] / 2, y)
    newt.page.mouse.down()
    for _ in range(3):
        newt.page.mouse.move(box["x"] + 0.9 * box["width"], y, steps=40)
        newt.page.mouse.move(box["x"] + 0.5 * box["width"], y, steps=40)
    newt.page.mouse.move(box["x"] + 0.85 * box["width"], y, steps=10)
    newt.page.mouse.up()
    after = newt.js("() => [bellcrank.frame, performance.now()]")
    assert after[0] - before[0] <= (after[1] - before[1]) / FRAME_MS + 2
    state(newt, "swim")
    frames = [frame for frame, request in newt.script() if request.startswith("put stick")]
    assert len(frames) == len(set(frames))
    assert_played_as_the_reference(newt, checked)


def test_a_finger_moves_a_stick(newt: Opened) -> None:
    heard(newt)
    stick(newt).scroll_into_view_if_needed()
    box = stick(newt).bounding_box()
    newt.page.touchscreen.tap(box["x"] + 0.8 * box["width"], box["y"] + box["height"] / 2)
    newt.wait("document.getElementById('stick-stick').value > 3600")
    assert 3600 < places(newt)[-1] < 4100


def test_going_back_shows_a_stick_where_it_was(newt: Opened) -> None:
    heard(newt)
    stick(newt).fill("3800")
    state(newt, "swim")
    newt.page.click("#run")
    put_at = next(frame for frame, request in newt.script() if request == "put stick 3800")
    newt.page.wait_for_timeout(500)
    newt.js("frame => bellcrank.seek(frame)", put_at - 2)
    newt.wait("document.getElementById('stick-stick').value === '3000'")
    newt.js("() => bellcrank.seek(190)")
    newt.wait("document.querySelector('.stick .silent').getAttribute('aria-pressed') === 'true'")
    newt.page.click("#back")
    assert silence(newt).get_attribute("aria-pressed") == "true"


def test_a_show_without_a_radio_has_no_sticks(browser: Browser, tmp_path: Path) -> None:
    with opened(browser, paged(EVERYTHING)[0], tmp_path) as found:
        assert found.page.locator("#sticks").is_hidden()


@pytest.mark.parametrize("size", [(320, 568), (568, 320), (844, 390), (1280, 800), (2560, 1440)])
def test_sticks_fit_every_window_and_are_large_enough_for_a_finger(
    browser: Browser, tmp_path: Path, size: tuple[int, int]
) -> None:
    with opened(browser, paged(STICK)[0], tmp_path, size) as found:
        assert found.js("() => document.documentElement.scrollWidth") <= size[0]
        heights = found.js(
            """() => [...document.querySelectorAll("#sticks button, #sticks input")]
                .map(node => node.getBoundingClientRect())
                .map(box => [box.width >= 44, box.height >= 43.9])"""
        )
        assert heights == [[True, True]] * 4
        past = found.js(
            """() => [...document.querySelectorAll(".mark")].filter(mark => {
                const [own, all] = [mark, mark.parentElement]
                    .map(one => one.getBoundingClientRect());
                return own.left < all.left - 1 || own.right > all.right + 1; }).length"""
        )
        assert past == 0
        cut = found.js(
            """() => [...document.querySelectorAll("#sticks .name, #sticks .told, #sticks .band")]
                .filter(node => node.scrollWidth > node.clientWidth + 1 && node.clientWidth > 0
                    || node.getBoundingClientRect().height
                        > 2 * parseFloat(getComputedStyle(node).fontSize))
                .map(node => node.textContent)"""
        )
        assert cut == []
        whole = found.js(
            "() => [...document.querySelectorAll('.band')].map(one => one.textContent)"
        )
        assert whole == ["2 flare, held", "1 swim"] * 2


def test_a_page_that_gets_a_new_score_keeps_its_sticks(newt: Opened) -> None:
    heard(newt)
    stick(newt).fill("3800")
    state(newt, "swim")
    newt.js("() => bellcrank.renew(JSON.parse(document.getElementById('data').textContent))")
    assert button(newt, "button 1: swim").is_visible()
    newt.wait("document.getElementById('stick-stick').value === '3800'")
    assert places(newt) == [3000, 3800]


# -- sensors -------------------------------------------------------------------------------------


@pytest.fixture
def voice(browser: Browser, tmp_path: Path) -> Iterator[Opened]:
    with opened(browser, paged(VOICE)[0], tmp_path) as found:
        yield found
        assert found.said == []


def test_a_sensor_is_a_slider_in_percent_that_says_what_follows_it(voice: Opened) -> None:
    ready(voice)
    slider = voice.page.get_by_role("slider", name="sensor voice on trunk")
    assert slider.get_attribute("aria-valuetext") == "0 percent, quiet"
    assert voice.page.get_by_role("button", name="no signal on voice").count() == 0
    titles = voice.js(
        """() => [...document.querySelectorAll(".follower, .quiet")].map(one => one.title)"""
    )
    assert titles == ["neck: -20 deg to 20 deg, at 20 % to 80 %", "below 12 % it counts as 0"]
    slider.fill("517")
    assert slider.get_attribute("aria-valuetext") == "50 percent"
    assert voice.script()[-1][1] == "put voice 517"
    slider.focus()
    voice.page.keyboard.press("End")
    assert slider.get_attribute("aria-valuetext") == "100 percent"
    assert voice.script()[-1][1] == "put voice 1023"
    voice.page.keyboard.press("Home")
    assert slider.get_attribute("aria-valuetext") == "0 percent, quiet"


@pytest.mark.parametrize("seed", range(4))
def test_random_voices_and_sticks_play_as_on_the_reference(voice: Opened, seed: int) -> None:
    """Quick and slow, above and below what is quiet, while cues take the part and give it back."""
    dice = Random(seed)
    requests = ["down 1", "up 1", "down 2", "up 2", "stop", "standby", "standby", "lose", "find"]
    script = [(dice.randrange(300, 1500), dice.choice(requests)) for _ in range(12)]
    at = 80
    while at < 1500:
        reading = dice.choice((0, 122, 123, 205, 819, 1023, dice.randrange(1024)))
        script.append((at, f"put voice {reading}"))
        script.append((at, f"put stick {dice.choice((0, 3000, 3800, 2200))}"))
        at += dice.choice((1, 3, 10, 40, 120))
    voice.js(
        """([script, frames]) => {
            const own = bellcrank.take.branch(60);
            for (const [frame, request] of script) own.add(frame, request);
            own.extend(frames);
            Object.defineProperty(bellcrank, 'take', { get: () => own });
        }""",
        [sorted(script, key=lambda one: one[0]), FRAMES],
    )
    assert assert_played_as_the_reference(voice, made(VOICE)[0]) == FRAMES


def test_on_a_phone_across_the_parts_stay_in_sight_while_a_stick_is_moved(
    browser: Browser, tmp_path: Path
) -> None:
    with opened(browser, paged(VOICE)[0], tmp_path, (844, 390), has_touch=True) as found:
        slider = found.page.get_by_role("slider", name="sensor voice on trunk")
        slider.evaluate("node => node.scrollIntoView({ block: 'end' })")
        assert found.js("() => scrollY") > 100
        top, bottom, seen = found.js(
            """() => { const box = document.getElementById("stage").getBoundingClientRect();
                return [box.top, box.bottom, innerHeight]; }"""
        )
        assert 0 <= top < bottom <= seen


@pytest.mark.parametrize("size", [(844, 390), (1280, 800)], ids=lambda size: f"{size[0]}x{size[1]}")
def test_the_parts_that_stay_in_sight_lie_on_nothing_however_far_the_page_is_moved(
    browser: Browser, tmp_path: Path, size: tuple[int, int]
) -> None:
    with opened(browser, paged(VOICE)[0], tmp_path, size) as found:
        gaps = found.js(
            """() => {
                const [drawing, time] = ["drawing", "time"].map(id => document.getElementById(id));
                const end = document.documentElement.scrollHeight - innerHeight;
                const box = node => node.getBoundingClientRect();
                return [...Array(21).keys()].map(n => {
                    scrollTo(0, (end * n) / 20);
                    return box(time).top - box(drawing).bottom;
                });
            }"""
        )
        assert found.js("() => scrollY") > 100
        assert min(gaps) >= 0
