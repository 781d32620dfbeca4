"""`bellcrank board FILE`: all boards of a show, wired as the show says."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Collection
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import VirtualBoard
from firmware_gen.board.wired import LineTrouble, WiredBoards, WiredServer, stored
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import ReportedMode
from seqlang.command._board import end
from seqlang.command._outlet import nobody_reads
from seqlang.command._show import passed
from seqlang.command._typed import Typed
from seqlang.sources import NOTHING, names_source, parse_setting, sources, written_setting
from seqlang.text.names import nearest
from seqlang.text.render import broken, columns_of
from sim.rehearsal.channels import pulse_ticks
from sim.rehearsal.sensing import reading_of
from sim.rig.watch import Watched, watched
from sim.rulebook import CUES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from firmware_gen.player.outputs import Frame
    from seqlang.check import CheckedShow
    from sim.model import Channel, Sensor, Show

ORDERS: Final = "unplug NAME, plug NAME, cut NAME, mend NAME, loss PERCENT, noise PERCENT"
MOST_V: Final = 60.0
"""No battery that is worn has more (own limit)."""


def run_wired(
    file: str, number: int, pseudo_terminal: bool, speed: float, loss: float, noise: float
) -> None:
    """Run them until Ctrl-C."""
    show = passed(file, quiet=True)
    try:
        wired = wired_boards(show, LineTrouble(loss / 100, noise / 100))
        server = WiredServer(wired, tcp_port=number, pseudo_terminal=pseudo_terminal, speed=speed)
    except LinkFailure as failure:
        end(failure)
    for name, url in server.urls.items():
        click.echo(f"virtual board `{name}` on {url}{_part(wired, name)}")
    typed = Typed()
    words = f"Ctrl-C ends them. Type to try what happens: {orders(show.show)}"
    click.echo(broken(words, columns_of(sys.stdout), 2))

    def turn() -> bool:
        for line in typed.lines():
            click.echo(obey(wired, line, show.show))
        return True

    try:
        server.serve(turn)
    except KeyboardInterrupt:
        click.echo("\nended")


def _part(wired: WiredBoards, name: str) -> str:
    if wired.leader is None:
        return ""
    # nothing stands right behind the port: it is copied from here
    return " (leads, press here)" if name == wired.leader else f" (follows `{wired.leader}`)"


def wired_boards(
    show: CheckedShow,
    trouble: LineTrouble | None = None,
    say: Callable[[str], None] = click.echo,
) -> WiredBoards:
    """The boards of a show, with the show on them, just switched on.

    Raises:
        LinkFailure: the show has no board, or a table does not fit a slot.
    """
    boards = show.compiled.boards
    if not boards:
        raise LinkFailure("board-unclear", "the show has no board", "add one: `board NAME: ...`")
    found: dict[str, VirtualBoard] = {}
    for one in boards:
        watch = _PartWatch(one.name, [cue.name for cue in one.cues], say)
        cells = stored(show.tables[one.name], one.chip)
        found[one.name] = watch.virtual = VirtualBoard(cells, one.chip, witness=watch)
    leader = next((one.name for one in boards if one.board.leads), None)
    rig = show.show.rig
    places = (_places(show.show, rig.channels), _places(show.show, rig.sensors))
    wired = WiredBoards(found, leader, trouble, channels=places[0], sensors=places[1])
    for name, battery in _batteries(show.show).items():
        wired.put_battery(name, battery.reading(battery.full_v))
    return wired


def _batteries(show: Show) -> dict[str, Watched]:
    """By the boards that watch them."""
    found = {one.name: watched(show.rig, one) for one in show.rig.boards}
    return {name: one for name, one in found.items() if one is not None}


def _places(show: Show, sources: Sequence[Channel | Sensor]) -> dict[str, tuple[str, int]]:
    """By name, the board of each and its number there."""
    found: dict[str, tuple[str, int]] = {}
    for board in show.rig.boards:
        own = [one.name for one in sources if one.board == board.name]
        found |= {name: (board.name, number) for number, name in enumerate(own)}
    return found


def orders(show: Show) -> str:
    """What can be typed, in one line."""
    put = [f"{one.name} MICROSECONDS or {one.name} {NOTHING}" for one in show.rig.channels]
    put += [f"{one.name} PERCENT" for one in show.rig.sensors]
    put += [f"battery {name} VOLTS" for name in _batteries(show)]
    return ", ".join([ORDERS, *put])


def obey(wired: WiredBoards, line: str, show: Show) -> str:
    """Do what somebody typed; what came of it."""
    word, _, rest = line.strip().partition(" ")
    name = rest.strip().strip("`")
    if word in ("loss", "noise"):
        percent = _number(name.removesuffix("%"))
        if percent is None or not 0 <= percent <= 100:
            return f"`{word}` wants a number from 0 to 100, {_found(name)}"
        setattr(wired.trouble, "lost" if word == "loss" else "spoilt", percent / 100)
        of = "leader's frames are lost" if word == "loss" else "line's bytes are spoilt"
        return f"{percent:g} % of the {of}"
    if word == "battery":
        return _charge(wired, name, show)
    acts: dict[str, tuple[Callable[[str], object], str]] = {
        "unplug": (wired.unplug, "has neither feed nor signal"),
        "plug": (wired.plug, "has feed and signal"),
        "cut": (wired.deaf.add, "hears nothing from the line"),
        "mend": (wired.deaf.discard, "hears the line again"),
    }
    if word not in acts and names_source(line, show):
        return _put(wired, line, show)
    if word not in acts:
        near = nearest(word, (*acts, "loss", "noise", "battery", *sources(show)))
        if near is not None:
            return f"there is no order `{word}`; did you mean `{near}{f' {rest}' if rest else ''}`?"
        return f"there is no order `{line.strip()}`; there is {orders(show)}"
    if name not in wired.boards:
        return f"`{word}` wants a board, {_found(name)}; {_one_of(name, wired.boards)}"
    act, words = acts[word]
    act(name)
    return f"{wired.time_s:9.2f} s  {name}: {words}"


def _number(text: str) -> float | None:
    """A number as people type it, also with a decimal comma; None if it is none."""
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        return None


def _found(text: str) -> str:
    return f"found `{text}`" if text else "found nothing"


def _one_of(text: str, known: Collection[str]) -> str:
    """Which name was likely meant, or which there are."""
    near = nearest(text, known) if text else None
    if near is not None:
        return f"did you mean `{near}`?"
    return f"there is {', '.join(known) or 'none'}"


def _charge(wired: WiredBoards, rest: str, show: Show) -> str:
    """Give the battery of a board a voltage."""
    name, _, amount = rest.partition(" ")
    batteries = _batteries(show)
    if name not in batteries:
        one = next(iter(batteries), None)
        such = "no board watches one" if one is None else f"such as `battery {one} 6.3`"
        if name in wired.boards:
            return f"board `{name}` watches no battery; {such}"
        if _number(name) is not None or not name:
            return f"`battery` wants a board and its volts, {_found(rest)}; {such}"
        return f"no board `{name}` watches a battery; {_one_of(name, batteries)}"
    volts = _number(re.sub(r" *(?:V|volts?) *$", "", amount, flags=re.IGNORECASE))
    if volts is None or not 0.0 <= volts <= MOST_V:
        return f"`battery {name}` wants volts from 0 to {MOST_V:g}, {_found(amount.strip())}"
    wired.put_battery(name, batteries[name].reading(volts))
    return f"{wired.time_s:9.2f} s  {name}: its battery has {volts:g} V"


def _put(wired: WiredBoards, line: str, show: Show) -> str:
    """Put a channel or a sensor somewhere."""
    try:
        name, value = parse_setting(line, show)
    except ValueError as error:
        return str(error)
    told = f"gives {written_setting(show, name, value)}"
    if value is None:
        wired.put_channel(name, 0)
        told = "gives no pulses"
    elif any(one.name == name for one in show.rig.channels):
        wired.put_channel(name, pulse_ticks(value))
    else:
        wired.put_sensor(name, reading_of(value))
    return f"{wired.time_s:9.2f} s  {name}: {told}"


class _PartWatch(Witness):
    """Says when a board's mode or the running cues change."""

    virtual: VirtualBoard

    def __init__(self, name: str, cues: Sequence[str], say: Callable[[str], None]) -> None:
        self._name = name
        self._cues = cues
        self._echo = say
        self._mode: ReportedMode | None = None
        self._follows = False
        self._running = 0

    def played(self, frame: Frame | None) -> None:
        board = self.virtual.board
        player = board.player
        if board.mode != self._mode:
            self._mode = board.mode
            self._say(board.mode.name.lower())
        if player is not None and player.follows != self._follows:
            self._follows = player.follows
            self._say("follows" if self._follows else "hears its leader no more")
        running = player.running_cues if player else 0
        for number in range(CUES):
            if (running ^ self._running) >> number & 1:
                name = self._cues[number] if number < len(self._cues) else str(number)
                self._say(f"`{name}` {'starts' if running >> number & 1 else 'ends'}")
        self._running = running

    def _say(self, words: str) -> None:
        self._echo(f"{self.virtual.time_s:9.2f} s  {self._name}: {words}")
        if nobody_reads(sys.stdout):  # boards that tell nobody what they play would run unseen
            raise BrokenPipeError
