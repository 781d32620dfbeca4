"""Words for a person, fitted to the terminal, or records for a program."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any, TypeVar

import click

from seqlang.text.render import broken, columns_of

F = TypeVar("F", bound=Callable[..., Any])


def _option(*forms: str, help: str) -> Callable[[F], F]:
    return click.option(
        "--format",
        "form",
        type=click.Choice(forms),
        default="text",
        show_default=True,
        help=help,
    )


format_option = _option("text", "json", help="Output for a person, or for a program.")

findings_format_option = _option(
    "text",
    "json",
    "sarif",
    help="Output for a person, for a program, or for an editor or server that reads SARIF 2.1.0.",
)


def say(words: str) -> None:
    """Print a sentence, on a terminal in lines that fit it."""
    click.echo(broken(words, columns_of(sys.stdout)))
