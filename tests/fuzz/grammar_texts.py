"""Texts after the grammar: every line follows it, whatever they come to."""

from __future__ import annotations

import re
from functools import cache

from hypothesis import strategies as st
from hypothesis.extra.lark import from_lark
from lark import Lark
from lark.lexer import PatternStr

from seqlang.text.grammar import grammar_text, parser

DEEPER, BACK = "\x01", "\x02"
RIG = """\
supply pack
    source adapter 6 V, 5 A
board body: atmega328p, address 1
    feed pack
servo jaw: body pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 20 g at 50 mm
lamp lure: body pin PD6
strip belly: body pin PD7
    pixels 30
switch fan: body pin PD4
"""
RULES = (
    "cue",
    "gesture",
    "cue",
    "cue",
    "servo",
    "lamp",
    "strip",
    "switch",
    "pose",
    "remote",
    "idle",
    "usage",
    "mirror",
    "row",
)
"""What a text is made of; cues weigh most."""

NAMES = (
    "left",
    "left_jaw",
    "jaw_2",
    "jaw",
    "lure",
    "belly",
    "fan",
    "body",
    "pack",
    "shut",
    "bite",
    "a",
    "orange",
    "PB2",
    "é",
)
AMOUNTS = (
    *("3 deg", "200 ms", "1 s", "40 %", "6 V", "2 A", "30 mm", "20 g", "1500 us", "0.1 N.m"),
    *("90 deg/s", "600 deg/s2", "3 deg/s3", "20 AWG", "7 rpm", "0 s", "-4 deg", "65 s", "99 h"),
)


@cache
def grammar_texts() -> st.SearchStrategy[str]:
    """Shows in which each line is right by itself; half of them stand behind a sound rig."""
    terminals = {term.name: term.pattern for term in parser().terminals}
    explicit: dict[str, st.SearchStrategy[str]] = {}
    for name, pattern in terminals.items():
        if isinstance(pattern, PatternStr):
            explicit[name] = st.just(pattern.value + " ")
    explicit |= {
        "NAME": _spaced(NAMES),
        "QUANTITY": _spaced(AMOUNTS),
        "NUMBER": _spaced(("0", "1", "3", "40", "0.5", "-2", "70000")),
        "FRACTION": _spaced(("1/2", "1/3", "0/1")),
        "STRING": _spaced(('"A title"', '""')),
        "COLOUR": _spaced(("#ff8000", "#000000")),
        "BROKEN": st.just("?? "),
        "_NL": st.sampled_from(("\n", "\n", "  # remark\n", "\n\n")),
        "_INDENT": st.just(DEEPER),
        "_DEDENT": st.just(BACK),
    }
    for name, pattern in terminals.items():
        if name in ("COMMENT", "__IGNORE_0"):  # what stands between the words
            explicit[name] = st.just("")
        elif name not in explicit:
            explicit[name] = _words(str(pattern.value))
    built = Lark(grammar_text(), parser="earley", lexer="basic", start=sorted(set(RULES)))
    items = []
    for rule in RULES:
        known = {term.name for term in built.grammar.compile([rule], ())[0]}
        known |= {"_INDENT", "_DEDENT"}  # declared, not defined
        used = {name: words for name, words in explicit.items() if name in known}
        items.append(from_lark(built, start=rule, explicit=used))
    texts = st.lists(st.one_of(items), min_size=1, max_size=6).map("".join).map(_laid_out)
    return st.builds(str.__add__, st.sampled_from(("", RIG)), texts)


def _spaced(words: tuple[str, ...]) -> st.SearchStrategy[str]:
    return st.sampled_from(words).map(lambda word: word + " ")


def _words(pattern: str) -> st.SearchStrategy[str]:
    """Words that a pattern with a list of them stands for, as `for +ever(?!\\w)` does."""
    plain = re.sub(r"\(\?!.*?\)$", "", pattern).replace(" +", " ").replace("(?:", "").rstrip(")")
    if re.fullmatch(r"[\w .|-]+", plain):
        return _spaced(tuple(plain.split("|")))
    return st.from_regex(pattern, fullmatch=True).map(lambda word: word + " ")


def _laid_out(marked: str) -> str:
    lines, depth = [], 0
    for line in marked.split("\n"):
        depth = max(0, depth + line.count(DEEPER) - line.count(BACK))
        lines.append("    " * depth + line.replace(DEEPER, "").replace(BACK, ""))
    return "\n".join(lines)
