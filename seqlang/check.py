"""Every check over a loaded show, and the seal that only a show without errors gets.

`check` is the one way to a `CheckedShow`; compiling and flashing take nothing else, so that no
path leads an unchecked show onto a board.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import InitVar, dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from firmware_gen.checked_table import SEAL, CheckedTable, demand_seal
from seqlang.checks import BUDGETS, CHECKS
from seqlang.checks.context import Context
from seqlang.checks.score import frame_overfull
from seqlang.checks.wiring import table_too_large
from seqlang.meaning.alike.told import ALL_ONCE, Likes
from seqlang.summary import Summary, summarise
from seqlang.text.findings import said_there
from sim.score.draws import at_its_hardest, draws_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from firmware_gen.compiler.show import CompiledShow
    from seqlang.loading import Loaded
    from seqlang.text.findings import Finding, Origin, Severity, Span
    from sim.model import Show
    from sim.score.draws import Holds
    from sim.strain.eye import Eye

MOST_OF_A_KIND = 100
"""More findings of one name than anybody reads at once."""

TOO_LONG = ("cue-too-long", "show-too-long", "too-many-searches")
"""Findings of reading behind which nothing else is checked: it would take too long."""

TABLE_TOO_LONG = ("repeat-too-long",)
"""Findings of reading behind which no table is made."""


@dataclass(frozen=True, slots=True)
class CheckedShow:
    """A show that passed every check without an error; made by `check` alone.

    `compiled` holds its byte tables with what they are made of; the check of their size has made
    them already, and nothing makes them again. `tables` are their bytes by board, which a transfer
    and an image take.
    """

    show: Show
    origins: Mapping[int, Origin]
    compiled: CompiledShow
    tables: Mapping[str, CheckedTable]
    seal: InitVar[object]

    def __post_init__(self, seal: object) -> None:
        demand_seal(seal)

    def __init_subclass__(cls) -> None:
        raise TypeError("a kind of its own would get round the seal")


@dataclass(frozen=True, slots=True)
class Checked:
    """All findings of one run, in the order of the text, and the show if none is an error.

    `summary` says how hard servos and supplies are worked; None if there was nothing to work on.
    `context` holds what the checks have worked out on the way, where they ran.
    """

    findings: tuple[Finding, ...]
    show: CheckedShow | None
    summary: Summary | None
    context: Context | None = None

    @property
    def failed(self) -> bool:
        return _has_error(self.findings)


def check(
    loaded: Loaded, before_each: Callable[[], object] = int, earlier: Checked | None = None
) -> Checked:
    """Run every check over `loaded` and gather its findings with those of loading.

    `before_each` is called before every single check; what it raises ends the run. `earlier`: the
    checks of a version from which the show differs little; what is alike is not watched again.

    A check that needs something another check has found broken (a calibration, a pin) leaves
    that part out, and nothing is said of what may be missing only because loading failed on it, so
    that one mistake gives one finding.
    """
    if loaded.show is None:
        return Checked(_in_order(loaded.findings, loaded.sources, loaded.told), None, None)
    looked = None if earlier is None or earlier.context is None else earlier.context.eye
    return _checked(loaded, loaded.show, before_each, looked)


def _checked(
    loaded: Loaded, show: Show, before_each: Callable[[], object], looked: Eye | None
) -> Checked:
    partial = _has_error(loaded.findings)
    context = replace(_context(loaded, show, "shortest", partial), looked=looked)
    over = [
        *(f for f in loaded.findings if f.name in TOO_LONG),
        *_found(context, BUDGETS, before_each),
    ]
    if over:
        found = [*loaded.findings, *over]
        return Checked(_in_order(found, loaded.sources, loaded.told), None, None)
    found = [*loaded.findings, *_found(context, CHECKS, before_each)]
    if any(next(draws_in(cue.body), None) for cue in context.written.score.cues):
        longest = _context(loaded, show, "longest", partial)
        if longest.show != context.show:  # where only targets are drawn, all has been said
            found = with_graver(found, _found(longest, CHECKS, before_each))
    compiled = None
    before_each()
    if not any(finding.name in TABLE_TOO_LONG for finding in found):
        compiled, refused = table_too_large.check(context, _has_error(found))
        found.extend(refused)
        if compiled is not None:
            found.extend(frame_overfull.check(context, compiled))
    sealed = None
    if compiled is not None and not _has_error(found):
        sealed = _sealed(show, loaded.origins, compiled)
    return Checked(
        _in_order(found, loaded.sources, loaded.told), sealed, summarise(context), context
    )


def with_graver(found: Iterable[Finding], more: Iterable[Finding]) -> list[Finding]:
    """What was found with the shortest waits, and what is graver, or new, with the longest.

    Both are of one show, so what is said twice of one place is told once. Where several things are
    said of it, that of the same names is the same.
    """
    kept = list(found)
    for one in more:
        twins = [n for n, old in enumerate(kept) if (old.name, old.span) == (one.name, one.span)]
        names = _NAMED.findall(one.message)
        same = [n for n in twins if _NAMED.findall(kept[n].message) == names] or twins
        if not twins:
            kept.append(one)
        elif all(_gravity(one) > _gravity(kept[n]) for n in same):
            kept[same[0]] = one
    return kept


def _gravity(finding: Finding) -> tuple[int, float]:
    """How grave a finding is, to compare it with another of the same name."""
    beyond = 0.0
    if finding.asked is not None and finding.limit is not None:
        beyond = abs(finding.asked - finding.limit)
    return _GRAVITY.index(finding.severity), beyond


_GRAVITY: Sequence[Severity] = ("advice", "warning", "error")


def _context(loaded: Loaded, show: Show, holds: Holds, partial: bool) -> Context:
    hardest = at_its_hardest(show, holds)
    draws = None if hardest is show else show
    return Context(hardest, loaded.origins, loaded.places, loaded.sources, partial, draws)


def _sealed(show: Show, origins: Mapping[int, Origin], compiled: CompiledShow) -> CheckedShow:
    tables = {
        board.name: CheckedTable(board.name, board.chip.name, board.data, SEAL)
        for board in compiled.boards
    }
    return CheckedShow(show, origins, compiled, MappingProxyType(tables), SEAL)


def _found(
    context: Context,
    checks: Iterable[Callable[[Context], Iterable[Finding]]],
    before_each: Callable[[], object],
) -> Iterator[Finding]:
    for one in checks:
        before_each()
        for finding in one(context):
            fix = finding.fix and said_there(finding.fix, finding.trail, context.text)
            yield finding if fix is finding.fix else replace(finding, fix=fix)


def _has_error(findings: Iterable[Finding]) -> bool:
    return any(finding.severity == "error" for finding in findings)


def _in_order(
    findings: Iterable[Finding], paths: Iterable[str], told: Likes = ALL_ONCE
) -> tuple[Finding, ...]:
    """By file (in the order of reading), place and name; each finding once.

    A gesture used twice or a pair described once can run into the same finding twice.
    """
    rank = {path: index for index, path in enumerate(paths)}
    unique: dict[tuple[str, Span, str], list[Finding]] = {}
    for finding in told.once(findings):
        unique.setdefault((finding.name, finding.span, finding.message), []).append(finding)
    ordered = sorted(
        map(_once, unique.values()),
        key=lambda f: (rank.get(f.span.path, len(rank)), f.span.start, f.span.end, f.name),
    )
    return _most_of_a_kind(_twins_once(ordered))


def _once(same: Sequence[Finding]) -> Finding:
    """One finding of those that differ only in the way that led to them: the first one's trail.

    The innermost passages of the others are told beside it.
    """
    first, *others = same
    ways = dict.fromkeys(one.trail[-1] for one in others if one.trail and one.trail != first.trail)
    spots = [(way.span, f"the same {way.words}") for way in ways if way.span is not None]
    notes = [f"the same {way.words}" for way in ways if way.span is None]
    if len(spots) > MOST_WAYS:
        notes.append(f"and in {len(spots) - MOST_WAYS} more places")
    if not spots and not notes:
        return first
    related = (*first.related, *spots[:MOST_WAYS])
    return replace(first, related=related, notes=(*first.notes, *notes))


MOST_WAYS = 3
"""Further ways to one finding that are shown."""

_NAMED = re.compile(r"`[^`]+`")


def _twins_once(findings: Iterable[Finding]) -> list[Finding]:
    """One finding, with all names, of those that say the same of parts that are told together.

    Mirrored and companion servos are written once; what is wrong with one is wrong with all.
    """
    kept: dict[tuple[object, ...], Finding] = {}
    others: dict[tuple[object, ...], list[str]] = {}
    for finding in findings:
        first = _NAMED.search(finding.message)
        said = finding.message if first is None else _NAMED.sub("``", finding.message, count=1)
        fix = None if finding.fix is None else finding.fix.text
        key = finding.name, finding.severity, finding.span, said, fix
        if key in kept and first is not None:
            others.setdefault(key, []).append(first.group())
        else:
            kept[key] = finding
    return [
        replace(one, notes=(*one.notes, f"the same goes for {' and '.join(others[key])}"))
        if key in others
        else one
        for key, one in kept.items()
    ]


def _most_of_a_kind(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The first `MOST_OF_A_KIND` of each name and severity; the last of those says what is left."""
    kept: list[Finding] = []
    last: dict[tuple[str, Severity], int] = {}
    counts: Counter[tuple[str, Severity]] = Counter()
    for finding in findings:
        kind = finding.name, finding.severity
        counts[kind] += 1
        if counts[kind] <= MOST_OF_A_KIND:
            last[kind] = len(kept)
            kept.append(finding)
    for kind, at in last.items():
        left = counts[kind] - MOST_OF_A_KIND
        if left > 0:
            note = f"{left} more of this kind further on are not shown"
            kept[at] = replace(kept[at], notes=(*kept[at].notes, note))
    return tuple(kept)
