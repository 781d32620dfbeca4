"""`bellcrank demo`: the whole job on a show that comes with the tool, on a virtual board."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import ReportedMode
from seqlang.command._board import end, must, wait_for_limp
from seqlang.text.render import broken, columns_of
from sim.rulebook import FRAME_S

if TYPE_CHECKING:
    from firmware_gen.board.played_as_shown import Recording
    from firmware_gen.checked_table import CheckedTable
    from firmware_gen.compiler.show import CompiledBoard
    from firmware_gen.link.host import HostLink
    from seqlang.check import CheckedShow
    from sim.model import Show

SHOW: Final = "anglerfish/anglerfish.cues"
SPEED: Final = 100.0
"""How much faster than real time the virtual board runs here."""
LEASH_S: Final = 0.5
"""Board time that may pass without a word from here, so that a busy computer is not taken for a
lost remote."""

_HELD_S: Final = 2.0
_LONGEST_CUE_S: Final = 30.0
_INTERRUPTED_AFTER_S: Final = 0.9
_POLL_S: Final = 0.2


@click.command(name="demo")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("bellcrank-demo"),
    show_default=True,
    help="Folder for the pictures, the page and the tables.",
)
def command(out: Path) -> None:
    """Do the whole job on a demo show with a virtual board.

    It checks, draws, compiles and transfers the show. It presses the remote's buttons and stops.
    It compares what the board played with the preview. Then it plays a show with three boards, of
    which one leads, and pulls a part off in mid-cue. It needs no hardware, and leaves pictures, a
    page on which you watch the show, and the board's table.

    Example: bellcrank demo --out bellcrank-demo
    """
    from seqlang.command._demo_creature import creature

    checked = _check()
    _draw(checked, out)
    _compile(checked, out)
    try:
        _play(checked)
        for step, words in creature():
            _say(step, words)
    except LinkFailure as failure:
        end(failure)
    click.echo("\nnow look at the pictures, open the page in a browser, and write your own show;")
    click.echo("on a real board keep clear of the parts: `bellcrank check` lists the cautions")


def _say(step: str, words: str) -> None:
    click.echo(broken(f"{step:<10} {words}", columns_of(sys.stdout), 11))


# -- the text ----------------------------------------------------------------------------------


def _check() -> CheckedShow:
    from seqlang.command import ShowFailed
    from seqlang.command._show import read_and_check
    from seqlang.text.render import summary

    with as_file(files("shows") / SHOW) as path:
        loaded, checked = read_and_check(str(path))
    if checked.show is None or loaded.show is None:
        raise ShowFailed(f"{SHOW}: {summary(checked.findings)}")
    score, rig = loaded.show.score, loaded.show.rig
    _say("show", f"{score.title} ({SHOW}): {len(rig.outputs)} outputs, {len(score.cues)} cues")
    _say("check", summary(checked.findings))
    return checked.show


def _draw(checked: CheckedShow, out: Path) -> None:
    from firmware_gen.files import write_whole
    from firmware_gen.page.page import page
    from sim.pictures.plots import pictures
    from sim.rehearsal.run_through import run_through

    played = run_through(checked.show)
    length_s, count = played.length_ms / 1000, len(played.presses)
    _say("rehearse", f"every cue once: {length_s:.1f} s, {count} presses")
    for name, content in pictures(played):
        write_whole(out / name, content)
        _say("plot", str(out / name))
    watched = out / "anglerfish.html"
    write_whole(watched, page(checked.compiled, checked.tables, played).encode())
    _say("page", str(watched))


def _compile(checked: CheckedShow, out: Path) -> None:
    from firmware_gen.files import write_whole

    compiled = checked.compiled
    for board in compiled.boards:
        path = out / f"anglerfish-{board.name}.table"
        write_whole(path, checked.tables[board.name].data)
        share = f"{len(board.data)} of the {board.chip.slot_bytes} bytes of a slot"
        _say("compile", f"{path}: {share}, show {compiled.number:08x}")


# -- the board ---------------------------------------------------------------------------------


@dataclass
class _RemoteHand:
    """The hand at the remote: time is the board's, which runs faster than the clock."""

    link: HostLink
    board: CompiledBoard

    def wait(self, time_s: float) -> None:
        """Let board time pass, saying all the while that the controller is there."""
        while time_s > 0:
            self.link.pause(min(time_s, _POLL_S) / SPEED)
            self.link.beacon()
            time_s -= _POLL_S

    def press(self, button: int, held_s: float = 0.1) -> None:
        must(self.link, f"button {button}", self.link.button(button, True))
        self.wait(held_s)
        must(self.link, f"button {button}", self.link.button(button, False))

    def running(self, cue: str) -> bool:
        number = [each.name for each in self.board.cues].index(cue)
        return bool(self.link.state().running_cues >> number & 1)

    def watch(self, cue: str) -> float:
        """Wait until a cue has ended; how long that took, in board time."""
        started = self.link.state().frames
        for _ in range(int(_LONGEST_CUE_S / _POLL_S)):
            if not self.running(cue):
                break
            self.wait(_POLL_S)
        return (self.link.state().frames - started) * FRAME_S


def _play(checked: CheckedShow) -> None:
    from firmware_gen.board.played_as_shown import Recording
    from firmware_gen.board.virtual import Server, VirtualBoard
    from firmware_gen.link.host import HostLink
    from firmware_gen.link.ports import open_port

    recording = Recording()
    board = checked.compiled.boards[0]
    virtual = VirtualBoard(chip=board.chip, witness=recording)
    with Server(virtual, speed=SPEED, leash_s=LEASH_S) as server:
        _say("board", f"virtual, on {server.url}, {SPEED:.0f} times faster than real time")
        port = open_port(server.url)
        link = HostLink(port)
        try:
            _transfer(link, checked.tables[board.name])
            for line in _remote(checked.show, _RemoteHand(link, board)):
                _say("remote", line)
            _stop(link)
            _read_back(link, board)
        finally:
            port.close()
    _compare(checked.show, board, recording)


def _transfer(link: HostLink, table: CheckedTable) -> None:
    from firmware_gen.link.transfer import transfer

    done = transfer(link, table)
    _say(
        "transfer",
        f"{done.length} bytes into slot {done.slot} of board {done.address}, CRC {done.crc:04X} "
        "verified",
    )
    while link.state().mode == ReportedMode.STARTING:
        link.pause(_POLL_S / SPEED)


def _remote(show: Show, hand: _RemoteHand) -> Iterator[str]:
    """Press every button as the remote would, then interrupt one cue by another."""
    for binding in show.score.bindings:
        if binding.while_held:
            hand.press(binding.button, _HELD_S)
            yield f"button {binding.button} held {_HELD_S:.0f} s: `{binding.cue}`, again and again"
        else:
            hand.press(binding.button)
            took_s = hand.watch(binding.cue)
            yield f"button {binding.button}: `{binding.cue}` ran {took_s + 0.1:.1f} s"
        hand.watch(binding.cue)
    first, second = show.score.bindings[1], show.score.bindings[3]
    hand.press(first.button)
    hand.wait(_INTERRUPTED_AFTER_S)
    hand.press(second.button)
    ended = (
        "ended" if not hand.running(first.cue) else "plays on with the outputs that it still has"
    )
    yield (
        f"button {second.button} in the middle of `{first.cue}`: `{second.cue}` takes over its "
        f"outputs without a jump, `{first.cue}` {ended}"
    )


def _stop(link: HostLink) -> None:
    before = link.state().frames
    must(link, "stop", link.stop())
    state = wait_for_limp(link, _LONGEST_CUE_S / SPEED, FRAME_S / SPEED)
    _say("stop", f"safe pose and pulses off after {(state.frames - before) * FRAME_S:.1f} s")


def _read_back(link: HostLink, board: CompiledBoard) -> None:
    same = "the file's table, byte for byte" if link.table() == board.data else "another table"
    state = link.state()
    faults = state.bad_frames + state.lost_bytes + state.refused + state.overruns
    _say(
        "read back",
        f"{same}; {state.frames} frames played; {state.bad_frames} bad frames, "
        f"{state.refused} requests refused, {state.overruns} overruns"
        + ("" if faults else ": nothing went wrong"),
    )


def _compare(show: Show, board: CompiledBoard, recording: Recording) -> None:
    from firmware_gen.board.played_as_shown import agreement

    found = agreement(show, board.name, recording, board.cues)
    _say(
        "compare",
        f"{found.frames} frames against the preview of the same presses: pulses at most "
        f"{found.pulse_us:.2f} us apart, lamps {found.duty:.3%}",
    )
