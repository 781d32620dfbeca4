"""Findings about things that are described once: one for all of them where it is the same."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from seqlang.text.findings import Finding, Passage

_NAMED: Final = re.compile(r"`(\w+)`")
_NUMBER: Final = re.compile(r"(?<![\w`])-?\d+(?:\.\d+)?")
_MOST_NAMED: Final = 6


@dataclass(frozen=True, slots=True)
class Likes:
    """What findings must know of a text that describes things once."""

    bases: Mapping[str, str] = field(default_factory=dict)
    """How the text calls what has each name."""
    sideless: Mapping[str, str] = field(default_factory=dict)
    """What is called how on both sides, by the names on each."""
    stepped: frozenset[tuple[int, int]] = frozenset()
    """Where a first value and a step stand: no single number can take their place."""

    def once(self, findings: Iterable[Finding]) -> list[Finding]:
        """The findings, one of those that differ only in which of like things they are about.

        Of those that differ in their numbers, the worst stays.
        """
        if not self.bases and not self.stepped:
            return list(findings)
        groups: dict[object, list[Finding]] = {}
        for number, finding in enumerate(map(self._without_steps, findings)):
            about = self._about(finding)
            groups.setdefault(self._key(finding) if about else number, []).append(finding)
        return [one for group in groups.values() for one in self._of(group)]

    def _without_steps(self, finding: Finding) -> Finding:
        fix = finding.fix
        if fix is None or not any((s.start, s.end) in self.stepped for s, _ in fix.places):
            return finding
        return replace(finding, fix=None)

    def _about(self, finding: Finding) -> str | None:
        """The first name of one of several like things in a finding's message."""
        return next((n for n in _NAMED.findall(finding.message) if n in self.bases), None)

    def _key(self, finding: Finding) -> object:
        words = _NUMBER.sub("0", _plain(finding.message, self.bases))
        related = tuple(span for span, _ in finding.related)
        return finding.name, finding.severity, finding.span, words, related

    def _of(self, group: Sequence[Finding]) -> Sequence[Finding]:
        """One finding of a group; if they are about one and the same thing, each way to it.

        A gesture that is played twice for a part may find the like twice.
        """
        about = list(dict.fromkeys(name for one in group if (name := self._about(one))))
        if len(about) > 1:
            return [self._one(group, about)]
        ways = {(one.message, one.trail): one for one in reversed(group)}
        return list(reversed(ways.values()))

    def _one(self, group: Sequence[Finding], about: Sequence[str]) -> Finding:
        first = group[0]
        if len({_said(finding, self.sideless) for finding in group}) == 1:
            note = f"on both sides: {_listed(about)}"
            return _in_its_words(replace(first, notes=(*first.notes, note)), self.sideless)
        single = all(len(set(_NAMED.findall(f.message)) & set(self.bases)) == 1 for f in group)
        if single and len({_said(finding, self.bases) for finding in group}) == 1:
            note = f"the same goes for {_listed(about)}"
            return _in_its_words(replace(first, notes=(*first.notes, note)), self.bases)
        worst = max(group, key=_how_bad)
        others = [name for name in about if name != self._about(worst)]
        return replace(worst, notes=(*worst.notes, f"nearly the same goes for {_listed(others)}"))


ALL_ONCE: Final = Likes()
"""A text that describes everything as often as it exists."""


def _plain(text: str, names: Mapping[str, str]) -> str:
    """A text with the names that it uses for others."""
    return _NAMED.sub(lambda found: f"`{names.get(found[1], found[1])}`", text)


def _said(finding: Finding, names: Mapping[str, str]) -> tuple[str, str | None]:
    return _plain(finding.message, names), None if finding.fix is None else finding.fix.text


def _in_its_words(finding: Finding, names: Mapping[str, str]) -> Finding:
    *notes, last = finding.notes
    help_ = finding.help
    return replace(
        finding,
        message=_plain(finding.message, names),
        span=replace(finding.span, trail=_calls(finding, names)),
        label=_plain(finding.label, names),
        related=tuple((span, _plain(words, names)) for span, words in finding.related),
        notes=(*(_plain(note, names) for note in notes), last),
        help=None if help_ is None else _plain(help_, names),
    )


def _calls(finding: Finding, names: Mapping[str, str]) -> tuple[Passage, ...]:
    """The plays of gestures that led to a finding, without the side for which it was found."""
    calls = (one for one in finding.trail if one.span is not None)
    return tuple(replace(one, words=_plain(one.words, names)) for one in calls)


def _how_bad(finding: Finding) -> float:
    """How far beyond its limit a finding is."""
    asked, limit = finding.asked, finding.limit
    if not asked or not limit:
        return 0.0
    return max(abs(asked / limit), abs(limit / asked))


def _listed(names: Sequence[str]) -> str:
    shown = [f"`{name}`" for name in names[:_MOST_NAMED]]
    if len(names) > _MOST_NAMED:
        return f"{', '.join(shown)} and {len(names) - _MOST_NAMED} more"
    return " and ".join([*([", ".join(shown[:-1])] if len(shown) > 1 else []), shown[-1]])
