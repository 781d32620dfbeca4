"""A chip as its symbol in a wiring plan: its port pins, and what is joined to each.

The pins stand by port and bit, not as they lie on the package: boards bring them out in orders of
their own, and print other labels beside them. The symbol is a rectangle with its pins at the sides
(IEC 60617 draws integrated circuits so; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias
from xml.etree.ElementTree import Element, SubElement, tostring

from sim.pictures.plot_look import FAINT, INK, KEEP_OUT

PinState: TypeAlias = Literal["joined", "kept", "free"]


@dataclass(frozen=True, slots=True)
class DrawnPin:
    """A pin's name and what stands beside it.

    `joined`: something is wired to it. `kept`: nothing may be, `label` says why. `free`: neither.
    """

    name: str
    label: str = ""
    state: PinState = "free"


ROW: Final = 17.0
WIDTH: Final = 640.0
BODY: Final = 150.0
STUB: Final = 26.0
TOP: Final = 26.0
LETTERS: Final = 38
"""As many letters of a label fit beside the symbol at its usual size."""
SIZE: Final = 11.0
SMALLEST: Final = 7.5
"""A longer label is written smaller, down to what is read in print, and cut only below that."""


def pin_drawing(title: str, ports: Sequence[Sequence[DrawnPin]]) -> str:
    """The symbol as SVG, which scales with the sheet and keeps its words as text.

    A port of which nothing is joined or kept is one row: `PA0 to PA7 free`.
    """
    sides = _sides([_rows(port) for port in ports])
    tall = max(map(len, sides)) * ROW
    height = TOP + tall + 14.0
    svg = Element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH:g} {height:g}",
        role="img",
    )
    svg.set("class", "pins")
    svg.set("aria-label", f"Pins of {title}")
    left = (WIDTH - BODY) / 2.0
    _shape(svg, "rect", x=left, y=TOP - 8, width=BODY, height=tall + 16, rx=4, fill="#ffffff")
    svg[-1].set("stroke", INK)
    svg[-1].set("stroke-width", "1.4")
    _words(svg, WIDTH / 2.0, TOP - 14.0, title, "middle", weight="bold")
    for rows, right in zip(sides, (False, True), strict=True):
        for n, pin in enumerate(rows):
            if pin is not None:
                _pin(svg, pin, TOP + (n + 0.5) * ROW, right)
    return tostring(svg, encoding="unicode")


def _rows(port: Sequence[DrawnPin]) -> list[DrawnPin]:
    if any(pin.state != "free" for pin in port) or len(port) < 2:
        return list(port)
    return [DrawnPin(f"{port[0].name} to {port[-1].name}")]


def _sides(ports: Sequence[list[DrawnPin]]) -> tuple[list[DrawnPin | None], list[DrawnPin | None]]:
    """The ports on the left and on the right, in their order, about as tall; a gap between two."""
    total = sum(len(rows) + 1 for rows in ports)
    left: list[DrawnPin | None] = []
    right: list[DrawnPin | None] = []
    for rows in ports:
        side = left if not right and 2 * (len(left) + len(rows) // 2) <= total else right
        side += [*([None] if side else []), *rows]
    return left, right


def _pin(svg: Element, pin: DrawnPin, y: float, right: bool) -> None:
    way = 1.0 if right else -1.0
    edge = (WIDTH + way * BODY) / 2.0
    ink = {"joined": INK, "kept": FAINT, "free": FAINT}[pin.state]
    end = edge + way * STUB
    _shape(svg, "line", x1=edge, y1=y, x2=end, y2=y)
    svg[-1].set("stroke", INK if pin.state == "joined" else KEEP_OUT)
    svg[-1].set("stroke-width", "2" if pin.state == "joined" else "1")
    if pin.state == "joined":
        _shape(svg, "circle", cx=end, cy=y, r=2.6, fill=INK)
    if pin.state == "kept":  # a cross, as on a terminal that is not to be used
        for tilt in (3.0, -3.0):
            _shape(svg, "line", x1=end - 3, y1=y - tilt, x2=end + 3, y2=y + tilt)
            svg[-1].set("stroke", FAINT)
    weight = "bold" if pin.state == "joined" else "normal"
    _words(svg, edge - way * 7.0, y + 4.0, pin.name, "end" if right else "start", ink, weight)
    label, largest = _fitted(pin.label or "free")
    at = end + way * 8.0
    size = min(largest, SIZE if pin.state == "joined" else 9.5)
    _words(svg, at, y + 4.0, label, "start" if right else "end", ink, weight, size)


def _fitted(label: str) -> tuple[str, float]:
    """A label that fits beside the symbol, and the largest size at which it does."""
    most = int(LETTERS * SIZE / SMALLEST)
    if len(label) > most:
        label = f"{label[: most - 1]}…"
    return label, SIZE * min(1.0, LETTERS / len(label))


def _words(
    svg: Element,
    x: float,
    y: float,
    words: str,
    anchor: str,
    colour: str = INK,
    weight: str = "normal",
    size: float = SIZE,
) -> None:
    _shape(svg, "text", x=x, y=y, fill=colour)
    element = svg[-1]
    element.set("text-anchor", anchor)
    element.set("font-size", f"{size:g}")
    element.set("font-weight", weight)
    element.set("font-family", "sans-serif")
    element.text = words


def _shape(svg: Element, kind: str, **numbers: float | str) -> None:
    SubElement(svg, kind, dict(_attributes(numbers)))


def _attributes(numbers: dict[str, float | str]) -> Iterator[tuple[str, str]]:
    for name, value in numbers.items():
        yield name, value if isinstance(value, str) else f"{value:g}"
