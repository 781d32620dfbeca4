"""Texts whose words stay and whose layout is shaken: for tests of what must not depend on it."""

from __future__ import annotations

import re
from random import Random

from seqlang.text.indentation import is_content, width

_ATOMS = re.compile(r'"[^"]*"|#[0-9A-Fa-f]{6}\b|#.*|[ ]+|[,:]|[^ ,:"#]+|#')
GAPS = [" ", " ", "  ", "     "]
TABS = [" ", "\t", " \t "]
"""Between words; inside a quantity and a word of several parts only spaces may stand."""
REMARKS = [
    "# remark",
    "#remark",
    "#",
    "# a: b, (c)",
    "#ff8000",
    "# ß 🦉 \u2028 x",
    '# "half',
    "## cue a",
]


def shaken(chance: Random, text: str, *, remarks: bool = True, blanks: bool = True) -> str:
    """`text` (four spaces a block) with other spaces, indentations, blank lines and comments.

    With `remarks` every line may get comments behind and above it; with `blanks` blank lines come
    and go. Nothing else may change what the layout is made of.
    """
    depth_width = [0]
    unit = chance.choice([" ", "  ", "   ", "    ", "       ", "\t"])
    out: list[str] = []
    for line in text.split("\n"):
        if not is_content(line):
            out += [line] if line.strip() or not blanks else []
            continue
        depth = width(line) // 4
        del depth_width[depth + 1 :]
        while len(depth_width) <= depth:
            more = 1 if unit == "\t" else chance.randint(1, 3)
            depth_width.append(depth_width[-1] + more)
        indent = unit * depth_width[depth]
        if remarks and chance.randint(0, 3) == 0:
            out.append(chance.choice(["", " ", "      ", indent]) + chance.choice(REMARKS))
        if blanks and chance.randint(0, 3) == 0:
            out += [chance.choice(["", "   ", "\t"])] * chance.randint(1, 3)
        behind = (
            chance.choice(GAPS) + chance.choice(REMARKS)
            if remarks and chance.randint(0, 3) == 0
            else ""
        )
        out.append(indent + _respaced(chance, line.strip()) + behind + chance.choice(["", " "]))
    if remarks and chance.random() < 0.5:
        out.append(chance.choice(["", "  ", "        "]) + chance.choice(REMARKS))
    return "\n".join(out) + chance.choice(["", "\n", "\n\n\n"])


def _respaced(chance: Random, words: str) -> str:
    """A statement with other spaces between its words."""
    atoms: list[str] = _ATOMS.findall(words)
    out = ""
    for n, atom in enumerate(atoms):
        if not atom.isspace():
            if atom in ",:" and chance.randint(0, 4) == 0:
                out += " "
            out += atom
            continue
        before, after = atoms[n - 1], atoms[n + 1]
        if before in ",:":
            out += chance.choice(["", *TABS])
        elif before == "/":  # `UL /` and the like do not exist; a sum's slash keeps its space
            out += " "
        else:
            droppable = before[-1].isdigit() and after[0] == "%"
            out += chance.choice(["", *GAPS] if droppable else GAPS)
    return out


def comments_of(text: str) -> list[str]:
    """The comments of a text that the functions above have made, in their order."""
    found = []
    for line in text.split("\n"):
        for atom in _ATOMS.findall(line.replace("\t", " ")):
            if atom.startswith("#"):
                found.append(atom.strip())
    return found
