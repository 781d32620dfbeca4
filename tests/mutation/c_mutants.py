"""Small wrong changes of a C module of the core, made in its text, and a core built with one.

The core is plain C without macros that hide code, so operators and numbers can be found by their
look once comments, strings and preprocessor lines are blanked out.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.mutants import Mutant

UNBORN = "(unborn)"

SWAPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (r" < ", (" <= ", " >= ")),
    (r" <= ", (" < ", " > ")),
    (r" > ", (" >= ", " <= ")),
    (r" >= ", (" > ", " < ")),
    (r" == ", (" != ",)),
    (r" != ", (" == ",)),
    (r" && ", (" || ",)),
    (r" \|\| ", (" && ",)),
    (r" \+ ", (" - ",)),
    (r" - ", (" + ",)),
    (r" \* ", (" / ",)),
    (r" / ", (" * ",)),
    (r" % ", (" * ",)),
    (r" << ", (" >> ",)),
    (r" >> ", (" << ",)),
    (r" & ", (" | ",)),
    (r" \| ", (" & ",)),
    (r" \^ ", (" | ",)),
    (r" \+= ", (" -= ", " = ")),
    (r" -= ", (" += ", " = ")),
    (r" \|= ", (" &= ",)),
    (r" &= ", (" |= ",)),
    (r"(?<=[(\s])!(?=[\w(])", ("",)),
    (r"~(?=[\w(])", ("",)),
    (r"\btrue\b", ("false",)),
    (r"\bfalse\b", ("true",)),
)
NUMBER = re.compile(r"(?<![\w.])(0[xX][0-9a-fA-F]+|\d+)(?=[uUlL]*\b)")
CALL = re.compile(r"^[ \t]+(?!return\b|goto\b)\w+\([^\n]*\);$", re.MULTILINE)
STORE = re.compile(r"^[ \t]+\*?[\w.\[\]>-]+ [|&+-]?= [^\n]*;$", re.MULTILINE)
FUNCTION = re.compile(r"^\w[^\n;=]*?\b(\w+)\([^;{]*\)\s*\{", re.MULTILINE)
BLANKED = re.compile(
    r"/\*.*?\*/|//[^\n]*|\"(?:\\.|[^\"\\])*\"|^[ \t]*#(?:\\\n|[^\n])*", re.DOTALL | re.MULTILINE
)


@dataclass(frozen=True, slots=True)
class _Change:
    start: int
    end: int
    new: str


def _blank(match: re.Match[str]) -> str:
    return re.sub(r"[^\n]", " ", match[0])


def _changes(text: str) -> Iterator[_Change]:
    code = BLANKED.sub(_blank, text)
    found: list[_Change] = []
    for pattern, others in SWAPS:
        for match in re.finditer(pattern, code):
            found += [_Change(*match.span(), other) for other in others]
    for match in NUMBER.finditer(code):
        found.append(_Change(*match.span(), str(int(match[0], 0) + 1)))
    for match in [*CALL.finditer(code), *STORE.finditer(code)]:
        found.append(_Change(*match.span(), ";"))
    yield from sorted(found, key=lambda one: (one.start, one.end, one.new))


def mutants(module: str, text: str) -> list[Mutant]:
    """Every mutant of a C module inside its functions, in the order of the text."""
    starts = [(match.start(), match[1]) for match in FUNCTION.finditer(BLANKED.sub(_blank, text))]
    found: list[Mutant] = []
    seen: Counter[tuple[str, str]] = Counter()
    for number, one in enumerate(_changes(text)):
        scope = next((name for start, name in reversed(starts) if start < one.start), "")
        if not scope:
            continue
        line = text.count("\n", 0, one.start) + 1
        old, new = _line(text, one), _line(text[: one.start] + one.new + text[one.end :], one)
        change = f"{old} -> {new}"
        seen[scope, change] += 1
        if (count := seen[scope, change]) > 1:
            change = f"{change} ({count})"
        found.append(Mutant(module, number, line, range(line, line + 1), scope, change))
    return found


def _line(text: str, one: _Change) -> str:
    start = text.rfind("\n", 0, one.start + 1) + 1
    end = text.find("\n", max(start, one.start))
    return " ".join(text[start:end].split())


def changed_source(text: str, number: int) -> str:
    change = list(_changes(text))[number]
    return text[: change.start] + change.new + text[change.end :]


def planted(text: str) -> str:
    """The module with every function ending the process at once."""
    code = BLANKED.sub(_blank, text)
    places = [match.end() for match in FUNCTION.finditer(code)]
    for place in reversed(places):
        text = text[:place] + " __builtin_trap();" + text[place:]
    return text


def copied(core: Path, name: str, source: str) -> Path:
    """A copy of the core's folder with one file's text replaced. It lives as long as the trial."""
    folder = Path(tempfile.mkdtemp(prefix="bellcrank-mutant-")) / "core"
    shutil.copytree(core, folder)
    (folder / name).write_text(source)
    return folder
