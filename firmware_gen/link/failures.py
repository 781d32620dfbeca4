"""Why a board cannot be worked with, told apart so that each has its own words and remedy."""

from __future__ import annotations

from typing import Literal, TypeAlias

FailureReason: TypeAlias = Literal[
    "no-port",
    "several-ports",
    "port-busy",
    "no-permission",
    "not-a-port",
    "rate-refused",
    "port-lost",
    "no-answer",
    "garbage",
    "echo",
    "wrong-version",
    "wrong-chip",
    "wrong-address",
    "board-unclear",
    "table-too-large",
    "verify-failed",
    "table-refused",
    "board-reset",
    "refused",
]
"""Stable, readable, named for the bad thing."""


class LinkFailure(Exception):  # noqa: N818 - the trade says link failure
    """A board or the way to it failed.

    `reason` is stable; `message` says what was found, lower case and without a full stop; `help`
    says how to mend it.
    """

    def __init__(self, reason: FailureReason, message: str, help: str | None = None) -> None:
        super().__init__(message)
        self.reason: FailureReason = reason
        self.message = message
        self.help = help
