"""Finds a vector for each changed rule: `python -m tests.firmware_gen.find_vectors`.

It writes the vectors' titles into `variations/player.txt` and prints the changes that no vector
notices. A title that is still right stays.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.firmware_gen import second_player
from tests.firmware_gen.rule_variations import Variation, read, write_titles
from tests.firmware_gen.vector_files import PLAYED, first_difference, held

SOURCE = Path(second_player.__file__).read_text(encoding="utf-8")


def is_noticed(names: Mapping[str, Any], case: Mapping[str, Any]) -> bool:
    """Whether a changed player leaves a case. One that breaks does not count."""
    try:
        player = names["SecondPlayer"](bytes.fromhex(case["table"]))
        return first_difference(player, case) is not None
    except (ArithmeticError, LookupError, ValueError):
        return False


def vector_for(variation: Variation, cases: Sequence[Mapping[str, Any]]) -> str:
    names = variation.apply(SOURCE)
    first = sorted(cases, key=lambda case: case["title"] != variation.noticed_by)
    return next((case["title"] for case in first if is_noticed(names, case)), "")


def main() -> None:
    cases = [case for name in PLAYED for case in held(name)]
    cases.sort(key=lambda case: len(case["table"]) * case["frames"])
    titles = {one.name: vector_for(one, cases) for one in read("player")}
    write_titles("player", titles)
    print(*(f"not noticed: {name}" for name, title in titles.items() if not title), sep="\n")


if __name__ == "__main__":
    main()
