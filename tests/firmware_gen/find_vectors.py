"""Finds a vector for each changed rule: `python -m tests.firmware_gen.find_vectors`.

It writes the vectors' titles into the files of `variations` and prints the changes that no vector
notices. A title that is still right stays.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import CodeType
from typing import Any, Final

from tests.firmware_gen import (
    led_vectors,
    second_bar,
    second_battery,
    second_board,
    second_check,
    second_led,
    second_player,
    second_presses,
    second_scale,
    second_shine,
    second_tracking,
    senses_vectors,
)
from tests.firmware_gen.link_script import SecondBench, cells_of, leaves_at
from tests.firmware_gen.rule_variations import Variation, read, write_titles
from tests.firmware_gen.vector_files import CHECKED, PLAYED, first_difference, held

Case = Mapping[str, Any]
Names = Mapping[str, Any]


@dataclass(frozen=True)
class Subject:
    """A small implementation, and the vectors that it must answer."""

    name: str
    """Of its file of variations."""
    page: str
    path: str
    files: tuple[str, ...]
    differs: Callable[[Names, Case], bool]
    """Whether the implementation of these names leaves a case."""

    def source(self) -> str:
        return Path(self.path).read_text(encoding="utf-8")

    def cases(self) -> list[Case]:
        return [case for name in self.files for case in held(name)]


def _plays_otherwise(names: Names, case: Case) -> bool:
    return first_difference(names["SecondPlayer"](bytes.fromhex(case["table"])), case) is not None


def _refuses_otherwise(names: Names, case: Case) -> bool:
    return bool(names["refusal"](bytes.fromhex(case["table"])) != case["code"])


def _answers_otherwise(names: Names, case: Case) -> bool:
    board, failure = names["SecondBoard"], names["PowerFailsError"]
    bench = SecondBench(cells_of(case), bytes.fromhex(case["merged"]), board, failure)
    return leaves_at(bench, case) is not None


def _follows_otherwise(names: Names, case: Case) -> bool:
    return led_vectors.leaves(names, case) is not None


PARTS: Final = (
    *("WatchedBattery", "HeldFollow", "TrackedMotion"),
    *("HeldLight", "HeldShine", "HeldBar", "HeldScale"),
)
"""Classes that `second_presses` takes from its neighbours."""


@cache
def _presses_code() -> CodeType:
    path = second_presses.__file__
    return compile(Path(path).read_text(encoding="utf-8"), path, "exec", dont_inherit=True)


def _senses_otherwise(names: Names, case: Case) -> bool:
    """`names`: those of `second_presses`, or of a module that it takes parts from."""
    if "SecondPlayerWithSenses" not in names:
        whole: dict[str, Any] = {"__name__": __name__}
        exec(_presses_code(), whole)
        whole.update({name: names[name] for name in PARTS if name in names})
        names = whole
    return senses_vectors.second_leaves(case, names["SecondPlayerWithSenses"]) is not None


SUBJECTS = (
    Subject("player", "TABLE.md", second_player.__file__, PLAYED, _plays_otherwise),
    Subject("check", "TABLE.md", second_check.__file__, CHECKED, _refuses_otherwise),
    Subject("board", "LINK.md", second_board.__file__, ("link",), _answers_otherwise),
    Subject("led", "TABLE.md", second_led.__file__, ("led",), _follows_otherwise),
    *(
        Subject(name, "TABLE.md", module.__file__, ("senses",), _senses_otherwise)
        for name, module in (
            ("presses", second_presses),
            ("tracking", second_tracking),
            ("battery", second_battery),
            ("shine", second_shine),
            ("bar", second_bar),
            ("scale", second_scale),
        )
    ),
    Subject("line", "LINK.md", second_led.__file__, ("led",), _follows_otherwise),
)


def is_noticed(subject: Subject, names: Names, case: Case) -> bool:
    """Whether a changed implementation leaves a case. One that breaks does not count."""
    try:
        return subject.differs(names, case)
    except (ArithmeticError, LookupError, TypeError, ValueError):
        return False


def vector_for(subject: Subject, variation: Variation, cases: Sequence[Case]) -> str:
    names = variation.apply(subject.source())
    first = sorted(cases, key=lambda case: case["title"] != variation.noticed_by)
    return next((case["title"] for case in first if is_noticed(subject, names, case)), "")


def main() -> None:
    for subject in SUBJECTS:
        cases = subject.cases()
        cases.sort(key=lambda case: len(str(case)) * case.get("frames", 1))
        titles = {one.name: vector_for(subject, one, cases) for one in read(subject.name)}
        write_titles(subject.name, titles)
        for name, title in titles.items():
            if not title:
                print(f"{subject.name}: not noticed: {name}")


if __name__ == "__main__":
    main()
