"""The preview page in a real browser: pressed, interrupted and scrubbed, it plays as the reference.

What the page has written down of every frame is held against the reference board, which hears the
same requests.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.slots import FIRST_BYTE, MARKS
from firmware_gen.board.storage import Eeprom
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.page.page import MODULES, PARTS
from firmware_gen.page.remote import sayings
from firmware_gen.table.records import StripRecord
from seqlang.check import CheckedShow
from sim.light.lightness import linear_to_srgb, srgb_to_linear
from sim.model import Servo
from sim.pictures.creature import DrawnPart, Outline, creature
from sim.pictures.posing import corners, limbs, looked_at, posed
from sim.rehearsal.sampling import sample
from sim.rig.holding_torque import holding_nm
from sim.rig.servo import current_a, thirstiest_line
from sim.rig.supply import highest_v
from sim.rulebook import FRAME_MS
from tests.firmware_gen.browser import Opened, chromium, needs_browser, opened
from tests.firmware_gen.page_shows import EVERYTHING, LANTERN, LONG_SNAKE, large, made, paged

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = needs_browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def heron(browser: Browser, tmp_path: Path) -> Iterator[Opened]:
    with opened(browser, paged(EVERYTHING)[0], tmp_path) as found:
        yield found
        assert found.said == []
        assert [url for url in found.asked_for if not url.startswith("file:")] == []


@pytest.fixture(scope="module")
def checked() -> CheckedShow:
    return made(EVERYTHING)[0]


# -- the reference -----------------------------------------------------------------------------


def reference(checked: CheckedShow, script: list[tuple[int, str]], frames: int) -> list[Any]:
    """By output as the page records it: what the reference players do with these requests."""
    asked: dict[int, list[str]] = {}
    for frame, request in script:
        asked.setdefault(frame, []).append(request)
    rows = []
    for board in checked.compiled.boards:
        rows += _played(board, asked, frames)
    return rows


def _played(board: Any, asked: dict[int, list[str]], frames: int) -> list[Any]:
    """The reference board, which hears what the page's remote says, and whose contacts close."""
    reference = ReferenceBoard(_stored(board.data))
    assert reference.player
    says, turns = sayings(made(EVERYTHING)[0].show), itertools.cycle((0, 1))
    contacts = {one.button for one in board.table.inputs}
    in_reach = True
    shown = []
    for number in range(frames):
        if in_reach:
            reference.receive(says["beacon"][next(turns)])
        for request in asked.get(number, ()):
            what, _, which = request.partition(" ")
            if what in ("lose", "find"):
                in_reach = what == "find"
            elif what in ("close", "open"):
                if int(which) in contacts:
                    reference.player.button(int(which), what == "close")
                    reference.player.heard()
            elif in_reach:
                reference.receive(says[request][next(turns)])
        shown.append(reference.frame())
    return by_output(board.table.outputs, shown)


def _stored(table: bytes) -> Eeprom:
    """The cells of a board that plays this table from its first slot."""
    cells = Eeprom()
    for at, byte in enumerate(table):
        cells.write(FIRST_BYTE + at, byte)
    cells.write(FIRST_BYTE + 2 * ATMEGA328P.slot_bytes, MARKS[0])
    return cells


def by_output(outputs: Any, shown: list[Any]) -> list[Any]:
    rows: list[Any] = []
    at = {"pulses": 0, "duties": 0, "strips": 0, "switches": 0}
    kinds = {"ServoRecord": "pulses", "LampRecord": "duties", "StripRecord": "strips"}
    for output in outputs:
        kind = kinds.get(type(output).__name__, "switches")
        values = [getattr(frame, kind)[at[kind]] for frame in shown]
        at[kind] += 1
        if isinstance(output, StripRecord):
            rows.append([_mean(data, output) for data in values])
        else:
            rows.append([[int(value)] for value in values])
    return rows


def _mean(data: bytes, strip: StripRecord) -> list[int]:
    """Red, green and blue of all pixels together, as the page keeps them."""
    from firmware_gen.table.layout import ORDERS

    sums = [0, 0, 0]
    for n, byte in enumerate(data):
        sums["rgb".index(ORDERS[strip.order][n % 3])] += byte
    return [int(total / strip.pixels + 0.5) for total in sums]


def hold_against_the_reference(found: Opened, checked: CheckedShow) -> int:
    recorded = found.recorded()
    frames = len(recorded[0])
    wanted = reference(checked, found.script(), frames)
    for row, want in zip(recorded, wanted, strict=True):
        first = next((n for n in range(frames) if row[n] != want[n]), None)
        assert first is None, f"frame {first}: {row[first]} for {want[first]}"
    return frames


# -- playing -----------------------------------------------------------------------------------


def test_the_whole_rehearsal_is_played_as_the_reference_plays_it(
    heron: Opened, checked: CheckedShow
) -> None:
    heron.wait("bellcrank.take.recording.frames === bellcrank.take.frames")
    frames = hold_against_the_reference(heron, checked)
    assert frames > 1000


def test_the_angle_under_the_playhead_is_that_of_the_rehearsal(
    heron: Opened, checked: CheckedShow
) -> None:
    _, _, played = paged(EVERYTHING)
    for frame in (300, 640, 700, 801):
        heron.js("frame => bellcrank.seek(frame)", frame)
        heron.wait(f"document.getElementById('clock').textContent.startsWith('{frame / 50:.2f} s')")
        ideal = sample(played, [frame * FRAME_MS]).servos
        cells = dict(
            heron.js(
                "() => [...document.querySelectorAll('#readings tbody tr')]"
                ".map(row => [row.cells[0].textContent, row.cells[1].textContent])"
            )
        )
        for name in ("neck", "wing", "fold", "head", "crest"):
            shown, unit = cells[name].split(" ")
            assert float(shown) == pytest.approx(ideal[name].angle_deg[0], abs=0.11)
            assert unit == ("mm" if name == "crest" else "deg")


@pytest.mark.parametrize(("pace", "share"), [("1", 1.0), ("0.25", 0.25)])
def test_running_goes_on_no_faster_than_its_pace(heron: Opened, pace: str, share: float) -> None:
    heron.page.select_option("#pace", pace)
    heron.page.click("#run")
    before = heron.js("() => [bellcrank.frame, performance.now()]")
    heron.wait("bellcrank.frame > 12")
    after = heron.js("() => [bellcrank.frame, performance.now()]")
    assert after[0] - before[0] <= share * (after[1] - before[1]) / FRAME_MS + 2
    heron.page.click("#run")
    held = heron.js("() => bellcrank.frame")
    heron.page.wait_for_timeout(150)
    assert heron.js("() => bellcrank.frame") == held


def test_a_loop_goes_round_the_cue_under_the_playhead(heron: Opened) -> None:
    heron.js("() => bellcrank.seek(510)")  # in the cue that looks about
    heron.wait("document.getElementById('state').textContent.endsWith('look')")
    heron.page.click("#loop")
    heron.js("() => { bellcrank.seek(620); bellcrank.run(true); }")
    heron.wait("bellcrank.frame < 600")
    assert heron.js("() => bellcrank.frame") >= 460


def test_scrubbing_there_and_back_shows_the_same_boards(heron: Opened) -> None:
    heron.wait("bellcrank.take.recording.frames === bellcrank.take.frames")
    frames = [1200, 3, 700, 699, 1400, 501, 499, 500, 0]
    found = heron.js(
        """frames => frames.map(frame => {
            const rig = bellcrank.take.at(frame);
            const { recording } = bellcrank.take;
            return recording.tracks.map(({ kind, board, index }, n) => kind !== "servo" ||
                rig.boards[board].pulses[index] === recording.pulse(n, frame));
        })""",
        frames,
    )
    assert all(all(row) for row in found)


def test_dragging_in_the_band_goes_to_that_time(heron: Opened) -> None:
    heron.wait("bellcrank.take.recording.frames === bellcrank.take.frames")
    heron.page.locator("#band").scroll_into_view_if_needed()
    box = heron.page.locator("#band").bounding_box()
    assert box
    heron.page.mouse.move(box["x"] + 300, box["y"] + 60)
    heron.page.mouse.down()
    heron.page.mouse.move(box["x"] + 96 + (box["width"] - 96) / 2, box["y"] + 60, steps=4)
    heron.page.mouse.up()
    last = heron.js("() => bellcrank.take.frames - 1")
    assert heron.js("() => bellcrank.frame") == pytest.approx(last / 2, abs=4)


# -- the remote --------------------------------------------------------------------------------


def ready(found: Opened) -> None:
    """Past the quiet start, in the rehearsal's first seconds."""
    found.js("() => bellcrank.seek(200)")
    found.wait("document.getElementById('state').textContent.includes('ready, bill: ready')")


def button(found: Opened, words: str) -> Any:
    return found.page.get_by_role("button", name=words, exact=False)


def test_cues_interrupt_one_another_on_the_page_as_on_the_rig(
    heron: Opened, checked: CheckedShow
) -> None:
    ready(heron)
    button(heron, "button 1: look").click()
    heron.wait("document.getElementById('state').textContent.includes('look')")
    heron.wait("bellcrank.frame > 225")
    beat = button(heron, "button 2: beat, held")
    beat.hover()
    heron.page.mouse.down()
    heron.wait("bellcrank.frame > 320")
    assert beat.get_attribute("aria-pressed") == "true"
    heron.page.mouse.up()
    assert beat.get_attribute("aria-pressed") == "false"
    button(heron, "start sag").click()
    heron.page.wait_for_timeout(300)
    button(heron, "button 5: stop").click()
    heron.wait("document.getElementById('state').textContent.includes('stopping')")
    heron.page.wait_for_timeout(400)
    asked = [request for _, request in heron.script()]
    assert asked[-7:] == ["down 1", "up 1", "down 2", "up 2", "go sag", "down 5", "up 5"]
    frames = hold_against_the_reference(heron, checked)
    assert frames > 320


def test_stop_limp_and_re_arm_are_the_boards_own(heron: Opened, checked: CheckedShow) -> None:
    ready(heron)
    heron.page.click("#limp")
    heron.wait("document.getElementById('state').textContent === 'body: limp, bill: limp'")
    heron.page.click("#standby")
    heron.wait("document.getElementById('state').textContent.includes('body: starting')")
    heron.wait("document.getElementById('state').textContent.includes('body: ready')")
    heron.page.click("#stop")
    heron.wait("document.getElementById('state').textContent.includes('body: stopping')")
    heron.wait("document.getElementById('state').textContent.includes('body: limp')")
    asked = [request for _, request in heron.script()]
    assert asked[-3:] == ["limp", "standby", "stop"]
    assert hold_against_the_reference(heron, checked) > 100


def test_a_press_while_the_boards_start_is_answered_in_words(heron: Opened) -> None:
    heron.js("() => bellcrank.seek(0)")
    button(heron, "start sag").click()
    heron.wait("document.getElementById('told').textContent.includes('begins no cue yet')")
    told = heron.page.locator("#state").text_content()
    assert told is not None
    assert told.startswith("body: starting (begins no cue yet)")
    heron.wait("document.getElementById('state').textContent.includes('body: ready')")
    assert "begins no cue" not in (heron.page.locator("#state").text_content() or "")


def test_a_remote_out_of_reach_starts_the_cue_for_it(heron: Opened, checked: CheckedShow) -> None:
    ready(heron)
    heron.page.click("#reach")
    heron.wait("document.getElementById('reach').getAttribute('aria-pressed') === 'true'")
    heron.wait("document.getElementById('state').textContent.endsWith('; sag')")
    heron.page.click("#reach")
    heron.page.wait_for_timeout(300)
    hold_against_the_reference(heron, checked)
    lost, found = (frame for frame, what in heron.script() if what in ("lose", "find"))
    assert found - lost >= 2000 / FRAME_MS


def test_a_contact_is_closed_on_its_own_board_only(heron: Opened, checked: CheckedShow) -> None:
    ready(heron)
    button(heron, "button 4: show_crest, contact on bill").click()
    heron.wait("document.getElementById('state').textContent.endsWith('; show_crest')")
    running = heron.js("() => bellcrank.take.at(bellcrank.frame).boards.map(one => one.running)")
    cues = [[cue.name for cue in board.cues] for board in checked.compiled.boards]
    assert running[1] == 1 << cues[1].index("show_crest")
    assert "close 4" in [request for _, request in heron.script()]


def test_keys_press_hold_and_let_go(heron: Opened, checked: CheckedShow) -> None:
    ready(heron)
    heron.page.keyboard.down("2")
    heron.page.wait_for_timeout(300)
    heron.page.keyboard.down("2")  # repeats while it is held
    heron.page.keyboard.up("2")
    heron.page.keyboard.press("Escape")
    heron.page.keyboard.press("l")
    heron.page.keyboard.press("r")
    heron.page.keyboard.press("m")
    asked = [request for _, request in heron.script()]
    assert asked[-6:] == ["down 2", "up 2", "stop", "limp", "standby", "lose"]
    heron.page.wait_for_timeout(200)
    hold_against_the_reference(heron, checked)


def test_a_focused_button_is_held_by_its_keys(heron: Opened) -> None:
    ready(heron)
    button(heron, "button 2: beat, held").focus()
    heron.page.keyboard.down("Enter")
    heron.page.wait_for_timeout(100)
    assert heron.script()[-1][1] == "down 2"
    heron.page.keyboard.up("Enter")
    assert heron.script()[-1][1] == "up 2"


def test_leaving_the_page_lets_go_of_what_is_held(heron: Opened) -> None:
    ready(heron)
    heron.page.keyboard.down("2")
    heron.js("() => dispatchEvent(new Event('blur'))")
    assert heron.script()[-1][1] == "up 2"


def test_two_fingers_hold_two_buttons_and_a_cancelled_touch_lets_go(
    browser: Browser, tmp_path: Path, checked: CheckedShow
) -> None:
    with opened(browser, paged(EVERYTHING)[0], tmp_path, (390, 844), has_touch=True) as found:
        ready(found)
        touch = found.page.context.new_cdp_session(found.page)
        spots = []
        button(found, "button 1: look").scroll_into_view_if_needed()
        for number, name in enumerate(("button 1: look", "button 2: beat, held")):
            box = button(found, name).bounding_box()
            assert box
            spots.append({"x": box["x"] + 20, "y": box["y"] + 20, "id": number})

        def touches(kind: str, those: list[dict[str, float]]) -> None:
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": those})

        touches("touchStart", spots[:1])
        touches("touchStart", spots)
        found.wait("document.querySelectorAll('#presses [aria-pressed=true]').length === 2")
        touches("touchCancel", [])
        found.wait("document.querySelectorAll('#presses [aria-pressed=true]').length === 0")
        asked = [request for _, request in found.script()][-4:]
        assert asked[:2] == ["down 1", "down 2"]
        assert sorted(asked[2:]) == ["up 1", "up 2"]
        found.page.wait_for_timeout(200)
        hold_against_the_reference(found, checked)


@pytest.mark.parametrize("seed", range(3))
def test_random_scripts_are_played_as_the_reference_plays_them(
    heron: Opened, checked: CheckedShow, seed: int
) -> None:
    dice = Random(seed)
    requests = ["down 1", "up 1", "down 2", "up 2", "down 3", "up 3", "stop", "limp", "standby"]
    requests += ["standby", "down 5", "up 5", "go sag", "go look", "lose", "find", "down 4", "up 4"]
    script = sorted((dice.randrange(100, 1500), dice.choice(requests)) for _ in range(60))
    heron.js(
        """script => {
            let own = bellcrank.take.branch(60);
            for (const [frame, request] of script) own.add(frame, request);
            own.extend(1600);
            bellcrank.own = own;
        }""",
        script,
    )
    heron.js("() => Object.defineProperty(bellcrank, 'take', { get: () => bellcrank.own })")
    assert hold_against_the_reference(heron, checked) == 1600


def test_one_can_go_back_in_ones_own_take_and_on_from_there(
    heron: Opened, checked: CheckedShow
) -> None:
    ready(heron)
    button(heron, "button 1: look").click()
    heron.wait("bellcrank.frame > 245")
    heron.js("() => { bellcrank.run(false); bellcrank.seek(225); }")
    button(heron, "button 3: spin").click()
    heron.wait("bellcrank.frame > 240")
    assert (226, "down 3") in heron.script()
    assert [request for _, request in heron.script()][-2:] == ["down 3", "up 3"]
    hold_against_the_reference(heron, checked)
    heron.page.click("#back")
    heron.wait("!bellcrank.take.own")
    heron.wait("document.getElementById('mine').hidden")
    hold_against_the_reference(heron, checked)


def effort_of(found: Opened, name: str) -> str:
    """What the readings say of a servo's effort."""
    rows = found.page.locator("#readings tbody tr")
    row = rows.filter(has=found.page.get_by_text(name, exact=True))
    return str(row.locator("td").nth(2).locator("span").first.inner_text())


def test_of_a_long_chain_what_it_takes_to_stand_still_is_that_of_the_mechanics(
    browser: Browser, tmp_path: Path
) -> None:
    """Against `sim.rig.holding_torque`, which is held against the outside in its own tests."""
    text, made_of_parts, _ = paged(LONG_SNAKE)
    with opened(browser, text, tmp_path) as snake:
        snake.js("() => bellcrank.seek(100)")
        snake.page.wait_for_timeout(200)
        assert " of " in effort_of(snake, "part_0")
        button(snake, "button 1: coil").click()
        snake.wait("bellcrank.take.own && bellcrank.frame > 260")
        snake.js("() => bellcrank.run(false)")
        snake.js("() => bellcrank.seek(250)")
        snake.page.wait_for_timeout(200)
        rig = made_of_parts.show.rig
        held = {part.name: part.held for part in creature(made_of_parts.show)}
        for track, servo in enumerate(rig.outputs):
            assert isinstance(servo, Servo)
            place = snake.js("n => bellcrank.take.recording.place(n, 250)", track)
            limit = held[servo.name]
            assert limit is not None
            step = (servo.travel_deg[1] - servo.travel_deg[0]) / (len(limit.poses) - 1)
            near = np.linspace(place - step, place + step, 41).clip(*servo.travel_deg)
            shares = holding_nm(servo, near, rig.wearer) / limit.limit
            words = effort_of(snake, servo.name)
            found = re.fullmatch(
                r"to stand still: (\d+) % of what it can hold, (\d+\.\d+) A", words
            )
            assert found, words
            here = float(holding_nm(servo, place, rig.wearer)) / limit.limit
            assert int(found[1]) >= np.floor(100 * here - 0.5)  # never less than it takes
            assert int(found[1]) <= np.ceil(100 * shares.max() + 0.5)
            thirst = thirstiest_line(servo, highest_v(rig, servo.board))
            least = float(current_a(thirst, holding_nm(servo, place, rig.wearer)))
            assert least - 0.006 <= float(found[2])
            assert float(found[2]) <= current_a(thirst, limit.limit * shares.max()) + 0.006


def test_a_limp_part_holds_nothing(heron: Opened) -> None:
    ready(heron)
    heron.page.keyboard.press("l")
    heron.wait("bellcrank.take.own")
    heron.page.wait_for_timeout(400)
    heron.js("() => bellcrank.run(false)")
    heron.page.wait_for_timeout(200)
    assert effort_of(heron, "neck") == "\u2013"


# -- what is shown -----------------------------------------------------------------------------


def test_lights_have_the_colours_that_srgb_gives_their_duties(heron: Opened) -> None:
    """IEC 61966-2-1, as `sim.light.lightness` has it, which is held against colour-science."""
    heron.js("() => bellcrank.seek(900)")
    heron.wait("bellcrank.take.at(900).boards[1].duties[0] > 2000")
    duty = heron.js("() => bellcrank.take.at(900).boards[1].duties[0]")
    tint = np.array(heron.js("() => bellcrank.show.boards[1].outputs.find(o => o.tint).tint"))
    want = np.rint(255 * linear_to_srgb(duty / 65535 * tint))
    heron.wait("document.getElementById('clock').textContent.startsWith('18.00')")
    found = heron.js(
        """() => { const canvas = document.getElementById("lamps");
            const pen = canvas.getContext("2d"), shades = new Set();
            const all = pen.getImageData(0, 0, canvas.width, canvas.height).data;
            for (let n = 0; n < all.length; n += 4) shades.add(all.slice(n, n + 3).join());
            return [...shades]; }"""
    )
    assert ",".join(str(int(part)) for part in want) in found


def test_a_lamp_is_drawn_on_the_part_that_carries_it(heron: Opened) -> None:
    heron.js("() => bellcrank.seek(900)")
    heron.wait("document.getElementById('clock').textContent.startsWith('18.00')")
    found = heron.js(
        """() => ["stage", "lamps"].map(name => {
            const canvas = document.getElementById(name), shades = new Set();
            const pen = canvas.getContext("2d");
            const all = pen.getImageData(0, 0, canvas.width, canvas.height).data;
            for (let n = 0; n < all.length; n += 4) shades.add(all.slice(n, n + 3).join());
            return [...shades]; })"""
    )
    orange = [shade for shade in found[1] if shade.startswith("2") and shade.endswith(",0")]
    assert set(orange) & set(found[0])


def test_findings_are_listed_and_lead_to_their_moment(heron: Opened) -> None:
    items = heron.page.locator("#notes li")
    assert items.count() > 0
    assert "`" not in heron.page.locator("#notes").inner_text()
    assert items.locator("code").count() > 0
    moment = items.locator("button").first
    seconds = float(moment.inner_text().split(" ")[0])
    moment.click()
    assert heron.js("() => bellcrank.frame") == pytest.approx(seconds * 50, abs=4)


def test_everything_that_can_be_pressed_or_read_has_a_name(heron: Opened) -> None:
    nameless = heron.js(
        """() => [...document.querySelectorAll("button, input, select, canvas:not([aria-hidden])")]
            .filter(node => !(node.getAttribute("aria-label") || node.textContent.trim()
                || node.closest("label")))
            .map(node => node.outerHTML)"""
    )
    assert nameless == []
    heron.js("() => bellcrank.seek(500)")
    heron.wait("document.getElementById('band').getAttribute('aria-valuetext').startsWith('10.00')")
    assert "body: ready" in heron.page.inner_text("#told") or heron.page.inner_text("#told")


NAMED_ROLES = {
    "button",
    "checkbox",
    "combobox",
    "slider",
    "image",
    "region",
    "heading",
    "rowheader",
}


def test_a_screen_reader_hears_a_name_and_a_state_for_all_that_can_be_worked(
    heron: Opened,
) -> None:
    """From the browser's own accessibility tree (WAI-ARIA 1.2; WCAG 2.2, 4.1.2)."""
    heron.js(
        """() => { const lean = document.getElementById("lean");
            lean.value = -15; lean.dispatchEvent(new Event("input")); }"""
    )
    session = heron.page.context.new_cdp_session(heron.page)
    nodes = [
        (node["role"]["value"], node.get("name", {}).get("value", ""))
        for node in session.send("Accessibility.getFullAXTree")["nodes"]
        if not node.get("ignored")
    ]
    assert [role for role, name in nodes if role in NAMED_ROLES and not name.strip()] == []
    regions = [name for role, name in nodes if role == "region"]
    in_order = heron.js("() => [...document.querySelectorAll('section')].map(one => one.ariaLabel)")
    assert in_order[:3] == ["Parts and lights", "Remote", "Time"]
    assert set(in_order[:3]) <= set(regions)
    names = [name for role, name in nodes if role == "button"]
    assert len(names) == len(set(names))
    assert "Wearer leans" in [name for role, name in nodes if role == "slider"]
    assert heron.page.get_attribute("#lean", "aria-valuetext") == "15 degrees back"


def test_the_tab_key_reaches_everything_in_the_order_of_the_page(heron: Opened) -> None:
    """WCAG 2.2, 2.1.1, 2.4.3 and 2.4.7: by keyboard alone, in order, and one sees where one is."""
    workable = heron.js(
        """() => [...document.querySelectorAll("button, input, select, summary, [tabindex]")]
            .filter(node => node.checkVisibility()).map((node, n) => (node.dataset.n = n))"""
    )
    heron.js("() => document.activeElement.blur()")
    reached = []
    for _ in workable:
        heron.page.keyboard.press("Tab")
        at, outline = heron.js(
            """() => [Number(document.activeElement.dataset.n),
                getComputedStyle(document.activeElement).outlineStyle]"""
        )
        reached.append(at)
        assert outline != "none"
    assert reached == workable


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_what_is_behind_them(
    browser: Browser, tmp_path: Path, scheme: str
) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for words; 1.4.11: 3 to 1 for what a drawing is read by."""
    with opened(browser, paged(EVERYTHING)[0], tmp_path, color_scheme=scheme) as found:
        names = ("paper", "card", "ink", "dim", "part", "mark", "cue", "pale", "bad", "edge")
        shades = found.js(
            """names => { const style = getComputedStyle(document.documentElement);
                return Object.fromEntries(
                    names.map(name => [name, style.getPropertyValue(`--${name}`).trim()])); }""",
            list(names),
        )
    light = {name: _luminance(shade) for name, shade in shades.items()}
    for over in ("paper", "card"):
        for words in ("ink", "dim"):
            assert _contrast(light[words], light[over]) >= 4.5, (words, over)
        for shape in ("part", "mark", "bad", "edge"):
            assert _contrast(light[shape], light[over]) >= 3.0, (shape, over)
    for band in ("cue", "pale"):
        assert _contrast(light["ink"], light[band]) >= 4.5, band


def _luminance(shade: str) -> float:
    linear = srgb_to_linear(np.array([int(shade[n : n + 2], 16) for n in (1, 3, 5)]) / 255.0)
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def _contrast(one: float, other: float) -> float:
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)


def test_a_show_of_lights_alone_has_no_sheet_of_parts(browser: Browser, tmp_path: Path) -> None:
    with opened(browser, paged(LANTERN)[0], tmp_path) as found:
        found.js("() => bellcrank.seek(120)")
        found.wait("bellcrank.take.at(120).boards[0].duties[0] > 1000")
        assert not found.page.is_visible("#postures")
        assert found.page.is_visible("#caution")
        assert found.said == []


SIZES = [
    (320, 568),
    (568, 320),
    (390, 844),
    (844, 390),
    (768, 1024),
    (1024, 768),
    (1280, 800),
    (1920, 1080),
    (2560, 1440),
]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_the_page_fits_every_window_and_covers_nothing(
    browser: Browser, tmp_path: Path, size: tuple[int, int], scheme: str
) -> None:
    text = paged(large())[0] if scheme == "dark" else paged(EVERYTHING)[0]
    with opened(browser, text, tmp_path, size, color_scheme=scheme) as found:
        found.wait("bellcrank.take.recording.frames === bellcrank.take.frames")
        assert found.js("() => document.documentElement.scrollWidth") <= size[0]
        boxes = found.js(
            """() => [...document.querySelectorAll("main section:not([hidden])")]
                .map(node => node.getBoundingClientRect())
                .map(box => [box.left, box.top, box.right, box.bottom])"""
        )
        for n, one in enumerate(boxes):
            for other in boxes[n + 1 :]:
                apart = (
                    one[2] <= other[0] + 1
                    or other[2] <= one[0] + 1
                    or one[3] <= other[1] + 1
                    or other[3] <= one[1] + 1
                )
                assert apart, (one, other)
        small = found.js(
            """() => [...document.querySelectorAll(".press")]
                .map(node => node.getBoundingClientRect())
                .filter(box => box.width < 44 || box.height < 40).length"""
        )
        assert small == 0  # WCAG 2.2, 2.5.5: 44 by 44 px; 2.5.8 asks for 24
        assert found.said == []


@pytest.mark.parametrize("size", [(740, 360), (844, 390)], ids=lambda size: f"{size[0]}x{size[1]}")
def test_on_a_phone_that_lies_across_the_parts_and_every_button_are_seen_together(
    browser: Browser, tmp_path: Path, size: tuple[int, int]
) -> None:
    with opened(browser, paged(EVERYTHING)[0], tmp_path, size, has_touch=True) as found:
        bottoms = found.js(
            """() => [...document.querySelectorAll(".press, #stage")]
                .map(node => node.getBoundingClientRect().bottom)"""
        )
        assert len(bottoms) == 11
        assert max(bottoms) <= size[1]


def test_with_reduced_motion_the_picture_changes_in_steps(browser: Browser, tmp_path: Path) -> None:
    with opened(browser, paged(EVERYTHING)[0], tmp_path, reduced_motion="reduce") as found:
        assert found.page.is_checked("#steps")
        found.page.click("#run")
        seen = found.js(
            """() => new Promise(done => {
                const start = performance.now(), clocks = new Set();
                const look = () => {
                    clocks.add(document.getElementById("clock").textContent);
                    const passed = performance.now() - start;
                    if (passed < 1200) requestAnimationFrame(look);
                    else done([clocks.size, passed]);
                };
                look();
            })"""
        )
        assert seen[0] <= seen[1] / 500 + 2  # two a second


def test_lights_that_are_hard_on_the_eyes_stay_dark_until_they_are_asked_for(
    browser: Browser, tmp_path: Path
) -> None:
    from firmware_gen.page.page import PageNote, page

    _, checked, played = paged(EVERYTHING)
    hard = PageNote("warning", "long-strobe", "`eye` flashes", "line 3", (), True)
    text = page(checked.compiled, checked.tables, played, [hard])
    with opened(browser, text, tmp_path) as found:
        found.js("() => bellcrank.seek(900)")
        found.wait("document.getElementById('clock').textContent.startsWith('18.00')")
        assert found.page.is_visible("#cover")
        found.page.click("#run")
        assert found.page.is_visible("#cover")
        found.page.click("#reveal")
        assert not found.page.is_visible("#cover")


def test_the_page_lets_itself_reach_nothing(browser: Browser, tmp_path: Path) -> None:
    with opened(browser, paged(EVERYTHING)[0], tmp_path, bypass_csp=False) as found:
        assert found.said == []
        reached = found.js(
            """() => fetch("http://127.0.0.1:9/").then(() => "reached", () => "kept in")"""
        )
        assert reached == "kept in"
        assert any("Content Security Policy" in words for words in found.said)


def test_nothing_moves_before_something_is_pressed(heron: Opened) -> None:
    heron.page.wait_for_timeout(300)
    assert heron.js("() => bellcrank.frame") == 0


def test_the_modules_ask_one_another_for_all_they_use(browser: Browser) -> None:
    """The page made of its modules one by one, as a browser loads them, runs as well."""
    text = paged(EVERYTHING)[0]
    head = text[: text.index('<script type="module">')]
    served = head + '<script type="module" src="/page.js"></script></html>'
    context = browser.new_context()
    page = context.new_page()

    def answer(route: Any) -> None:
        name = route.request.url.rsplit("/", 1)[1]
        if name.removesuffix(".js") in MODULES:
            code = (PARTS / name).read_text("utf-8")
            route.fulfill(body=code, content_type="text/javascript")
        else:
            route.fulfill(body=served, content_type="text/html")

    page.route("**/*", answer)
    found = Opened(page)
    page.goto("http://page.test/")
    found.ready()
    assert found.said == []
    context.close()


def in_modules(browser: Browser, script: str, argument: Any) -> Any:
    """What a script gives that imports the page's modules one by one."""
    context = browser.new_context()
    page = context.new_page()

    def answer(route: Any) -> None:
        name = route.request.url.rsplit("/", 1)[1]
        if name.endswith(".js"):
            route.fulfill(body=(PARTS / name).read_text("utf-8"), content_type="text/javascript")
        else:
            route.fulfill(body="<!doctype html>", content_type="text/html")

    page.route("**/*", answer)
    page.goto("http://page.test/")
    found = page.evaluate(script, argument)
    context.close()
    return found


@pytest.mark.parametrize("seed", range(4))
def test_the_page_and_the_motion_picture_see_the_same_creature(browser: Browser, seed: int) -> None:
    """Tips and bodies of chains of any build, in every view that either of them draws."""
    parts = random_creature(Random(seed))
    places = {part.name: Random(seed).uniform(*part.travel) for part in parts}
    found = in_modules(
        browser,
        """async ([parts, places]) => {
            const { corners, limbsOf, looking, posed, tipOf } = await import("/creature.js");
            const { place } = await import("/space.js");
            return limbsOf(parts).map(limb => limb.views.map(view => [view,
                ...[...posed(limb.parts, part => places[part.name]).values()].map(
                    ({ part, frame }) => [tipOf(part, frame),
                        ...part.bodies.flatMap(body => corners(part, body))
                            .map(one => place(frame, one))].map(looking(view, 0)))])); }""",
        [[asdict(part) for part in parts], places],
    )
    drawn = limbs(parts)
    assert [[view for view, *_ in limb] for limb in found] == [list(one.views) for one in drawn]
    assert any(len(limb) == 3 for limb in found)
    for limb, views in zip(drawn, found, strict=True):
        for view, *rows in views:
            for one, row in zip(posed(limb.parts, places.__getitem__), rows, strict=True):
                inside = [corners(one.part, body) for body in one.part.bodies]
                want = [one.tip, *one.frame.of(np.concatenate(inside))]
                np.testing.assert_allclose(row, looked_at(view, np.array(want)), atol=1e-12)


def random_creature(dice: Random) -> list[DrawnPart]:
    """Parts on parts, some turned, some that slide, with bodies of any size."""

    def body() -> Outline:
        sizes = [dice.uniform(0.01, 0.1) for _ in range(3)]
        return Outline("box", dice.uniform(-0.05, 0.05), *sizes, dice.uniform(-90, 90))

    found: list[DrawnPart] = []
    for n in range(10):
        carrier = None if n % 4 == 0 else found[n - 1].name
        slides = n % 5 == 3
        turn = 0.0 if carrier is None else (90.0, 37.0, 0.0, -90.0)[n % 4]
        part = DrawnPart(
            f"part {n}",
            carrier,
            dice.choice((-1, 1)),
            dice.uniform(-40, 40),
            dice.uniform(0, 0.2),
            dice.uniform(-60, 60),
            turn,
            upright=carrier is None and n % 8 == 4,
            way_deg=dice.uniform(-90, 90) if slides else None,
            spins=n == 9,
            travel=(-50.0, 50.0),
            tip_m=dice.uniform(0, 0.2),
            bodies=[body() for _ in range(2)],
            held=None,
        )
        found.append(part)
    return found


def test_a_part_is_drawn_where_rotations_in_space_put_it(browser: Browser) -> None:
    """Against `scipy.spatial.transform.Rotation`: the carrier's turn, then about its zero line."""
    from scipy.spatial.transform import Rotation

    made_show, _ = made(EVERYTHING)
    places = {"neck": 25.0, "head": -18.0, "wing": 12.0, "fold": 33.0}
    parts = [asdict(part) for part in creature(made_show.show) if part.name in places]
    tips = in_modules(
        browser,
        """async ([parts, places]) => {
            const { posed, tipOf } = await import("/creature.js");
            return [...posed(parts, part => places[part.name]).values()]
                .map(({ part, frame }) => [part.name, tipOf(part, frame)]); }""",
        [parts, places],
    )
    found = {name: np.array(tip) for name, tip in tips}
    about = Rotation.from_euler
    neck = about("z", 25, degrees=True)
    head = neck * about("x", 90, degrees=True) * about("z", -18, degrees=True)
    np.testing.assert_allclose(found["neck"], neck.apply([0.18, 0, 0]), atol=1e-9)
    np.testing.assert_allclose(
        found["head"], neck.apply([0.18, 0, 0]) + head.apply([0.12165525, 0, 0]), atol=1e-6
    )
    # a level part rises with its angle: about minus y, as x is forward and z up
    wing = about("y", -12, degrees=True)
    fold = about("y", -45, degrees=True)
    np.testing.assert_allclose(
        found["fold"], wing.apply([0.15, 0, 0]) + fold.apply([0.12, 0, 0]), atol=1e-9
    )


def test_the_pins_of_a_board_are_those_of_its_chip(heron: Opened) -> None:
    pin = heron.js("() => bellcrank.show.boards[1].inputs[0][1]")
    assert pin == ATMEGA328P.pin("PC0")
