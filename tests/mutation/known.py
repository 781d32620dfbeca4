"""The list of changes that no test finds, each with the reason: `known.toml`.

A key is a module; under it each change in the words that the command prints, and why it stays:

    ["sim/rig/drive.py"]
    "reach: a < b -> a <= b" = "the two are never equal: ..."
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.mutants import Mutant

LIST = Path(__file__).with_name("known.toml")


@dataclass(frozen=True, slots=True)
class Reasons:
    by_module: dict[str, dict[str, str]]

    def get(self, mutant: Mutant) -> str | None:
        return self.by_module.get(mutant.module, {}).get(mutant.key)


def reasons() -> Reasons:
    """What `known.toml` says. Raises ValueError where it cannot be read."""
    return Reasons(tomllib.loads(LIST.read_text("utf-8")))
