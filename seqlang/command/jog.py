"""`bellcrank jog`: turn servos by keys, and measure where their parts stand."""

from __future__ import annotations

import shlex
import sys
import time
from contextlib import ExitStack, suppress
from typing import TYPE_CHECKING, Final, TypeAlias

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BAUD
from seqlang.command import SHOW_HAS_ERRORS, WRONG_USAGE, BoardFailed, WrongUse
from seqlang.command._board import connected, end, named, owner_of_ports, seconds, told
from seqlang.command._form import say
from seqlang.command._outlet import outlives_terminal
from seqlang.command._phones import host_of, phone_options, serve_phones
from seqlang.command._recalibrated import (
    change_words,
    demand_read,
    moved_words,
    tell_findings,
    write_points,
)
from seqlang.command._recorded import demand_name, take_over, tolerance_of
from seqlang.command._report import Screen
from seqlang.command._show import read_and_check
from seqlang.command._show_on import ended_in_words
from seqlang.text.render import summary

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from firmware_gen.link.board_link import BoardLink
    from seqlang.command._jog_session import JogSession
    from seqlang.command._jogged import ServoOnBoard, SourceOnBoard
    from seqlang.command._keyboard import Keyboard
    from seqlang.recording import Take
    from sim.model import Rig

Left: TypeAlias = "tuple[Mapping[str, tuple[str, ...]], Mapping[str, Take], LinkFailure | None]"
"""What a session leaves: marks and recordings by servo, and what the link failed with."""

_WAIT_S: Final = 0.05
"""For a key, before the board is looked after again."""
_RECORDING_S: Final = 0.015
"""The same while a motion is recorded: a frame lasts longer."""


@click.command(name="jog")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option(
    "--port",
    "ports",
    metavar="PORT",
    multiple=True,
    help="As for the other commands. Give it once for each board of the show that is plugged in; "
    "without it, a show of one board is on the only USB serial port, and the boards of a larger "
    "one are looked for on all. Those that answer the board that leads need no plug.",
)
@click.option(
    "--baud",
    type=click.IntRange(300, 4_000_000),
    default=BAUD,
    show_default=True,
    help="Rate of the line.",
)
@click.option("--list", "listed", is_flag=True, help="Only say which servos there are, and where.")
@click.option(
    "--record",
    "name",
    metavar="NAME",
    help="Name of the gesture that a recording becomes. Without it the name is `by_hand`.",
)
@click.option(
    "--within",
    metavar="AMOUNT",
    help="How far the moves of a recording may lie beside it, such as `2 deg`. Without it 1.5 deg; "
    "where parts are not measured in degrees, 3 % of the travel.",
)
@click.option(
    "--stick",
    metavar="CHANNEL",
    help="A channel or a sensor of the show that turns the part while you hold its stick or knob: "
    "key c. Its board has a chip that hears sticks and measures voltages.",
)
@click.option("--write", is_flag=True, help="Write marks and recordings without asking.")
@click.option(
    "--phone",
    is_flag=True,
    help="Turn servos by the slider of a phone, instead of by keys; the next four are for it.",
)
@phone_options
def command(
    file: str,
    ports: tuple[str, ...],
    baud: int,
    listed: bool,
    name: str | None,
    within: str | None,
    stick: str | None,
    write: bool,
    phone: bool,
    opened: bool,
    address: str | None,
    number: int,
    duration: str | None,
) -> int:
    """Turn servos by keys, and mark where their parts stand.

    The board is made limp; then one servo at a time gets a bare pulse, slowly, from where it
    stood. SPACE ends all pulses at once. Mark two points or more with the place that you measured:
    on leaving they go into the `pulse` line of FILE, and nothing else of it changes. The screen
    tells all keys.

    r records what you do with a part until r is pressed again. On leaving, the fewest moves with
    laws that stay close to it become a gesture at the end of FILE. Parts that were recorded one
    after another move together in it. A key turns a part slowly. For a quick gesture, shorten the
    times in the text afterwards.

    With --stick a radio's stick or a knob turns the part. It takes hold when it comes past where
    the part stands, and its whole way is the part's travel.

    With --phone one hand holds a pad on a phone's page, and the other slides: a servo has pulses
    only while somebody holds. The code is printed, as by `bellcrank remote`. Ctrl-C here ends it;
    then what was recorded there becomes a gesture.

    Parts move: keep fingers, hair and face away, and prop what would sink.

    Example: bellcrank jog first.cues --list --port virtual
    """
    of_phone = bool(opened or address or number or duration)
    _demand_that_options_fit(phone, of_phone, listed, stick is not None)
    until_s = None if duration is None else float(seconds(duration, "--for"))
    host = host_of(opened, address)
    loaded, checked = read_and_check(file)
    demand_read(file, loaded)
    assert loaded.show is not None
    if not listed and not phone:
        _demand_terminal()
    with ExitStack() as stack:
        if name is not None:
            demand_name(name, loaded)
        if stick is not None:
            _demand_source(loaded.show.rig, stick)
        links, servos = _servos(stack, loaded.show.rig, ports, baud)
        for one in servos if within is not None else ():
            tolerance_of(one.servo, within)
        if listed:
            try:
                _list(servos)
            except LinkFailure as failed:
                end(failed)
            return SHOW_HAS_ERRORS if checked.failed else 0
        if phone:
            title = loaded.show.score.title or "Show"
            left = _by_phone(servos, title, host, number, until_s)
        else:
            left = _by_keys(servos, _source(links, loaded.show.rig, stick))
    return _written(file, loaded.show.rig, left, name, within, write)


def _demand_that_options_fit(phone: bool, of_phone: bool, listed: bool, stick: bool) -> None:
    """Keys, a phone and a list have options of their own (`of_phone`: one of the phone's)."""
    if of_phone and not phone:
        raise WrongUse(
            "`--open`, `--address`, `--number` and `--for` are for a phone: add `--phone`"
        )
    if stick and (phone or listed):
        raise WrongUse("`--stick` is for keys: leave out `--phone` and `--list`")


def _demand_terminal() -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise WrongUse("keys need a terminal; `--list` only says which servos there are")


def _written(
    file: str, rig: Rig, left: Left, name: str | None, within: str | None, write: bool
) -> int:
    """Put what was marked and recorded into the text; the exit status.

    It is written all the same where the link failed or the terminal is gone.
    """
    from seqlang.loading import load

    points, takes, failure = left
    outlives_terminal()
    if failure is not None:
        told(failure)
    else:
        click.echo("no servo has pulses; `bellcrank standby` gets a limp board ready again")
    status = _take_over(file, points, write) if points else 0
    if takes:
        changed = load(file).show if points else None
        now = rig if changed is None else changed.rig
        status = max(status, take_over(file, takes, name, within, write, now))
    if failure is not None:
        raise BoardFailed("")
    return status


# -- boards ------------------------------------------------------------------------------------


def _servos(
    stack: ExitStack, rig: Rig, ports: Sequence[str], baud: int
) -> tuple[list[BoardLink], tuple[ServoOnBoard, ...]]:
    """The boards on these ports, and their servos in the order of the text."""
    from seqlang.command._jogged import servos_on

    wanted: Sequence[str | None] = ports or (
        _ports_of(rig, baud) if len(rig.boards) > 1 else (None,)
    )
    links: list[BoardLink] = [stack.enter_context(connected(port, baud))[0] for port in wanted]
    found: list[ServoOnBoard] = []
    try:
        links += _led_by(links, rig)
        for link in links:
            found += servos_on(link, rig)
    except LinkFailure as failure:
        end(failure)
    if not found:
        raise WrongUse("there is no servo on these boards")
    names = [one.servo.name for one in found]
    if len(set(names)) != len(names):
        raise WrongUse("two of these ports lead to the same board")
    order = [output.name for output in rig.outputs]
    return links, tuple(sorted(found, key=lambda one: order.index(one.servo.name)))


def _led_by(links: Sequence[BoardLink], rig: Rig) -> list[BoardLink]:
    """The boards of the show that answer one of these, and have no plug of their own here.

    One that does not answer is told of, and holds up no other.
    """
    from seqlang.command._led_boards import answering

    names = {board.address: board.name for board in rig.boards if board.answers}
    reached = {link.address for link in links}
    found: list[BoardLink] = []
    for link in links:
        for address in answering(link.table()) if names else ():
            if address in reached or address not in names:
                continue
            way = link.through(address)
            try:
                way.greet()
            except LinkFailure as failure:
                if failure.reason != "no-answer":
                    raise
                click.echo(
                    f"note: board `{names[address]}` is left out: {failure.message}", err=True
                )
                continue
            reached.add(address)
            found.append(way)
    return found


def _ports_of(rig: Rig, baud: int) -> list[str]:
    """The ports on which boards of this show answer."""
    from seqlang.command._all_ports import FoundBoard, all_ports, asked

    addresses = {board.address for board in rig.boards}
    try:
        owner = owner_of_ports()
        if owner is None:
            raise WrongUse("say with `--port` where each board is")
        with owner:
            each = list(asked(owner, all_ports(owner, baud)))
    except LinkFailure as failure:
        end(failure)
    ports = [
        port.port
        for port, answer in each
        if isinstance(answer, FoundBoard) and answer.address in addresses
    ]
    if not ports:
        raise WrongUse(
            "no board of this show answers; say with `--port` where each is (`bellcrank ports` "
            "lists them)"
        )
    return ports


def _demand_source(rig: Rig, name: str) -> None:
    """Say before anything moves that a name is that of no channel and no sensor."""
    names = [one.name for one in rig.channels] + [one.name for one in rig.sensors]
    if name in names:
        return
    known = ", ".join(f"`{one}`" for one in names)
    raise WrongUse(
        f"there is no channel or sensor `{name}`; "
        + (f"this show has {known}" if known else "this show has none")
    )


def _source(links: Sequence[BoardLink], rig: Rig, name: str | None) -> SourceOnBoard | None:
    """The stick that turns servos, on one of these boards."""
    from seqlang.command._jogged import source_on

    if name is None:
        return None
    try:
        source = source_on(links, rig, name)
        source.share()
    except LinkFailure as failure:
        end(failure)
    return source


def _list(servos: Sequence[ServoOnBoard]) -> None:
    from seqlang.jogging import estimated_place
    from sim.rig.slide import of_part

    for one in servos:
        pulse_us = one.pulse_us()
        unit = of_part(one.servo).place
        place = estimated_place(one.servo.points, pulse_us)
        low, high = one.servo.travel_deg
        click.echo(
            f"{one.servo.name}: {pulse_us:.1f} us, {place:.1f} {unit} by its points; travel "
            f"{low:g} to {high:g} {unit}; {named(one.link)}"
        )


# -- keys --------------------------------------------------------------------------------------


def _by_keys(servos: Sequence[ServoOnBoard], stick: SourceOnBoard | None) -> Left:
    """What was marked and what was recorded, by servo, and what the link failed with."""
    from seqlang.command._jog_session import JogSession
    from seqlang.command._keyboard import Keyboard, is_closed

    terminal = Keyboard()
    session: JogSession | None = None
    failure: LinkFailure | None = None
    try:
        with terminal.fullscreen(), terminal.cbreak(), terminal.hidden_cursor():
            try:
                if _goes_on(terminal, servos):
                    session = JogSession(servos, _now_s(), stick)
                    _turn(terminal, session)
            except LinkFailure as failed:
                failure = failed
            except KeyboardInterrupt:
                pass  # as `q`: what was marked is not lost
            finally:
                if session is not None:
                    session.leave()
    except Exception:  # the system's and the terminal's own kinds, where it cannot be put right
        if not is_closed():
            raise
    if session is None:
        return {}, {}, failure
    return session.points(), session.takes(), failure


def _by_phone(
    servos: Sequence[ServoOnBoard], title: str, host: str, number: int, until_s: float | None
) -> Left:
    """The same, with a phone's slider in place of keys."""
    from seqlang.command._jog_session import JogSession
    from seqlang.phone.bench import BenchControls

    try:
        session = JogSession(servos, _now_s())
    except LinkFailure as failure:
        end(failure)
    controls = BenchControls(session, servos, title, _now_s, say)
    with suppress(KeyboardInterrupt), ended_in_words():  # as `q`: what was recorded is not lost
        serve_phones(controls, host, number, until_s, controls.ends)
    return session.points(), session.takes(), controls.failure


def _goes_on(terminal: Keyboard, servos: Sequence[ServoOnBoard]) -> bool:
    """The cautions, before anything moves. A key that was pressed before they are shown answers
    nothing."""
    from seqlang.command._jog_screen import cautions

    while terminal.keys(0):
        pass
    _draw(terminal, cautions([one.servo for one in servos], terminal.width), 0)
    while not (keys := terminal.keys(_WAIT_S)):
        pass
    return keys[0] == "y"


def _turn(terminal: Keyboard, session: JogSession) -> None:
    from seqlang.command._jog_screen import lines_of_view

    shown: tuple[list[str], int, int] | None = None
    while not session.is_over:
        size = terminal.width, terminal.height
        now = lines_of_view(session.view(), terminal.width), *size
        if now != shown:
            _draw(terminal, now[0], 1)
            shown = now
        keys = terminal.keys(_RECORDING_S if session.is_recording else _WAIT_S)
        session.press(keys, _now_s())
        session.tick(_now_s())


def _now_s() -> float:
    """By a clock that goes on while the computer sleeps, where the system has one: a board that was
    not asked meanwhile has ended the jog."""
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()


def _draw(terminal: Keyboard, lines: Sequence[str], bold: int) -> None:
    """The screen anew, from its top; what does not fit below is left out."""
    parts: list[str] = [terminal.home]
    for number, line in enumerate(lines[: terminal.height]):
        text = terminal.bold(line) if number == bold else line
        parts += [str(terminal.move_yx(number, 0)), text, str(terminal.clear_eol)]
    sys.stdout.write("".join((*parts, str(terminal.clear_eos))))
    sys.stdout.flush()


# -- what was measured -------------------------------------------------------------------------


def _line(file: str, name: str, marked: Sequence[str]) -> str:
    return shlex.join(["bellcrank", "calibrate", file, name, *marked, "--write"])


def _take_over(file: str, points: Mapping[str, tuple[str, ...]], write: bool) -> int:
    """Put what was marked into the text, if that is wanted, and check the show anew.

    The text is read again: somebody may have worked on it meanwhile. What was marked is told
    first, so that nothing that goes wrong here loses it.
    """
    from seqlang.calibration import CalibrationRefusedError, read_points, recalibrated
    from seqlang.check import check

    click.echo("marked:")
    for name, marked in points.items():
        click.echo(f"  {name}: {', '.join(marked)}")
    loaded, checked = read_and_check(file)
    demand_read(file, loaded)
    before, sources = checked.findings, loaded.sources
    wrote = refused = False
    for name, marked in points.items():
        try:
            made = recalibrated(loaded, name, read_points(marked))
        except CalibrationRefusedError as refusal:
            click.echo(f"`{name}` keeps its points: {refusal}", err=True)
            if len(marked) == 1:
                unit = marked[0].split()[-1]
                line = _line(file, name, (*marked, f"... us at ... {unit}"))
                click.echo(f"with a second point in place of the dots:\n  {line}", err=True)
            refused = True
            continue
        if made.fix is None:
            click.echo(f"`{name}` has these points already")
            continue
        click.echo(change_words(made, loaded))
        click.echo(moved_words(made))
        if not write:
            click.echo(f"this line writes it later:\n  {_line(file, name, marked)}")
        if write or click.confirm(f"write this into {file}?", default=True):
            write_points(made, loaded, {})
            loaded, wrote = made.loaded, True
    after = check(loaded) if wrote else checked
    if wrote:
        tell_findings(before, sources, after.findings, loaded.sources)
    done = "written" if wrote else "nothing written"
    screen = Screen.of(sys.stdout)
    tail = f"{file}: {done}; {summary(after.findings)}"
    if wrote:
        tail += "; boards play the old points until `bellcrank flash`"
    click.secho(tail, fg="red" if after.failed else "green", bold=True, color=screen.colour)
    if refused:
        return WRONG_USAGE
    return SHOW_HAS_ERRORS if after.failed else 0
