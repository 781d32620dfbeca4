"""`bellcrank explain`: what a finding means, why it matters and what helps."""

from __future__ import annotations

import json
import sys
import textwrap
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from seqlang.cautions import DEFER
from seqlang.command import WrongUse
from seqlang.command._form import format_option
from seqlang.explain import Explanation, FindingSubject, explanations, subjects
from seqlang.text.names import nearest
from seqlang.text.render import NARROWEST, WIDEST, columns_of, wants_colour

if TYPE_CHECKING:
    from collections.abc import Iterator

    from click.shell_completion import CompletionItem

CAUTIONS = "cautions"


def _names(_: click.Context, __: click.Parameter, begun: str) -> list[CompletionItem]:
    """For the shell: subjects and findings that start like what was typed."""
    from click.shell_completion import CompletionItem

    known = [(subject.name, subject.title) for subject in subjects()]
    known += [(one.name, one.title) for one in explanations().values()]
    return [CompletionItem(name, help=title) for name, title in known if name.startswith(begun)]


@click.command(name="explain")
@click.argument("name", required=False, shell_complete=_names)
@format_option
def command(name: str | None, form: str) -> None:
    """Say what a finding means, why it matters and what helps.

    NAME is what stands in brackets behind a finding (`servo-speed`) or behind a board's failure
    (`no-answer`), or a subject (`supply`, `link`, `cautions`). Without it, all of them are listed.

    Example: bellcrank explain servo-speed
    """
    chosen = _chosen(name)
    if form == "json":
        click.echo(json.dumps([asdict(one) for one in _all_of(chosen)], indent=2))
        return
    colour = wants_colour(sys.stdout)
    page = _Page(columns_of(sys.stdout), colour)
    if isinstance(chosen, Explanation):
        lines = page.explanation(chosen)
    elif len(chosen) == 1 and chosen[0].name == CAUTIONS:
        lines = page.cautions(chosen[0])
    else:
        lines = page.lists(chosen)
    click.echo("\n".join(lines), color=colour)


def _chosen(name: str | None) -> Explanation | tuple[FindingSubject, ...]:
    """One finding, one subject, or all of them; WrongUse with the nearest name for none."""
    if name is None:
        return subjects()
    known = explanations()
    by_subject = {subject.name: subject for subject in subjects()}
    if name in known:
        return known[name]
    if name in by_subject:
        return (by_subject[name],)
    near = nearest(name, [*known, *by_subject])
    hint = f"did you mean `{near}`?" if near else "`bellcrank explain` lists them"
    raise WrongUse(f"there is no finding `{name}`; {hint}")


def _all_of(chosen: Explanation | tuple[FindingSubject, ...]) -> list[Explanation]:
    if isinstance(chosen, Explanation):
        return [chosen]
    return [one for subject in chosen for one in subject.explanations]


class _Page:
    """Explanations for a terminal: lines broken at its width, headings set off."""

    def __init__(self, columns: int | None, colour: bool) -> None:
        self._columns = WIDEST if columns is None else max(columns, NARROWEST)
        self._colour = colour

    def explanation(self, one: Explanation) -> list[str]:
        if one.points:
            return [*self._caution(one), "", *self._words(_sentence(DEFER))]
        title = self._broken(f"{one.name}: {_small(one.title)}", "", "  ")
        lines = [*map(self._strong, title), ""]
        lines += self._field("", one.what)
        lines += self._field("why", one.why)
        lines += self._field("example", one.example, one.finding)
        lines += self._field("what helps", one.remedy, one.change)
        lines += self._field("source of the limit", one.source)
        return lines[:-1]

    def cautions(self, subject: FindingSubject) -> list[str]:
        lines: list[str] = []
        for one in subject.explanations:
            lines += [*self._caution(one), ""]
        return [*lines, *self._words(_sentence(DEFER))]

    def lists(self, chosen: tuple[FindingSubject, ...]) -> list[str]:
        lines: list[str] = []
        for subject in chosen:
            lines += [self._strong(f"{subject.name}: {subject.title}")]
            for one in subject.explanations:
                lines += self._entry(one.name, _small(one.title))
            lines.append("")
        return [*lines, "`bellcrank explain NAME` tells more of each."]

    def _caution(self, one: Explanation) -> Iterator[str]:
        yield self._strong(f"{_small(one.title)}  ({one.name})")
        for point in one.points:
            yield from self._broken(_small(point), "  - ", "    ")

    def _field(self, label: str, words: str, block: str = "") -> list[str]:
        """A heading, its words and its block, with an empty line behind them."""
        if not words and not block:
            return []
        lines = [self._paint(label, "34")] if label else []
        lines += self._words(_sentence(words)) if words else []
        if words and block:
            lines.append("")
        return [*lines, *(f"  {line}" for line in block.splitlines()), ""]

    def _entry(self, name: str, title: str) -> list[str]:
        head = f"  {name}".ljust(_NAMES)
        return self._broken(title, head + "  ", " " * (_NAMES + 2))

    def _words(self, words: str) -> list[str]:
        return self._broken(words, "  ", "  ")

    def _broken(self, words: str, head: str, rest: str) -> list[str]:
        return textwrap.wrap(
            words,
            self._columns,
            initial_indent=head,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        )

    def _strong(self, words: str) -> str:
        return self._paint(words, "1")

    def _paint(self, words: str, code: str) -> str:
        return f"\x1b[{code}m{words}\x1b[0m" if self._colour else words


_NAMES = 2 + 26
"""Columns of a list for the longest name, `travel-outside-calibration`."""


def _small(words: str) -> str:
    """As in a list: a sentence's first letter small, unless its word is all capitals."""
    return words[:1].lower() + words[1:] if words[1:2].islower() or words[1:2] == " " else words


def _sentence(words: str) -> str:
    ended = words.endswith((".", ":", "?"))
    return words[:1].upper() + words[1:] + ("" if ended else ".")
