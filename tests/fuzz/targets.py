"""What is fuzzed: each target takes any bytes and raises only if something is broken.

Broken is: an exception that nobody declared, a finding without words or outside its text, an answer
that differs from the same question asked again, more than two seconds of processor time, or a
table that plays outside its servos' pulses.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from itertools import islice
from pathlib import Path
from random import Random
from time import process_time
from typing import Final

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.storage import Eeprom
from firmware_gen.crc import crc16
from firmware_gen.link.frames import LinkFrame, Receiver
from firmware_gen.link.frames import encode as framed
from firmware_gen.link.protocol import Hello, PayloadError, State
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import TableError
from firmware_gen.table.records import ServoRecord
from seqlang.check import check
from seqlang.editor.completion import proposals
from seqlang.editor.document import Change, Document
from seqlang.editor.hover import told
from seqlang.editor.naming import CannotRenameError, ShowNames, renamed
from seqlang.loading import Loaded, load, load_text
from seqlang.text.findings import Finding
from seqlang.text.format import formatted
from seqlang.text.occurrences import occurrences
from seqlang.text.render import as_json, text
from seqlang.text.source import Source
from tests.fuzz.budget import MOST_S, TooSlowError
from tests.fuzz.editor_session import serve

ROOT: Final = Path(__file__).parents[2]
FRAMES_PLAYED: Final = 40


@dataclass(frozen=True)
class FuzzTarget:
    """Something that takes bytes from anywhere."""

    name: str
    attempt: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]
    """Inputs that are taken apart and put together anew."""
    long_run: int
    """Inputs in the long run: a million for all targets together, most where they cost least."""
    is_text: bool = True

    def run(self, data: bytes) -> None:
        """Try one input. Raises whatever is wrong."""
        start = process_time()
        self.attempt(data)
        took = process_time() - start
        if took > MOST_S:
            raise TooSlowError(took)


# -- texts ----------------------------------------------------------------------------------------


def _source(data: bytes) -> Source:
    plain = data.decode("utf-8", "replace").replace("\0", "\ufffd")
    plain = plain.replace("\r\n", "\n").replace("\r", "\n")
    return Source("fuzz.cues", plain if plain.endswith("\n") else plain + "\n")


def _read(data: bytes) -> None:
    """Text to Rig and Score, with every remedy of reading tried; nothing is checked."""
    loaded = load_text(_source(data))
    _well_told(loaded, ())


def _show(data: bytes) -> None:
    source = _source(data)
    loaded = load_text(source)
    checked = check(loaded)
    _well_told(loaded, checked.findings)
    assert checked.failed == (checked.show is None)
    assert text(checked.findings, loaded.sources, columns=60) or not checked.findings
    worked = None if checked.summary is None else asdict(checked.summary)
    as_json(checked.findings, loaded.sources, passed=not checked.failed, summary=worked)


def _well_told(loaded: Loaded, findings: tuple[Finding, ...]) -> None:
    for finding in (*loaded.findings, *findings):
        assert finding.message, finding
        source = loaded.sources[finding.span.path].text
        assert 0 <= finding.span.start <= finding.span.end <= len(source) + 1, finding
    assert loaded.show is not None or loaded.findings


def _layout(data: bytes) -> None:
    source = _source(data)
    laid = formatted(source)
    if laid.findings:
        assert laid.text == source.text
        return
    again = formatted(Source(source.path, laid.text))
    assert (again.text, again.findings) == (laid.text, ())
    assert load_text(Source(source.path, laid.text)).show == load_text(source).show


def _editor(data: bytes) -> None:
    """A text, then edits of it: as answered as a text that was opened afresh."""
    chance = Random(data)
    document = Document.of("fuzz.cues", data.decode("utf-8", "replace"), 1)
    for version in range(2, 2 + chance.randint(0, 3)):
        ends = sorted(chance.randint(0, len(document.source.text)) for _ in range(2))
        new = chance.choice(["", " ", "\n", "    ", "hold 1 s\n", "jaw", "🦉", '"', "in 3", "("])
        spots = [document.place(end) for end in ends]
        document = document.changed([Change(new, spots[0], spots[1])], version)
    source = document.source
    loaded = load_text(source)
    names = ShowNames(loaded.items)
    for _ in range(3):
        offset = chance.randint(0, len("\n".join(document.lines)))
        assert document.offset(document.place(offset)) == offset
        proposals(source, offset, names)
        told(source, offset, loaded, None)
    found = list(islice(occurrences(loaded.items), 50))
    if found:
        try:
            renamed(loaded, chance.choice(found), chance.choice(["wing", "3", "hold", "é"]))
        except CannotRenameError as error:
            _in_words(error)


def texts() -> list[bytes]:
    """The demo shows, the broken shows of the findings, and the examples of the manual."""
    paths = [*ROOT.glob("shows/**/*.cues"), *ROOT.glob("tests/seqlang/findings/*.cues")]
    manual = (ROOT / "seqlang" / "LANGUAGE.md").read_text("utf-8")
    examples = [part.split("```")[0] for part in manual.split("```cues\n")[1:]]
    return [path.read_bytes() for path in sorted(paths)] + [one.encode() for one in examples]


# -- bytes ----------------------------------------------------------------------------------------


def _table(data: bytes) -> None:
    _table_as_it_is(data)
    if len(data) > 4:
        whole = bytearray(data)
        whole[2:4] = struct.pack("<H", len(whole) & 0xFFFF)
        whole[-2:] = struct.pack("<H", crc16(bytes(whole[:-2])))
        _table_as_it_is(bytes(whole))


def _table_as_it_is(data: bytes) -> None:
    try:
        table = decode(data)
    except TableError as error:
        _in_words(error)
        return
    assert decode(encode(table)) == table
    servos = [one for one in table.outputs if isinstance(one, ServoRecord)]
    player = Player(table)
    for _ in range(FRAMES_PLAYED):
        frame = player.frame()
        for pulse, servo in zip(frame.pulses, servos, strict=True):
            ends = [point[1] for point in servo.points]
            assert pulse == 0 or min(ends) <= pulse <= max(ends)


def _link(data: bytes) -> None:
    """Any stream, the same bytes as frames, and as payloads of answers."""
    receiver = Receiver()
    receiver.feed(data)
    assert receiver.unfinished <= len(data)
    for unpack in (Hello.unpack, State.unpack):
        try:
            unpack(data)
        except PayloadError as error:
            _in_words(error)
    board = ReferenceBoard(Eeprom())
    for piece in (data, *_frames(data)):
        board.receive(piece)
        while board.work():
            pass
        board.frame()
    answers = Receiver()
    answers.feed(board.take_output())
    assert answers.bad == 0


def _frames(data: bytes) -> Iterator[bytes]:
    """The bytes cut into frames that are sound: length, kind, sequence number, payload."""
    at = 0
    while at + 3 <= len(data):
        length = data[at] % 40
        payload = data[at + 3 : at + 3 + length]
        yield framed(LinkFrame(to=1, kind=data[at + 1], seq=data[at + 2], payload=payload))
        at += 3 + length


def tables() -> list[bytes]:
    """The demo shows' tables."""
    made = []
    for path in sorted(ROOT.glob("shows/*/*.cues")):
        checked = check(load(path))
        assert checked.show is not None
        made += [board.data for board in checked.show.compiled.boards]
    return made


def streams() -> list[bytes]:
    return [bytes([0, kind, kind]) * 8 for kind in range(1, 24)] + tables()


def _in_words(error: Exception) -> None:
    if not str(error):
        raise AssertionError("an error without words") from error


TARGETS: Final = {
    target.name: target
    for target in (
        FuzzTarget("read", _read, texts, 30_000),
        FuzzTarget("show", _show, texts, 6_000),
        FuzzTarget("layout", _layout, texts, 12_000),
        FuzzTarget("editor", _editor, texts, 10_000),
        FuzzTarget("server", serve, texts, 2_000),
        FuzzTarget("table", _table, tables, 320_000, is_text=False),
        FuzzTarget("link", _link, streams, 620_000, is_text=False),
    )
}
