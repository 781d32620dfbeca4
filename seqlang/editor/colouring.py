"""Colours for the text: the grammar file for editors, and kinds of words for the server.

`python -m seqlang.editor.colouring` writes the grammar file, in the JSON form of TextMate grammars
that many editors read. All its words are those of the language's grammar.
"""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from firmware_gen.files import write_whole
from seqlang.text.grammar import parser
from seqlang.text.tokens import words_of
from seqlang.text.units import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from seqlang.text.occurrences import Occurrence

GRAMMAR_FILE: Final = Path(__file__).with_name("cues.tmLanguage.json")

_SCOPES: Final = {
    "comment": "comment.line.number-sign.cues",
    "string": "string.quoted.double.cues",
    "colour": "constant.other.colour.cues",
    "number": "constant.numeric.cues",
    "law": "support.constant.cues",
    "keyword": "keyword.control.cues",
}


class Stretch(NamedTuple):
    """Some characters of one kind."""

    start: int
    end: int
    kind: str


@cache
def patterns() -> dict[str, str]:
    """A regular expression for each kind of word, in the order in which they are tried."""
    return {
        "colour": r"(?<=[\w,=] )#[0-9A-Fa-f]{6}(?!\w)",
        "comment": r"#[^\n]*",
        "string": r'"[^"\n]*"',
        "law": _words_pattern(_laws_and_effects(), _keywords()),
        "keyword": _words_pattern(_keywords()),
        "number": rf"(?<![\w.])-?[0-9]+(?:\.[0-9]+)?(?: *(?:{_units_pattern()})(?![\w.]))?",
    }


def _laws_and_effects() -> frozenset[str]:
    return frozenset(
        w for name in ("LAW", "DOUBLE_S", "TRAPEZOID", "EFFECT") for w in words_of(name)
    )


def _keywords() -> frozenset[str]:
    words = {word for terminal in parser().terminals for word in words_of(terminal.name)}
    return frozenset(word for word in words if word[0].isalpha()) - _laws_and_effects()


def _words_pattern(words: Iterable[str], longer: Iterable[str] = ()) -> str:
    """One of the words, none of which begins a longer one: the effect `run` is not `run time`."""
    longest_first = sorted(words, key=lambda word: (-len(word), word))
    tails = {
        word: "".join(
            f"(?!{_written(whole[len(word) :])})"
            for whole in sorted(longer)
            if whole.startswith(f"{word} ")
        )
        for word in longest_first
    }
    joined = "|".join(_written(word) + tails[word] for word in longest_first)
    return rf"(?<![\w-])(?:{joined})(?![\w-])"


def _written(words: str) -> str:
    return re.escape(words).replace(r"\ ", " +").replace(r"\-", "-")


def _units_pattern() -> str:
    longest_first = sorted(UNITS, key=lambda unit: (-len(unit), unit))
    return "|".join(re.escape(unit) for unit in longest_first)


@cache
def _all_kinds() -> re.Pattern[str]:
    return re.compile("|".join(f"(?P<{kind}>{text})" for kind, text in patterns().items()))


def stretches(text: str) -> Iterator[Stretch]:
    """The coloured words of a text in their order, names aside."""
    for match in _all_kinds().finditer(text):
        assert match.lastgroup is not None
        yield Stretch(match.start(), match.end(), match.lastgroup)


def coloured(text: str, names: Iterable[Occurrence]) -> list[Stretch]:
    """The words of a text with their kinds; a name is of the kind of what it names."""
    named = {one.start: Stretch(one.start, one.end, one.named) for one in names}
    found = [one for one in stretches(text) if one.start not in named]
    return sorted([*found, *named.values()])


def grammar_file() -> str:
    """The grammar for editors, as JSON."""
    return (
        json.dumps(
            {
                "name": "Bellcrank cues",
                "scopeName": "source.cues",
                "fileTypes": ["cues"],
                "patterns": [
                    {"name": _SCOPES[kind], "match": text} for kind, text in patterns().items()
                ],
            },
            indent=2,
        )
        + "\n"
    )


if __name__ == "__main__":
    write_whole(GRAMMAR_FILE, grammar_file().encode("utf-8"))
