"""Where names stand in a show, what they name, and giving a thing another name."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

from seqlang.loading import read_changed
from seqlang.meaning.alike.families import families, members, names_of
from seqlang.text.names import RESERVED
from seqlang.text.occurrences import OWN, SOURCES, Named, Occurrence, occurrences

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from seqlang.loading import Loaded
    from seqlang.meaning.alike.families import Member


@dataclass(frozen=True)
class ShowNames:
    """All names of one text."""

    items: Sequence[object]

    @cached_property
    def members(self) -> Mapping[Named, Mapping[str, Member]]:
        """What the names of things that are described once stand for, by what they name."""
        return members(families(self.items))

    @cached_property
    def _written(self) -> tuple[Occurrence, ...]:
        return tuple(sorted(occurrences(self.items), key=lambda one: one.start))

    @cached_property
    def all(self) -> tuple[Occurrence, ...]:
        """In the order of the text. Where a colour may stand, a constant of the name goes first.

        `left_feather_3` is two names: that of the side and that of the servo.
        """
        found = self._written
        declared: dict[str, set[str]] = {}
        for one in found:
            if one.declares:
                declared.setdefault(one.named, set()).add(one.name)
        return tuple(part for one in found for part in self._parts(self._told_apart(one, declared)))

    def _told_apart(self, one: Occurrence, declared: Mapping[str, set[str]]) -> Occurrence:
        """A name of which the grammar alone does not say what it names."""
        among: tuple[Named, ...] = ()
        if one.named == "colour":
            among = ("constant",)
        elif one.named == "along":
            among = ("side",)
        elif one.named == "value":
            among = ("constant", "output")
        elif one.named == "source":
            among = (*SOURCES, "output")
        elif one.named == "cue" and one.name not in declared.get("cue", ()):
            among = ("gesture",)
        for named in among:
            known = one.name in declared.get(named, ())
            several = one.named in ("value", "cue") and one.name in self.members.get(named, {})
            if known or several:
                return one._replace(named=named)
        if one.named == "along":
            return one._replace(named="output")
        if one.named == "source":
            return one._replace(named="channel")
        if one.named == "parameter":
            return one._replace(scope=self.gesture_of(one.scope))
        return one._replace(named="colour") if one.named == "value" else one

    def gesture_of(self, played: str) -> str:
        """The gesture whose parameters a play names: `beat` for `left_beat`."""
        member = self.members.get("gesture", {}).get(played)
        return played if member is None else str(member.family.base)

    def _parts(self, one: Occurrence) -> Iterator[Occurrence]:
        """The names that a name is made of."""
        member = self.members.get(one.named, {}).get(one.name)
        if member is None:
            yield one
            return
        base = str(member.family.base)
        start = one.start
        if member.side is not None:
            yield Occurrence("side", member.side, start, start + len(member.side), False)
            start += len(member.side) + 1
        yield Occurrence(one.named, base, start, start + len(base), one.declares)

    @cached_property
    def _wholes(self) -> dict[int, str]:
        """By their ends, the names that are made of several."""
        return {
            list(self._parts(one))[-1].end: one.name
            for one in (one._replace(named=_kind(one)) for one in self._written)
            if one.name in self.members.get(one.named, {})
        }

    def whole(self, one: Occurrence) -> str:
        """The name that a name is a part of: `left_feather_3` for its `feather`."""
        return self._wholes.get(one.end, one.name)

    def single(self, one: Occurrence) -> tuple[str, ...]:
        """The names of the things that a name stands for."""
        member = self.members.get(one.named, {}).get(self.whole(one))
        return (one.name,) if member is None else tuple(names_of(member))

    def known(self, named: Named) -> tuple[str, ...]:
        """Every name of a kind that may be written: of one thing, of a side, of a row."""
        return tuple(dict.fromkeys((*self.declared(named), *self.members.get(named, {}))))

    @cached_property
    def rows(self) -> tuple[str, ...]:
        """The names of whole rows."""
        outputs = self.members.get("output", {})
        return tuple(n for n, one in outputs.items() if one.family.size and one.item is None)

    def at(self, offset: int) -> Occurrence | None:
        """The name at or just before a place."""
        return next((one for one in self.all if one.start <= offset <= one.end), None)

    def same(self, one: Occurrence) -> tuple[Occurrence, ...]:
        """Every place of the thing that stands at one of them."""
        key = one.named, one.name, one.scope
        return tuple(o for o in self.all if (o.named, o.name, o.scope) == key)

    def declaration(self, one: Occurrence) -> Occurrence | None:
        return next((other for other in self.same(one) if other.declares), None)

    def declared(self, named: Named) -> dict[str, Occurrence]:
        """Where each name of a kind is declared, the first place of each."""
        found: dict[str, Occurrence] = {}
        for one in self.all:
            if one.declares and one.named == named:
                found.setdefault(one.name, one)
        return found


def _kind(one: Occurrence) -> Named:
    return "output" if one.named == "along" else one.named


class CannotRenameError(Exception):
    """Why a name cannot be changed, in words for the maker."""


_NAME: Final = re.compile(r"[^\W\d]\w*")


def renamed(loaded: Loaded, one: Occurrence, new: str) -> tuple[Occurrence, ...]:
    """The places of the whole text to change so that a thing is called `new`.

    The change is tried first: the text must read as before, with the same findings and the same
    names in the same places. Raises CannotRenameError.
    """
    whole = loaded.whole
    if whole is None:
        raise CannotRenameError("the text cannot be read as it is")
    names = ShowNames(loaded.items)
    if one.named not in OWN or names.declaration(one) is None:
        raise CannotRenameError(f"`{one.name}` is not a name that this show gives")
    if not _NAME.fullmatch(new):
        raise CannotRenameError(f"`{new}` is not a name: letters, digits and `_`, no digit first")
    if new in RESERVED:
        raise CannotRenameError(f"`{new}` is a word of the language and cannot be a name")
    alike = ("cue", "gesture") if one.named in ("cue", "gesture") else (one.named,)
    for other in names.all:
        if (
            other.declares
            and (other.name, other.scope) == (new, one.scope)
            and other.named in alike
        ):
            raise CannotRenameError(f"`{new}` names another {other.named} already")
    if any(finding.name == "syntax" for finding in loaded.findings):
        raise CannotRenameError(
            "correct the syntax errors first: names in such lines are not known"
        )
    places = names.same(one)
    if new == one.name:
        return ()
    text, shift, moved = (
        whole.source.text,
        len(new) - len(one.name),
        {place.start for place in places},
    )
    for place in reversed(places):
        text = text[: place.start] + new + text[place.end :]
    after = read_changed(whole, text)
    expected: list[tuple[str, str, int]] = []
    grown = 0
    for other in names.all:
        is_moved = other.start in moved
        expected.append((other.named, new if is_moved else other.name, other.start + grown))
        grown += shift if is_moved else 0
    found = [(other.named, other.name, other.start) for other in ShowNames(after.items).all]
    new_findings = Counter(f.name for f in after.findings) - Counter(
        f.name for f in loaded.findings
    )
    if found != expected or new_findings:
        why = next((f.message for f in after.findings if f.name in new_findings), None)
        raise CannotRenameError(
            f"with `{new}` the show would mean something else" + (f": {why}" if why else "")
        )
    return places
