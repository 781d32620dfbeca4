"""Rows and sides: one thing of a row, several, all of them, and the ways along it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from seqlang.text.slips.written import Slip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from seqlang.text.slips.written import Written

_NAME: Final = r"(?<![\w.-])([^\W\d]\w*?)"
_HASH: Final = re.compile(r"^([^\W\d]\w*?)_? *#(?:nr|no)?\.? *([0-9]+)\b(?! *,)")
_ONE: Final = re.compile(
    rf"{_NAME}_?(?:\[ *([0-9]+) *\]|\( *([0-9]+) *\)|[.-]([0-9]+)(?!\w)| +([0-9]+)"
    r"(?= +(?:to|fade|cut|and|on|off|breathe|breathing|steady)\b))"
)
_SOME: Final = (
    re.compile(
        rf"{_NAME}_?([0-9]+) *(?:\.\.+|\u2026|-|\u2013|:| (?:to|till|until|up +to|thru) )"
        r" *\1_?([0-9]+)(?!\w)"
    ),
    re.compile(
        rf"{_NAME}(?:_| )?[\[(]? *([0-9]+) *"
        r"(?:\.\.+|\u2026|-|\u2013|:| (?:to|till|until|thru|through) )"
        r" *([0-9]+)(?: *[\])])?(?=\s)(?! *(?:deg|rad|mm|cm|rpm|%))"
    ),
)
_ALL: Final = (
    re.compile(r"(?<!\w)(?:all|every|each|both)(?: +(?:of +)?(?:the|my))? +([^\W\d]\w*)(?!\w)"),
    re.compile(rf"{_NAME}(?:_?\*|\[ *\*? *:? *\]| +all)(?!\w)"),
)
_ORDERS: Final = (
    (
        "from the end",
        r"reversed?|backwards?|in +reverse|descending|down|back +to +front|last +to +first"
        r"|from +(?:the +)?(?:end|back|last|tip|far +end|other +end)|end +first|outside +in",
    ),
    (
        "from the middle",
        r"from +(?:the +)?(?:cent(?:er|re)|mid|middle|inside)(?: +out(?:wards?)?)?"
        r"|(?:cent(?:er|re)|middle|inside) +(?:out|first)",
    ),
    (
        "from both ends",
        r"from +(?:the +)?(?:outsides?|both|ends|two +ends|either +end|both +sides|both +ends)"
        r"(?: +in(?:wards?)?)?|ends +first|both +ends",
    ),
    (
        "",
        r"forwards?|in +order|ascending|up|front +to +back|first +to +last"
        r"|from +(?:the +)?(?:start|beginning|front|first)",
    ),
)
_ALONG: Final = re.compile(r"((?:stagger|in +turn)\b.*?\balong +)(?:the +)?(\w+?)( *,? +)(\S.*?)$")
_TURNED: Final = (
    (r"stagger +along +(.+?)[ ,]+(?:by +|every +)?([0-9.]+ *[a-z]+|\w+)$", r"stagger \2 along \1"),
    (r"in +turn +along +(\w+)[ ,]+(?:by +|every +)?([0-9.]+ *[a-z]+)$", r"stagger \2 along \1"),
    (
        r"stagger +([0-9.]+ *[a-z]+|\([^()]*\)) +(?:across|over|on|for|through|down|each|at)? *"
        r"(?:the +|my +)?(\w+)$",
        r"stagger \1 along \2",
    ),
    (r"(stagger|in turn)\b(.*) along +(?:the|my|all|every|each) +(\w+)$", r"\1\2 along \3"),
    (r"along +(.+?)[ ,]+stagger(?: +by)? +(.+)$", r"stagger \2 along \1"),
    (r"along +(.+)$", r"in turn along \1"),
    (
        r"(?:for *each|each|for +every|for +all|for) +(?:\w+ +in +)?(?:the +)?(\w+)$",
        r"in turn along \1",
    ),
    (r"stagger +(?:the +)?(\w+) +(?:(?:by|every|in) +)?([0-9].*)$", r"stagger \2 along \1"),
)
_LAST_WORDS: Final = frozenset({"end", "middle", "ends", "start", "tip", "back", "front", "centre"})
"""The last word of an order, and no time: `stagger along tuft from the middle`."""
_COUNT: Final = "the things of a row are called by numbers, and counted from 1"
_WAYS: Final = "a row goes from its first thing to its last, or `from the end`, `from the middle` "


def slips(line: Written) -> Iterator[Slip]:
    """What is wrong with things of a row in a line of a cue or a pose."""
    if line.around.head not in ("cue", "pose", "safe", "servo", "lamp", "strip"):
        return
    if line.around.head == "cue":
        turned = list(_turned(line)) or list(_untimed(line))
        yield from turned or _orders(line)
    yield from _sides(line)
    yield from _some(line)
    yield from _one(line)
    yield from _all(line)


def _known(line: Written, name: str) -> bool:
    return name in line.around.every_name


def _one(line: Written) -> Iterator[Slip]:
    """`tuft[2]`, `tuft(2)`, `tuft.2`, `tuft 2 fade`, `tuft#2`."""
    hashed = _HASH.match(line.text)
    if hashed is not None and _known(line, f"{hashed[1]}_{hashed[2]}"):
        made = f"{hashed[1]}_{hashed[2]}"
        yield Slip(
            f"`{hashed[0]}` is not a name: `#` starts a comment",
            *hashed.span(),
            help=f"write `{made}`",
            edits=((*hashed.span(), made),),
            certain=True,
        )
    for found in _ONE.finditer(line.text, 0, line.code_end):
        number = int(next(filter(None, found.groups()[1:])))
        made = f"{found[1]}_{max(number, 1)}"
        if not _known(line, made) or line.quoted(found.start()):
            continue
        written = found[0].rstrip()
        end = found.start() + len(written)
        yield Slip(
            f"`{written}` is not a name: {_COUNT}",
            found.start(),
            end,
            help=f"write `{made}`",
            edits=((found.start(), end, made),),
            certain=True,
        )


def _some(line: Written) -> Iterator[Slip]:
    """`tuft_1..tuft_3`, `tuft_1 to tuft_3`, `tuft 1-3`, `tuft[1:3]`."""
    for pattern in _SOME:
        for found in pattern.finditer(line.text, 0, line.code_end):
            first, last = f"{found[1]}_{int(found[2])}", f"{found[1]}_{int(found[3])}"
            if not (_known(line, first) and _known(line, last)) or line.quoted(found.start()):
                continue
            made = f"{first} through {last}"
            yield Slip(
                f"`{found[0]}` is not a name: some things of a row are written with `through`",
                *found.span(),
                help=f"write `{made}`",
                edits=((*found.span(), made),),
                certain=True,
            )


def _all(line: Written) -> Iterator[Slip]:
    """`all tufts`, `each tuft`, `tuft[*]`."""
    for pattern in _ALL:
        for found in pattern.finditer(line.text, 0, line.code_end):
            name = found[1]
            if not _known(line, name):
                name = name.removesuffix("s")
            if not (_known(line, name) and _known(line, f"{name}_1")) or line.quoted(found.start()):
                continue
            yield Slip(
                f"`{name}` alone means all things of the row",
                *found.span(),
                help=f"write `{name}` instead of `{found[0]}`",
                edits=((*found.span(), name),),
                certain=True,
            )


def _turned(line: Written) -> Iterator[Slip]:
    """`stagger along tuft 200 ms`, `along tuft`, `for each tuft`."""
    text = line.text[: line.code_end].rstrip(" :")
    for pattern, instead in _TURNED:
        found = re.match(pattern, text)
        if found is None:
            continue
        if found[found.lastindex or 1] in _LAST_WORDS:
            continue
        made = found.expand(instead)
        row = re.search(r"along (\w+)", made)
        if row is None:
            continue
        name = row[1] if _known(line, row[1]) else row[1].removesuffix("s")
        if not _known(line, name) or name in ("along", "stagger"):
            continue
        made = made.replace(f"along {row[1]}", f"along {name}", 1)
        yield Slip(
            "what each thing of a row does in its turn stands below `in turn along` or "
            "`stagger TIME along`",
            0,
            len(text),
            help=f"write `{made}`",
            edits=((0, line.code_end, made),),
            certain=True,
        )
        return


def _untimed(line: Written) -> Iterator[Slip]:
    """`stagger along tuft from the middle`."""
    text = line.text[: line.code_end].rstrip(" :")
    found = re.match(r"stagger +along +(\S.*)$", text)
    if found is not None and line.halt is not None:
        yield Slip(
            "`stagger` needs the time from one start to the next",
            0,
            len(text),
            help=f"such as `stagger 200 ms along {found[1]}`",
            certain=True,
        )


_SIDES: Final = re.compile(r"(?<![\w.])(\w+) *(?:\(|\[|\.|-| +on +(?:the +)?) *(\w+) *[\])]?(?!\w)")
_BOTH: Final = re.compile(r"\balong +(\w+) +(?:and|&|then|\+) +(\w+)$|\balong +(both +sides)$")


def _sides(line: Written) -> Iterator[Slip]:
    """`ear.port`, `ear (port)`, `ear_port`, `port.ear`; `along port and starboard`."""
    sides = line.around.names.get("side", frozenset())
    for found in _SIDES.finditer(line.text, 0, line.code_end):
        base, side = (found[2], found[1]) if found[1] in sides else (found[1], found[2])
        made = f"{side}_{base}"
        if side not in sides or not _known(line, made) or line.quoted(found.start()):
            continue
        yield Slip(
            f"`{found[0]}` is not a name: a thing of a side is called by side and name",
            *found.span(),
            help=f"write `{made}`",
            edits=((*found.span(), made),),
            certain=True,
        )
    text = line.text[: line.code_end].rstrip()
    both = _BOTH.search(text)
    if both is not None and len(sides) == 2:
        named = (both[1], both[2]) if both[1] in sides else tuple(sorted(sides))
        made = "along " + ", ".join(named)
        yield Slip(
            "both sides are joined by a comma" if both[1] else "both sides are named",
            *both.span(),
            help=f"write `{made}`",
            edits=((*both.span(), made),),
            certain=True,
        )


def _orders(line: Written) -> Iterator[Slip]:
    """`along tuft reversed`, `along tuft, from end`."""
    text = line.text[: line.code_end].rstrip()
    found = _ALONG.match(text)
    if found is None or not _known(line, f"{found[2].removesuffix('s')}_1"):
        return
    said, start = found[4].rstrip(" :"), found.start(4)
    for order, pattern in _ORDERS:
        if re.fullmatch(pattern, said, re.IGNORECASE) is None:
            continue
        if said == order and "," not in found[3]:
            return
        made = f" {order}".rstrip()
        yield Slip(
            f"`{said}` is not an order of a row"
            if said != order
            else "the order comes after the row without a comma",
            start,
            len(text),
            help=f"did you mean `{order}`?" if order else f"leave out `{said}`: {_FIRST_TO_LAST}",
            edits=((found.end(2), len(text), made),),
            certain=True,
        )
        return
    row = found[2]
    if _known(line, f"{row}_1") and not re.match(r"through\b|,", (found[3] + said).strip()):
        yield Slip(
            f"`{said}` is not an order of a row",
            start,
            len(text),
            help=_WAYS + "or `from both ends`",
            certain=True,
        )


_FIRST_TO_LAST: Final = "a row goes from its first thing to its last"
