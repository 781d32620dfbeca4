"""Whole sessions of an editor: whatever was done to a text, it is answered like one just opened."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from editor_client import EditorClient, Json, RequestFailedError, edit
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test
from show_text import show
from test_editor_server import applied

ROOT = Path(__file__).parents[2]
TEXTS = (
    show(),
    show(title="Eule 🦉", cues={"snap": "jaw to 40 deg in 90 ms\njaw to 0 deg in 1 s"}),
    (ROOT / "shows" / "first" / "first.cues").read_text(encoding="utf-8"),
    "cue a\n    together {\n        jaw to 30 in 1 s;\n",
    "",
)
PIECES = (
    "",
    "\n",
    "    ",
    "jaw",
    " to 30 deg",
    "🦉",
    "#",
    '"',
    "cue x\n",
    "(",
    " in 1 s",
    "hold 1 s\n",
)
NAMES = ("wing", "jaw", "fade", "3d", "part_of_the_body")
SHARES = st.floats(0.0, 1.0)
QUICK = settings(
    max_examples=5,
    stateful_step_count=12,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture(scope="module")
def clients() -> Iterator[tuple[EditorClient, EditorClient]]:
    with EditorClient() as one, EditorClient() as other:
        yield one, other


def place(text: str, offset: int) -> tuple[int, int]:
    """Line and UTF-16 units before an offset, both from 0."""
    before = text[:offset]
    return before.count("\n"), len(before.rpartition("\n")[2].encode("utf-16-le")) // 2


def change(old: str, new: str) -> Json:
    """The smallest edit that turns one text into the other, as an editor's undo sends it."""
    start = 0
    while start < min(len(old), len(new)) and old[start] == new[start]:
        start += 1
    end = 0
    while end < min(len(old), len(new)) - start and old[-1 - end] == new[-1 - end]:
        end += 1
    return edit(place(old, start), place(old, len(old) - end), new[start : len(new) - end])


def told(client: EditorClient) -> Json:
    """All that a server says of the text that is open, without the name of its file."""
    about = {
        "findings": client.findings(),
        "symbols": client.about("documentSymbol"),
        "words": client.about("semanticTokens/full"),
        "layout": client.about("formatting", options={"tabSize": 4, "insertSpaces": True}),
    }
    said: Json = json.loads(json.dumps(about).replace(client.uri, "the text"))
    return said


class Session(RuleBasedStateMachine):
    """A person with one text: `kept` are its earlier states, for undo; `compared` takes those that
    were answered alike."""

    def __init__(self, client: EditorClient, fresh: EditorClient, compared: list[str]) -> None:
        super().__init__()
        self.client, self.fresh = client, fresh
        self.text: str | None = None
        self.kept: list[str] = []
        self.compared = compared

    def _is_open(self) -> bool:
        return self.text is not None

    def _put(self, new: str) -> None:
        assert self.text is not None
        self.kept.append(self.text)
        self.client.change(change(self.text, new))
        self.text = new

    def _take_over(self, edits: list[Json]) -> None:
        """The edits of an answer, sent back one by one, the last place first."""
        assert self.text is not None
        for one in sorted(edits, key=lambda e: (*e["range"]["start"].values(),), reverse=True):
            self._put(applied(self.text, [one]))

    @precondition(lambda self: self.text is None)
    @rule(text=st.sampled_from(TEXTS))
    def open(self, text: str) -> None:
        self.client.open(text)
        self.text, self.kept = text, []

    @precondition(_is_open)
    @rule(share=SHARES, length=st.sampled_from([0, 0, 1, 5, 40]), piece=st.sampled_from(PIECES))
    def type(self, share: float, length: int, piece: str) -> None:
        assert self.text is not None
        start = round(share * len(self.text))
        self._put(self.text[:start] + piece + self.text[start + length :])

    @precondition(lambda self: self.text is not None and self.kept)
    @rule(steps=st.integers(1, 4))
    def undo(self, steps: int) -> None:
        assert self.text is not None
        for _ in range(min(steps, len(self.kept))):
            before = self.kept.pop()
            self.client.change(change(self.text, before))
            self.text = before

    @precondition(_is_open)
    @rule(share=SHARES, name=st.sampled_from(NAMES))
    def rename(self, share: float, name: str) -> None:
        assert self.text is not None
        words = [*re.finditer(r"[^\W\d]\w*", self.text)] or [re.match("", self.text)]
        word = words[round(share * (len(words) - 1))]
        assert word is not None
        try:
            made = self.client.at("rename", *place(self.text, word.start()), newName=name)
        except RequestFailedError:
            return
        if made is not None:
            self._take_over(made["changes"][self.client.uri])

    @precondition(_is_open)
    @rule()
    def format(self) -> None:
        edits = self.client.about("formatting", options={"tabSize": 4, "insertSpaces": True})
        self._take_over(edits or [])

    @precondition(_is_open)
    @rule(share=SHARES)
    def correct(self, share: float) -> None:
        """The first correction that is offered where a finding stands."""
        found = self.client.findings()
        if not found:
            return
        where = found[round(share * (len(found) - 1))]["range"]
        actions = self.client.about("codeAction", range=where, context={"diagnostics": []})
        if actions:
            self._take_over(actions[0]["edit"]["changes"][self.client.uri])

    @precondition(_is_open)
    @rule()
    def close(self) -> None:
        self._alike()
        self.client.tell("textDocument/didClose", {"textDocument": {"uri": self.client.uri}})
        self.text = None

    @precondition(_is_open)
    @rule()
    def ask(self) -> None:
        self._alike()

    def _alike(self) -> None:
        assert self.text is not None
        self.fresh.open(self.text)
        assert told(self.client) == told(self.fresh)
        self.compared.append(self.text)
        self.fresh.tell("textDocument/didClose", {"textDocument": {"uri": self.fresh.uri}})

    def teardown(self) -> None:
        if self.text is not None:
            self.close()


def test_whatever_was_done_to_a_text_it_is_answered_like_one_just_opened(
    clients: tuple[EditorClient, EditorClient],
) -> None:
    compared: list[str] = []
    run_state_machine_as_test(lambda: Session(*clients, compared), settings=QUICK)
    assert len(set(compared)) >= QUICK.max_examples


@pytest.mark.long
def test_long_sessions_are_answered_like_texts_just_opened(
    clients: tuple[EditorClient, EditorClient],
) -> None:
    many = settings(QUICK, max_examples=60, stateful_step_count=40)
    compared: list[str] = []
    run_state_machine_as_test(lambda: Session(*clients, compared), settings=many)
    assert len(set(compared)) >= many.max_examples
