"""The colouring grammar is made of the language's own words, and colours real shows rightly."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from seqlang.editor.colouring import GRAMMAR_FILE, grammar_file, stretches
from seqlang.text.grammar import parser
from seqlang.text.tokens import words_of

ROOT = Path(__file__).parents[2]
SHOWS = sorted((ROOT / "shows").glob("*/*.cues"))
KINDS = {
    "STRING": "string",
    "COLOUR": "colour",
    "QUANTITY": "number",
    "NUMBER": "number",
    "LAW": "law",
    "EFFECT": "law",
    "TRAPEZOID": "law",
    "DOUBLE_S": "law",
}


def test_the_shipped_file_is_what_the_grammar_makes() -> None:
    assert GRAMMAR_FILE.read_text(encoding="utf-8") == grammar_file(), (
        "run `python -m seqlang.editor.colouring`"
    )


def test_its_patterns_can_be_read_and_have_scopes() -> None:
    made = json.loads(grammar_file())
    for one in made["patterns"]:
        re.compile(one["match"])
        assert one["name"].endswith(".cues")
    assert made["fileTypes"] == ["cues"]


def test_every_word_of_the_grammar_is_coloured() -> None:
    for terminal in parser().terminals:
        for word in words_of(terminal.name):
            if word[0].isalnum():
                found = [(one.start, one.end) for one in stretches(f" {word} ")]
                assert found == [(1, 1 + len(word))], word


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.stem)
def test_the_words_of_a_show_have_the_kinds_that_the_parser_gives_them(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    kinds = {(one.start, one.end): one.kind for one in stretches(text)}
    checked = 0
    for token in parser().parse_interactive(text).exhaust_lexer():
        if token.type == "NAME" or token.type.startswith("_") or not token[0].isalnum():
            continue
        kind = kinds.get((token.start_pos, token.end_pos))
        expected = KINDS.get(token.type, "keyword")
        if token.type not in ("FRACTION",):
            checked += 1
            assert kind == expected, (token.type, str(token))
    assert checked > 40
    comments = [text[s:e] for (s, e), kind in kinds.items() if kind == "comment"]
    assert comments == [line[line.index("# ") :] for line in text.splitlines() if "# " in line]
