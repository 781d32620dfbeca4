"""The choice between words for a person and records for a program."""

from __future__ import annotations

import click

format_option = click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="Output for a person, or for a program.",
)
