"""`bellcrank preview FILE`: a page to watch and to press, also while the show is written."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from seqlang.command import WrongUse
from seqlang.command._cue_names import cue_names
from seqlang.command._form import format_option

if TYPE_CHECKING:
    from seqlang.command._live import ShowVersion


@click.command("preview")
@click.argument("file", type=click.Path())
@click.option("--out", type=click.Path(dir_okay=False), help="The page to write [FILE.html].")
@click.option("--serve", is_flag=True, help="Serve the page until Ctrl-C, anew after each save.")
@click.option(
    "--number",
    type=click.IntRange(0, 65535),
    default=0,
    help="With --serve: number of the loopback socket. Without this option: any free one.",
)
@click.option(
    "--picture",
    type=click.Path(dir_okay=False),
    help="Write a motion picture of the cue instead, to send to people: NAME.gif or NAME.png.",
)
@click.option(
    "--cue",
    "cue",
    metavar="NAME",
    shell_complete=cue_names,
    help="With --picture: the cue that it shows.",
)
@click.option("--dark", is_flag=True, help="With --picture: draw all lights unlit.")
@format_option
def command(
    file: str,
    out: str | None,
    serve: bool,
    number: int,
    picture: str | None,
    cue: str | None,
    dark: bool,
    form: str,
) -> None:
    """Write a page on which the boards run before they are built.

    The page plays every cue once, as its buttons would start it. There you can go through the
    time, and press the remote's buttons yourself: the firmware's own code answers. Open it in any
    browser.

    With --serve no file is written. The page is at the address that is printed, on this computer
    only. It follows the text: whenever you save it, the page shows the new version, or what is
    wrong with it. What plays goes on, unless the rig has changed. Trims of lights that you set on
    the page can be written into the text from there.

    With --picture one cue is drawn at true pace, over and over, in one file that opens anywhere.
    A show whose lights are hard on the eyes gets a picture only with --dark.

    Example: bellcrank preview first.cues --out first.html
    """
    from firmware_gen.files import write_whole
    from firmware_gen.page.page import page
    from seqlang.command._page_notes import page_notes
    from seqlang.command._show import demanded, read_and_check
    from seqlang.trimming import said_trims
    from sim.rehearsal.run_through import LongRehearsalError, run_through

    if picture is not None or cue is not None or dark:
        beside = next((name for name, is_on in (("--serve", serve), ("--out", out)) if is_on), None)
        _picture(file, picture, cue, dark, form, beside)
        return
    if serve:
        if out or form != "text":
            raise WrongUse("--serve writes no file: leave out --out and --format")
        _serve(Path(file), number)
        return
    loaded, found = read_and_check(file)
    checked = demanded(file, loaded, found, quiet=form == "json")
    try:
        played = run_through(checked.show)
    except LongRehearsalError as error:
        raise WrongUse(f"{error}; `bellcrank plot` does both: --cue and --press") from None
    notes = page_notes(found.findings, checked.origins, loaded.sources, played)
    said = said_trims(loaded)
    text = page(checked.compiled, checked.tables, played, notes, said)
    target = Path(out) if out else Path(file).with_suffix(".html")
    write_whole(target, text.encode("utf-8"))
    told = f"wrote {target}" if form == "text" else json.dumps({"files": [str(target)]}, indent=2)
    click.echo(told)


def _picture(
    file: str, picture: str | None, cue: str | None, dark: bool, form: str, beside: str | None
) -> None:
    """Write a motion picture of one cue. `beside`: an option that does not go with it."""
    from seqlang.command._motion_picture import write_picture

    if picture is None:
        what = (
            "--dark draws the lights of a picture unlit"
            if cue is None
            else ("--cue says which cue a picture shows")
        )
        raise WrongUse(f"{what}: name the picture with `--picture NAME.gif`")
    if cue is None:
        raise WrongUse("a picture shows one cue: name it with `--cue NAME`")
    if beside is not None:
        other = "page" if beside == "--out" else "served page"
        raise WrongUse(
            f"--picture writes a picture instead of the {other}: leave out {beside}, or ask twice"
        )
    told = write_picture(file, Path(picture), cue, dark=dark, quiet=form == "json")
    click.echo(told if form == "text" else json.dumps({"files": [picture]}, indent=2))


def _serve(path: Path, number: int) -> None:
    """Serve the page until Ctrl-C."""
    from contextlib import suppress

    from seqlang.command._listening import LOOPBACK, no_socket
    from seqlang.command._live import LiveServer, Newest, versions

    path.read_bytes()  # a file that is not there is told as by all commands
    with suppress(KeyboardInterrupt):
        following = versions(path)
        first = next(following)
        newest = Newest(first)
        try:
            server = LiveServer(path, newest, number)
        except OSError as error:
            raise no_socket(error, LOOPBACK, number) from None
        server.begin()
        click.echo(f"the page is at {server.url} until Ctrl-C")
        _tell(path, first)
        for version in following:
            newest.put(version)
            _tell(path, version)


def _tell(path: Path, version: ShowVersion) -> None:
    """One line for a version that is shown; its findings, if it has errors."""
    if version.data is None:
        click.echo(version.findings, err=True)
    else:
        click.echo(f"shows {path.name}")
