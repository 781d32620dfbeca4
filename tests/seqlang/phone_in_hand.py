"""The page for phones in a real browser, with fingers on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from tests.seqlang.phone_rig import PhoneRig
from tests.waiting import SOON_S

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


SIZES = [(320, 568), (390, 844), (568, 320), (844, 390), (768, 1024), (1280, 800)]
"""Phones upright and across, a tablet, and a laptop."""
AAA_TARGET_PX = 44


class PhonePageInHand:
    """A page that has come in, what its console said, and fingers."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.said: list[str] = []
        page.on("console", lambda message: self.said.append(message.text))
        page.on("pageerror", lambda error: self.said.append(str(error)))
        self._fingers = page.context.new_cdp_session(page)
        self._down: dict[int, tuple[float, float]] = {}

    def come(self) -> PhonePageInHand:
        self.wait("document.body.dataset.ready === ''")
        return self

    def ready(self) -> PhonePageInHand:
        self.come()
        self.wait("document.querySelectorAll('#boards li.ready').length === 2")
        self.page.wait_for_timeout(300)  # its own way to the boards is made meanwhile
        return self

    def js(self, text: str, argument: Any = None) -> Any:
        return self.page.evaluate(text, argument)

    def wait(self, condition: str) -> None:
        # a function in the page that asks for itself would need what the page forbids itself
        assert until_js(self, condition), condition

    def touch(self, selector: str, finger: int = 1) -> None:
        box = self.page.locator(selector).bounding_box()
        assert box
        self._down[finger] = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        self._dispatch("touchStart")

    def move(self, by_px: float, finger: int) -> None:
        x, y = self._down[finger]
        self._down[finger] = (x + by_px, y)
        self._dispatch("touchMove")

    def lift(self, finger: int = 1) -> None:
        lifted = self._down.pop(finger)
        self._dispatch("touchEnd", {finger: lifted} if self._down else {})

    def tap(self, selector: str) -> None:
        self.touch(selector)
        self.lift()

    def send(self, method: str, **fields: Any) -> None:
        self._fingers.send(method, fields)

    def _dispatch(self, kind: str, fingers: dict[int, tuple[float, float]] | None = None) -> None:
        """`fingers`: which it is about; none at an end: the last."""
        about = self._down if fingers is None else fingers
        points = [{"x": x, "y": y, "id": finger} for finger, (x, y) in about.items()]
        self.send("Input.dispatchTouchEvent", type=kind, touchPoints=points)


def until_js(found: PhonePageInHand, condition: str) -> bool:
    for _ in range(int(SOON_S / 0.02)):
        if found.js(f"() => Boolean({condition})"):
            return True
        found.page.wait_for_timeout(20)
    return False


@contextmanager
def in_hand(
    browser: Browser,
    rig: PhoneRig,
    size: tuple[int, int] = (390, 844),
    ready: Callable[[PhonePageInHand], PhonePageInHand] = PhonePageInHand.ready,
    **more: Any,
) -> Iterator[PhonePageInHand]:
    width, height = size
    context = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=True, is_mobile=True, **more
    )
    found = PhonePageInHand(context.new_page())
    found.page.goto(rig.paired_url)
    yield ready(found)
    assert found.said == []
    context.close()


def waits(found: PhonePageInHand, condition: Callable[[], object]) -> bool:
    """As `until`, while the page goes on."""
    for _ in range(int(SOON_S / 0.01)):
        if condition():
            return True
        found.page.wait_for_timeout(10)
    return False


def button(number: int) -> str:
    return f".press[aria-label^='button {number}:']"


def assert_stop_is_there(shown: dict[str, Any]) -> None:
    assert shown["scrolls"] == [0, 0], shown
    assert shown["wide"] == [], shown
    assert [one for one in shown["safety"] if not one["whole"]] == [], shown
    assert [one for one in shown["targets"] if min(one["size"]) < AAA_TARGET_PX] == [], shown


SHOWN = """top => {
    document.querySelector('main').scrollTop = top;
    scrollTo(0, top);
    const whole = node => {
        const { left, top, right, bottom } = node.getBoundingClientRect();
        const inside = left >= 0 && top >= 0 && right <= innerWidth && bottom <= innerHeight;
        const hit = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
        return inside && node.contains(hit);
    };
    const buttons = [...document.querySelectorAll('button')].filter(one => one.offsetParent);
    const sizeOf = node => [node.offsetWidth, node.offsetHeight];
    return {
        window: [innerWidth, innerHeight],
        scrolls: [scrollX, scrollY],
        wide: [document.documentElement, document.querySelector('main')]
            .filter(one => one.scrollWidth > one.clientWidth).map(one => one.tagName),
        safety: ['stop', 'limp'].map(id => ({ id, whole: whole(document.getElementById(id)) })),
        targets: buttons.map(node => ({ name: node.textContent, size: sizeOf(node) })),
    };
}"""
