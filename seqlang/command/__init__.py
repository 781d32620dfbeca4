"""The `bellcrank` command: one module beside this one for each subcommand.

A subcommand's module has `command`, a click command; it is imported only when it is called (or
listed), and imports what is heavy inside its functions. Exit status: 0 done, 1 the show has
errors, 2 wrong usage, 3 board or link failure, 4 a mistake in this program.
"""

from __future__ import annotations

import atexit
import gc
import os
import sys
from importlib import import_module
from pathlib import Path
from typing import Final, NoReturn, TextIO

import click

from seqlang.command._outlet import lasting, lost

SHOW_HAS_ERRORS: Final = 1
WRONG_USAGE: Final = 2
BOARD_FAILURE: Final = 3
OWN_MISTAKE: Final = 4

COMPLETE: Final = "_BELLCRANK_COMPLETE"
"""The shell's completion asks by this variable, as click's own scripts do."""

ALGEBRA_THREADS: Final = "OPENBLAS_NUM_THREADS"
"""Says how many threads numpy's linear algebra keeps, by the library that its wheels bring.

Our products of matrices are small: further threads would only wait for work, and keep a core busy.
"""


class ShowFailed(click.ClickException):
    """The show has errors; they have been shown."""

    exit_code = SHOW_HAS_ERRORS


class BoardFailed(click.ClickException):
    """Board, port or link failed; the message says how and what helps."""

    exit_code = BOARD_FAILURE


class WrongUse(click.ClickException):
    """The command was called with something it cannot work with (a file, a name, a number)."""

    exit_code = WRONG_USAGE


class Subcommands(click.Group):
    """Finds subcommands by the names of the modules in this folder, without importing them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        here = Path(__file__).parent
        return sorted(
            path.stem.replace("_", "-")
            for path in here.glob("*.py")
            if not path.stem.startswith("_")
        )

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        module = import_module(f"{__name__}.{cmd_name.replace('-', '_')}")
        found = getattr(module, "command", None)
        return found if isinstance(found, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it, with the nearest name for a wrong one."""
        is_wrong = args and self.get_command(ctx, args[0]) is None and not args[0].startswith("-")
        if is_wrong and not ctx.resilient_parsing:  # a completion asks about half a line
            from seqlang.text.names import nearest

            near = nearest(args[0], self.list_commands(ctx))
            hint = f"did you mean `{near}`?" if near else "`bellcrank --help` lists them"
            raise click.UsageError(f"there is no command `{args[0]}`; {hint}", ctx)
        name, command, left = super().resolve_command(ctx, args)
        if command is not None and not ctx.resilient_parsing:
            _refuse_twice(command, ctx, left)
        return name, command, left


def _refuse_twice(command: click.Command, ctx: click.Context, words: list[str]) -> None:
    """Of an option that stands twice click takes the last value, and says nothing."""
    with click.Context(command, ctx, command.name) as own:
        try:
            _, _, given = command.make_parser(own).parse_args(list(words))
        except click.UsageError:
            return  # what is wrong with the words is told when they are read
        for one in given:
            is_single = isinstance(one, click.Option) and not (one.multiple or one.is_flag)
            if is_single and given.count(one) > 1:
                raise click.UsageError(
                    f"`{one.opts[-1]}` is given {given.count(one)} times; give it once", own
                )


@click.group(cls=Subcommands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="bellcrank", message="%(prog)s %(version)s")
def group() -> None:
    """Describe, check, rehearse and flash the cues of a worn animatronic part.

    Example: bellcrank demo
    """


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run the command and exit with its status. No traceback leaves here."""
    gc.set_threshold(50_000, 20, 20)  # the process is short: collecting early only costs time
    atexit.register(gc.freeze)  # nothing that is left at the end needs a search for circles
    os.environ.setdefault(ALGEBRA_THREADS, "1")
    _open_what_is_closed()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a name the stream's encoding lacks is no failure
            stream.reconfigure(errors="replace")
    sys.stdout, sys.stderr = lasting(sys.stdout), lasting(sys.stderr)
    asked = os.environ.get(COMPLETE)
    if asked:
        sys.exit(_completed(asked))
    try:
        words = sys.argv[1:] if arguments is None else list(arguments)
        with group.make_context("bellcrank", words) as context:
            status = group.invoke(context)
    except click.exceptions.Exit as end:
        _exit(end.exit_code)
    except (click.Abort, KeyboardInterrupt):
        _fail("stopped", 130)
    except click.UsageError as error:
        usage = "" if error.ctx is None else error.ctx.get_usage()
        _fail(error.format_message().rstrip("."), WRONG_USAGE, usage)
    except click.ClickException as error:
        _fail(error.format_message(), error.exit_code)
    except BrokenPipeError:
        _let_go_of(sys.stdout)
        sys.exit(0)
    except OSError as error:
        if error.filename is None:  # a full disk under our words: do not try them again
            _let_go_of(sys.stdout)
        what = f"`{error.filename}`: " if error.filename else ""
        _fail(f"{what}{(error.strerror or str(error)).lower()}", WRONG_USAGE)
    except Exception as error:
        _own_mistake(error)
    _exit(status if isinstance(status, int) else 0)


def _exit(status: int) -> NoReturn:
    """Exit after work that came to its end, however much of what it said was kept."""
    failure = lost(sys.stdout)
    if failure is not None:
        why = (failure.strerror or str(failure)).lower()
        say_error(f"the work is done, but the last of its output could not be written ({why})")
        status = status or WRONG_USAGE
    sys.exit(status)


def _completed(asked: str) -> int:
    """Answer the shell's completion. What it cannot make sense of has no proposals.

    Anything said would stand in the middle of the line that somebody types.
    """
    from click.shell_completion import shell_complete

    try:
        return shell_complete(group, {}, "bellcrank", COMPLETE, asked)
    except Exception:
        return 1


def _fail(message: str, status: int, usage: str = "") -> NoReturn:
    """Say what failed, as far as anybody still reads it, and exit."""
    if message:
        say_error(message, usage)
    sys.exit(status)


def say_error(message: str, usage: str = "") -> None:
    """A failure in one line, on the error output, as far as anybody still reads it."""
    from seqlang.text.render import broken, columns_of, wants_colour

    colour = wants_colour(sys.stderr)
    title = click.style("error:", fg="red", bold=True)
    words = broken(f"error: {message}", columns_of(sys.stderr)).removeprefix("error:")
    lines = [usage] * bool(usage) + [f"{title}{words}"]
    try:
        click.echo("\n".join(lines), err=True, color=colour)
    except BrokenPipeError:
        _let_go_of(sys.stderr)


def _own_mistake(error: Exception) -> NoReturn:
    """One line that says where this program went wrong, for a report to its makers."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    where = ""
    if trace is not None:
        where = f" at {Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}"
    words = " ".join(str(error).split())[:200]
    _fail(
        f"this is a mistake in bellcrank itself, not in your show: {type(error).__name__}{where}"
        f"{': ' + words if words else ''}",
        OWN_MISTAKE,
    )


def _open_what_is_closed() -> None:
    """Started with a closed output (`>&-`), Python has none: what is written goes nowhere."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115


def _let_go_of(stream: TextIO) -> None:
    """Keep Python from complaining about a closed pipe while it exits."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except (OSError, ValueError):
        return
