"""Writes `seqlang/FINDINGS.md`: `python -m tests.seqlang.findings_page`.

From the docstrings of the checks, `seqlang/text/reading_kinds.py`, the cautions, and the broken
shows of `findings/`: each is checked, and what the check prints stands on the page.
"""

from __future__ import annotations

import ast
import difflib
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import chdir
from inspect import cleandoc
from pathlib import Path

from firmware_gen.link.failures import FAILURES
from seqlang import cautions
from seqlang.check import check
from seqlang.explain import LABELS, PAGE, Explanation, FindingSubject
from seqlang.loading import Loaded, load
from seqlang.text.findings import Finding
from seqlang.text.indentation import MOST_INCLUDED
from seqlang.text.reading_kinds import READING
from seqlang.text.render import text
from tests.seqlang.examples import FOLDER, example, mended

ROOM = Path(__file__).parents[2] / "seqlang"
COLUMNS = 78
"""So that an example fits a terminal of 80 columns, set in by two."""

SUBJECTS = ("wiring", "calibration", "motion", "supply", "light", "score", "remote")
"""The checks' folders in the order of the page, behind the subjects of reading."""

WITHOUT = {"table-refused": "no show that passes the other checks is known to bring it about"}
"""Findings without an example show, and why."""

AS_HERE = "as in this example:"
"""The remedy of a finding whose docstring shows nothing but lines."""

MOST_CHANGED = 10
"""Changed lines that the page shows of a remedy."""

INTRO = """# Findings

What `bellcrank check` can find, by subject. `bellcrank explain NAME` prints the same.

Each example is a small show that the tests check: it gives the finding just as it is printed here.
The tests also make the change that stands below it (`-` out, `+` in), and the show passes.
A finding is an *error* (the show cannot be compiled or flashed), a *warning* or *advice*.
What stands under `link` is no finding about a show: commands that talk to a board end with it.

This page is made by `python -m tests.seqlang.findings_page` from the checks' own words.
Do not edit it.
"""


# -- the words ---------------------------------------------------------------------------------


def sections(docstring: str) -> tuple[dict[str, str], dict[str, str]]:
    """Titles by name, and the sections of a docstring in the fixed form.

    A docstring for several findings has a line with a title for each below its first one.
    """
    head, *paragraphs = re.split(r"\n\n", cleandoc(docstring))
    names, title = " ".join(head.split()).split(": ", 1)
    titles = dict.fromkeys(names.split(", "), title.rstrip("."))
    found: dict[str, str] = {}
    last = ""
    for paragraph in paragraphs:
        words = re.match(r"(What|Why|Example|Instead|Source of the limit): ?(.*)", paragraph, re.S)
        if words is not None:
            last = words[1]
            found[last] = " ".join(words[2].split())
        elif not last:
            titles |= dict(line.rstrip(".").split(": ", 1) for line in paragraph.splitlines())
        elif not paragraph.startswith("    "):
            more = " ".join(paragraph.split()).removeprefix("or ")
            found[last] = f"{found[last]} {more}".strip()
    return titles, found


def checks_words() -> Iterator[tuple[str, str]]:
    """Subject and docstring of each module of a check."""
    for subject in SUBJECTS:
        for path in sorted((ROOM / "checks" / subject).glob("*.py")):
            docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
            if docstring and "\nWhat: " in docstring:
                yield subject, docstring


def subject_title(subject: str) -> str:
    """As the folder's own docstring names it."""
    path = ROOM / "checks" / subject / "__init__.py"
    docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return docstring.removeprefix("Checks of ").rstrip(".")


# -- the examples ------------------------------------------------------------------------------


def made_in_utf_16() -> tuple[bytes, bytes]:
    show = 'show "In the wrong encoding"\n'
    return show.encode("utf-16"), show.encode()


def made_of_one_line() -> tuple[bytes, bytes]:
    return f'show "One line"\n# {"9f" * 500}\n'.encode(), b'show "One line"\n'


def made_of_holds() -> tuple[bytes, bytes]:
    head = 'show "For hours"\n\ncue wait\n'
    return (head + "    hold 1 s\n" * 100_000).encode(), (head + "    hold 1 s\n").encode()


def made_of_searches() -> tuple[bytes, bytes]:
    rig = (FOLDER / "impossible-move.cues").read_text(encoding="utf-8")
    rig = (
        rig[rig.index("show") : rig.index("cue")]
        .replace("2 kg", "60 g")
        .replace("atmega328p", "atmega2560")
    )
    moves = (f"    flap to {n / 10:g} deg as fast as it can\n" for n in range(1, 502))
    cue = "cue shiver\n" + "".join(f"{move}    flap to 60 deg in 1 s\n" for move in moves)
    return (rig + cue).encode(), (rig + cue.replace("as fast as it can", "in 1 s")).encode()


def made_of_includes() -> tuple[bytes, bytes]:
    names = [f'include "parts/{path.name}"\n' for path in sorted(more_parts())]
    head = 'show "A file for every line"\n\n'
    return (head + "".join(names)).encode(), (head + "".join(names[:-1])).encode()


def more_parts() -> dict[Path, bytes]:
    """One file more than a show may include."""
    one = "given length_{n} = {n} mm\n"
    return {
        Path(f"parts/{n:02}.cues"): one.format(n=n).encode() for n in range(1, MOST_INCLUDED + 2)
    }


MADE: dict[str, Callable[[], tuple[bytes, bytes]]] = {
    "not-text": made_in_utf_16,
    "line-too-long": made_of_one_line,
    "file-too-large": made_of_holds,
    "too-many-searches": made_of_searches,
    "too-many-includes": made_of_includes,
}
"""Examples too large or too odd to keep as files, and each one mended."""


def broken_and_mended(name: str) -> tuple[str, bytes, bytes]:
    """The remark of an example, its show without its header, and that show mended."""
    if name in MADE:
        return "", *MADE[name]()
    shown = example(FOLDER / f"{name}.cues")
    whole = mended(shown)
    header = shown.text.index("\n\n") + 2
    return shown.remark, shown.text[header:].encode(), whole[whole.index("\n\n") + 2 :].encode()


def printed(name: str, show: bytes) -> str:
    """The first finding of that name as a check of the show prints it."""
    loaded, found = _checked(name, show)
    first = next((finding for finding in found if finding.name == name), None)
    assert first is not None, f"the example of {name} does not give it"
    return text([first], loaded.sources, columns=COLUMNS)


def checked(name: str, show: bytes) -> list[Finding]:
    """What a show's check finds."""
    return _checked(name, show)[1]


def _checked(name: str, show: bytes) -> tuple[Loaded, list[Finding]]:
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        path = Path(f"{name}.cues")
        path.write_bytes(show)
        shutil.copytree(FOLDER / "parts", "parts")
        for part, content in more_parts().items() if name == "too-many-includes" else ():
            part.write_bytes(content)
        loaded = load(path)
        return loaded, list(check(loaded).findings)


def changed(broken: bytes, whole: bytes) -> str:
    """The lines that a remedy takes out and puts in, each once."""
    before, after = broken.decode().splitlines(), whole.decode().splitlines()
    lines = [line for line in difflib.ndiff(before, after) if line[0] in "+-" and line[2:].strip()]
    shown = list(dict.fromkeys(line + "\n" for line in lines))[:MOST_CHANGED]
    more = [f"... {len(lines)} lines in all\n"] if len(lines) > len(shown) else []
    return "".join([*shown, *more])


# -- the page ----------------------------------------------------------------------------------


def sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def explained(subject: str, docstring: str) -> Iterator[Explanation]:
    titles, found = sections(docstring)
    for name, title in titles.items():
        remark, finding, change = found.get("Example", ""), "", ""
        if name in WITHOUT:
            remark = WITHOUT[name]
        else:
            said, broken, whole = broken_and_mended(name)
            remark = said or remark
            finding = printed(name, broken)
            change = "" if name in MADE else changed(broken, whole)
        yield Explanation(
            name,
            subject,
            sentence(title),
            what=sentence(found["What"]),
            why=sentence(found["Why"]),
            example=sentence(remark),
            finding=finding,
            remedy=sentence(found["Instead"] or AS_HERE),
            change=change,
            source=sentence(found["Source of the limit"]),
        )


def all_subjects() -> tuple[FindingSubject, ...]:
    """Everything on the page."""
    made = [
        FindingSubject(
            subject,
            title,
            tuple(one for words in entries for one in explained(subject, words)),
        )
        for subject, (title, entries) in READING.items()
    ]
    by_subject: dict[str, list[Explanation]] = {subject: [] for subject in SUBJECTS}
    for subject, words in checks_words():
        by_subject[subject] += explained(subject, words)
    made += [
        FindingSubject(subject, subject_title(subject), tuple(found))
        for subject, found in by_subject.items()
    ]
    warned = tuple(
        Explanation(
            one.name, "cautions", sentence(one.title), points=tuple(map(sentence, one.words))
        )
        for one in cautions.ALL
    )
    known = {one.name for subject in made for one in subject.explanations}
    failing = tuple(
        Explanation(
            name,
            "link",
            sentence(words.title),
            what=sentence(words.what),
            why=sentence(words.why),
            remedy=sentence(words.remedy),
        )
        for name, words in FAILURES.items()
        if name not in known  # a check finds the same, and says more of it
    )
    link = FindingSubject("link", "a board, or the way to it, fails", failing)
    return (*made, link, FindingSubject("cautions", "what to mind", warned))


def as_page(subjects: tuple[FindingSubject, ...]) -> str:
    parts = [INTRO]
    for subject in subjects:
        parts.append(f"## {subject.name}: {subject.title}\n")
        if subject.name == "link":
            parts.append("The name stands in brackets behind the message, with exit status 3.\n")
        if subject.name == "cautions":
            parts.append(
                "Each show gets those that its own parts give reason for, in every check.\n"
                f"{sentence(cautions.DEFER)}.\n"
            )
        parts += map(as_section, subject.explanations)
    return "\n".join(parts)


def as_section(one: Explanation) -> str:
    lines = [f"### `{one.name}`\n", f"{one.title}.\n"]
    lines += [f"- {point}." for point in one.points] + ([""] if one.points else [])
    blocks = {"example": ("text", one.finding), "remedy": ("diff", one.change)}
    for label, field in LABELS.items():
        words = getattr(one, field)
        kind, block = blocks.get(field, ("", ""))
        if words or block:
            lines.append(f"**{label}.** {words}".rstrip() + "\n")
        if block:
            lines.append(f"```{kind}\n{block}```\n")
    return "\n".join(lines)


if __name__ == "__main__":
    (ROOM / PAGE).write_text(as_page(all_subjects()), encoding="utf-8")
