"""The show book holds all that a builder, a wearer and a helper need, on pages that print."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from seqlang.book import printing
from seqlang.cautions import ALL, DEFER
from seqlang.check import CheckedShow, check
from seqlang.command import group
from seqlang.loading import load
from sim.model import Servo
from sim.rig.standstill import pulse_us
from sim.score.tree import named_cues
from tests.seqlang.flap_show import Outcome

ROOT = Path(__file__).resolve().parents[2]
SHOWS = sorted((ROOT / "shows").glob("*/*.cues"))

needs_printing = pytest.mark.skipif(
    printing.find_browser() is None, reason="NO CHROMIUM: the book is not printed as PDF"
)


class Read(HTMLParser):
    """A page's words, its tags, and every address in it."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words = ""
        self.tags: list[str] = []
        self.open: list[str] = []
        self.addresses: list[str] = []
        self.anchors: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag not in ("meta", "img", "wbr", "rect", "line", "circle"):
            self.open.append(tag)
        for name, value in attrs:
            if name in ("href", "src"):
                self.addresses.append(value or "")
            if name == "id":
                self.anchors.add(value or "")

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("rect", "line", "circle"):
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words += f" {data}"


def checked(path: Path) -> CheckedShow:
    found = check(load(path)).show
    assert found is not None
    return found


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("books")
    made = {}
    for path in SHOWS:
        target = folder / f"{path.stem}.html"
        done = CliRunner().invoke(group, ["book", str(path), "--out", str(target)])
        assert done.exit_code == 0, done.output
        made[path.stem] = target.read_text(encoding="utf-8")
    return made


@pytest.fixture(params=SHOWS, ids=lambda path: path.stem)
def path(request: pytest.FixtureRequest) -> Path:
    found = request.param
    assert isinstance(found, Path)
    return found


def rows(page: str, name: str) -> list[list[str]]:
    """The cells of all table rows in a section of the book."""
    inside = page.partition(f'<section id="{name}">')[2].partition("</section>")[0]
    found = re.findall(r"<tr>(.*?)</tr>", inside)
    return [
        [re.sub("<[^>]+>", "", cell) for cell in re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row)]
        for row in found
    ]


def test_every_board_output_and_cue_of_a_demo_show_stands_in_its_book(
    path: Path, books: dict[str, str]
) -> None:
    page, show = books[path.stem], checked(path)
    wired = {(row[0], row[1]) for row in rows(page, "wiring")}
    for board in show.compiled.boards:
        assert f"{board.name}: {board.chip.title}" in page
        for one in show.show.rig.outputs:
            if one.board == board.name:
                assert (board.chip.pin_name(one.pin), one.name) in wired
        for button in show.show.rig.inputs:
            if button.board == board.name:
                assert (board.chip.pin_name(button.pin), f"button {button.button}") in wired
    listed = {row[1] for row in rows(page, "cues") if len(row) == 6}
    assert listed >= {cue.name for cue in named_cues(show.show.score)}
    starts = {(row[0], row[1]) for row in rows(page, "cues") if len(row) > 1}
    assert starts >= {(str(one.button), one.cue) for one in show.show.score.bindings}


def test_a_book_is_one_file_that_fetches_and_runs_nothing(
    path: Path, books: dict[str, str]
) -> None:
    page = books[path.stem]
    read = Read(page)
    assert read.open == []
    assert not {"script", "link", "iframe", "object", "form"} & set(read.tags)
    for address in read.addresses:
        assert address.startswith("data:image/png;base64,") or address[1:] in read.anchors
    assert "url(" not in page
    assert "default-src 'none'" in page


def test_the_hashes_are_those_that_a_board_tells(path: Path, books: dict[str, str]) -> None:
    page, show = books[path.stem], checked(path)
    assert f"show {show.compiled.number:08x}" in page
    for board in show.compiled.boards:
        assert sha256(board.data).hexdigest() in page
    assert sha256(path.read_bytes()).hexdigest() in page


def test_the_calibration_sheet_has_the_pulse_at_both_ends_and_the_safe_pose(
    path: Path, books: dict[str, str]
) -> None:
    found = rows(books[path.stem], "calibration")
    for one in checked(path).show.rig.outputs:
        if isinstance(one, Servo):
            pulses = [row[2] for row in found if row[0] == one.name]
            for place in (*one.travel_deg, one.safe_deg):
                assert f"{float(pulse_us(one, place)):.0f} us" in pulses
            places = [float(row[1].split()[0]) for row in found if row[0] == one.name]
            assert places == sorted(set(places))


def test_the_cautions_of_a_show_stand_in_full_and_defer_to_the_rules_of_the_place(
    path: Path, books: dict[str, str]
) -> None:
    words = " ".join(Read(books[path.stem]).words.split()).lower()
    given = {finding.name for finding in check(load(path)).findings}
    there = [caution for caution in ALL if caution.name in given]
    assert there
    for caution in there:
        assert all(line.lower() in words for line in caution.words)
    assert DEFER in words


def test_only_cautions_that_the_show_gives_reason_for_are_printed(books: dict[str, str]) -> None:
    """The first show has no light, no pack and no wearer."""
    assert "seizures" in books["anglerfish"]
    assert "seizures" not in books["first"]
    assert "Lithium packs" not in books["first"]


def test_stop_and_the_switch_stand_above_the_cues(books: dict[str, str]) -> None:
    first = rows(books["anglerfish"], "cues")[:3]
    assert first[0][0] == "STOP"
    assert first[0][1].startswith("button 8: ")
    assert "not an emergency stop" in first[1][1]
    assert first[2][1] == "after 3.0 s of silence the cue rest starts"


def test_a_cue_says_how_long_it_lasts_and_what_ends_it(books: dict[str, str]) -> None:
    by_cue = {row[1]: row for row in rows(books["anglerfish"], "cues") if len(row) == 6}
    assert by_cue["rest"][3] == "1.5 s"  # `pose shut in 1.5 s`
    assert by_cue["doze"][0] == "idle"
    assert by_cue["doze"][3] == "until something ends it"
    assert by_cue["chew"][3] == "1.1 s each time, again while held"  # 550 ms and 500 ms
    assert "letting go of the button" in by_cue["chew"][4]
    assert by_cue["bow"][5] == "waits until they are free"
    assert "bow" not in by_cue["lure"][4]  # it waits: it takes nothing over


def test_a_heavy_load_on_a_switch_is_joined_through_a_driver(books: dict[str, str]) -> None:
    """The bell takes 120 mA; a pin of the chip is tested at 20 mA (data sheet, from memory)."""
    bell = next(row for row in rows(books["owl"], "wiring") if row[1] == "bell")
    assert "through a driver, a pin gives 20 mA at most" in bell[3]


def test_every_wire_has_a_number_of_its_own(path: Path, books: dict[str, str]) -> None:
    numbers = [row[0] for row in rows(books[path.stem], "supply") if row[0].startswith("W")]
    show = checked(path).show
    assert numbers == [f"W{n}" for n in range(1, len(numbers) + 1)]
    rig = show.rig
    fed = sum(board.supply is not None for board in rig.boards)
    # each board's end of the line between boards, where one leads
    line = len(rig.boards) if any(board.leads for board in rig.boards) else 0
    assert len(numbers) == fed + line + len(rig.outputs) + len(rig.inputs) + len(
        rig.channels
    ) + len(rig.sensors)


def test_the_same_show_gives_the_same_book(tmp_path: Path, books: dict[str, str]) -> None:
    path = ROOT / "shows" / "first" / "first.cues"
    again = tmp_path / "again.html"
    assert CliRunner().invoke(group, ["book", str(path), "-o", str(again)]).exit_code == 0
    assert again.read_text(encoding="utf-8") == books["first"]


def test_words_of_a_text_cannot_become_tags_or_styles(tmp_path: Path) -> None:
    text = (ROOT / "shows" / "first" / "first.cues").read_text(encoding="utf-8")
    nasty = "</style><script>x()</script> } a::before { content: 'y'"
    text = text.replace("First wave", nasty).replace("Two waves", "<img src=x>")
    path = tmp_path / "nasty.cues"
    path.write_text(text, encoding="utf-8")
    assert CliRunner().invoke(group, ["book", str(path)]).exit_code == 0
    page = (tmp_path / "nasty-book.html").read_text(encoding="utf-8")
    read = Read(page)
    assert "script" not in read.tags
    assert read.addresses.count("x") == 0
    assert nasty in read.words
    assert page.count("</style>") == 1
    assert "::before { content: 'y'" not in page.partition("</style>")[0]


def test_a_show_with_errors_gets_no_book(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (ROOT / "shows" / "first" / "first.cues").read_text(encoding="utf-8")
    path = tmp_path / "wrong.cues"
    path.write_text(text.replace("50 deg in 900 ms", "50 deg in 90 ms"), encoding="utf-8")
    failed = Outcome(capsys, "book", str(path))
    assert failed.status == 1
    assert "servo-speed" in failed.err
    assert list(tmp_path.iterdir()) == [path]


def test_a_book_of_another_kind_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(ROOT / "shows" / "first" / "first.cues")
    failed = Outcome(capsys, "book", path, "--out", str(tmp_path / "first.odt"))
    assert failed.status == 2
    assert "ends in .html or .pdf" in failed.err


def test_without_a_browser_a_pdf_is_refused_with_what_helps(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    path = str(ROOT / "shows" / "first" / "first.cues")
    failed = Outcome(capsys, "book", path, "--out", str(tmp_path / "first.pdf"))
    assert failed.status == 2
    assert "write HTML, open it in any browser and print it" in " ".join(failed.err.split())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("script", ["exit 3", "echo broken >&2; exit 0"])
def test_a_browser_that_prints_nothing_leaves_no_file(
    script: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bin_folder = tmp_path / "bin"
    bin_folder.mkdir()
    browser = bin_folder / "chromium"
    browser.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    browser.chmod(0o755)
    monkeypatch.setenv("PATH", str(bin_folder))
    path = str(ROOT / "shows" / "first" / "first.cues")
    failed = Outcome(capsys, "book", path, "--out", str(tmp_path / "first.pdf"))
    assert failed.status == 2
    assert "did not print the book" in failed.err
    assert not (tmp_path / "first.pdf").exists()


def pages_of(content: bytes) -> Iterator[str]:
    for sheet in PdfReader(io.BytesIO(content)).pages:
        width, height = float(sheet.mediabox.width), float(sheet.mediabox.height)
        # A4 is 210 mm by 297 mm (ISO 216); a point is 1/72 of an inch
        assert (width, height) == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=2)
        yield " ".join(sheet.extract_text().split())


FOOT = r"^(\d+ / \d+) ?(.*?show [0-9a-f]{8}) "
"""The words in a sheet's margin, which come first."""


@needs_printing
def test_a_pdf_has_each_sheet_on_new_paper_with_its_number(tmp_path: Path) -> None:
    path = ROOT / "shows" / "anglerfish" / "anglerfish.cues"
    target = tmp_path / "anglerfish.pdf"
    words = ["book", str(path), "--out", str(target), "--format", "json"]
    done = CliRunner().invoke(group, words)
    assert done.exit_code == 0, done.output
    number = json.loads(done.stdout)["show"]
    sheets = list(pages_of(target.read_bytes()))
    assert 8 <= len(sheets) <= 14
    for n, sheet in enumerate(sheets, 1):
        foot = re.match(FOOT, sheet)
        assert foot is not None
        assert foot[1] == f"{n} / {len(sheets)}"
        assert foot[2] == f"Anglerfish, parade rig show {number}"
    sheets = [re.sub(FOOT, "", sheet) for sheet in sheets]
    titles = ("Cautions", "Before going out", "Cue sheet for the helper", "Wiring of the boards")
    for title in (*titles, "Calibration sheet", "Supplies, fuses and wires"):
        assert sum(sheet.startswith(title) for sheet in sheets) == 1
    cues = next(sheet for sheet in sheets if sheet.startswith("Cue sheet"))
    for cue in named_cues(checked(path).show.score):
        assert cue.name in cues  # the helper has them all on one sheet
    wiring = next(sheet for sheet in sheets if sheet.startswith("Wiring"))
    for word in ("PB1", "jaw (servo)", "PD6", "lure (lamp)", "PD7", "belly (strip)"):
        assert word in wiring


@needs_printing
def test_no_word_of_a_book_runs_over_the_edge_of_a_phone(tmp_path: Path) -> None:
    """Tables may be pushed aside; the page itself is as wide as the screen."""
    from tests.firmware_gen.browser import chromium

    target = tmp_path / "book.html"
    path = ROOT / "shows" / "anglerfish" / "anglerfish.cues"
    assert CliRunner().invoke(group, ["book", str(path), "-o", str(target)]).exit_code == 0
    with chromium() as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(target.as_uri())
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 360
        assert [url for url in asked if not url.startswith(("file:", "data:"))] == []


def test_the_book_says_how_the_line_between_boards_is_wired(tmp_path: Path) -> None:
    pack = "supply wall\n    source adapter 5 V, 3 A\n    fuse 3 A\n"
    hub = "board hub: atmega2560, address 1, leads\n    feed wall, 400 mm of 20 AWG\n"
    arm = "board arm: atmega2560, address 2\n    feed wall, 900 mm of 20 AWG\n"
    leg = "board leg: atmega2560, address 3\n    feed wall, 900 mm of 20 AWG\n"
    horns = "".join(f"switch {name}_horn: {name} pin PB1\n" for name in ("hub", "arm", "leg"))
    safe = "safe pose silent\n    hub_horn off, arm_horn off, leg_horn off\n"
    cue = "cue sound\n    hub_horn on\n    arm_horn on\n    leg_horn on\n    hold 1 s\n"
    remote = "remote\n    button 1: go sound\n    stop button 2\n"
    path = tmp_path / "led.cues"
    path.write_text('show "Led"\n' + pack + hub + arm + leg + horns + safe + cue + remote)
    result = CliRunner().invoke(group, ["book", str(path), "--out", str(tmp_path / "b.html")])
    assert result.exit_code == 0, result.output
    words = " ".join(Read((tmp_path / "b.html").read_text("utf-8")).words.split())
    assert "PD3 the line to the other boards line between boards 100 ohm at the pin" in words
    assert "PD2 the line from hub line between boards from the cable" in words
    assert words.count("2: signal, return") == 3
    drawn = re.findall(r"<text[^>]*>([^<]*)</text>", (tmp_path / "b.html").read_text("utf-8"))
    assert "the line to the other boards" in drawn
    assert drawn.count("the line from hub") == 2
    assert not [label for label in drawn if "…" in label]


def test_the_book_says_how_a_radio_in_place_of_the_line_is_wired(tmp_path: Path) -> None:
    pack = "supply wall\n    source adapter 5 V, 3 A\n    fuse 3 A\n"
    hub = "board hub: atmega2560, address 1, leads\n    feed wall, 400 mm of 20 AWG\n"
    arm = "board arm: atmega2560, address 2\n    feed wall, 900 mm of 20 AWG\n"
    rest = (
        "switch horn: arm pin PB1\nsafe pose silent\n    horn off\n"
        "cue sound\n    horn on\n    hold 1 s\n"
        "remote\n    button 1: go sound\n    stop button 2\n"
    )
    path = tmp_path / "led.cues"
    path.write_text(f'show "Led"\n{pack}{hub}    radio 57600 baud\n{arm}{rest}')
    result = CliRunner().invoke(group, ["book", str(path), "--out", str(tmp_path / "b.html")])
    assert result.exit_code == 0, result.output
    words = " ".join(Read((tmp_path / "b.html").read_text("utf-8")).words.split())
    assert "data input of the sending radio, set to 57600 baud" in words
    assert "data output of the receiving radio, set to 57600 baud" in words
    assert "100 ohm at the pin" not in words


LIVE = """show "Live"
supply pack
    source 2 li-ion cells, 3000 mAh
    regulator 6 V, 8 A
    fuse 7.5 A
board hub: atmega2560, address 1, leads
    feed pack, 400 mm of 18 AWG
    radio 38400 baud, late by 15 ms
    watch pin PF2, divider 18 kohm over 22 kohm
board body: atmega2560, address 2
    feed pack, 400 mm of 18 AWG
servo jaw: body pin PA2
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.12 s/60deg, 2.5 kgf.cm, 0.8 A at 6 V
    load 30 g at 30 mm
    follows voice from 10 % to 60 %, 0 deg to 50 deg
lamp belly: body pin PB4
    leds 2 of 3.0 V, 20 mA
    follows stick from 1000 us to 2000 us, 0 % to 60 %, in 2 s
channel stick: body pin PL0
sensor voice: body pin PF0
safe pose rest
    jaw 0 deg, belly off
cue bow
    jaw to 40 deg in 1.5 s
    jaw to 0 deg in 1.5 s
cue warn
    belly fade to 40 % in 1.5 s
    belly fade to off in 1.5 s
remote
    button 1: go bow
    battery low: go warn
    stop button 3
"""


def test_a_book_names_all_that_is_wired_to_a_pin_and_all_that_moves_parts(tmp_path: Path) -> None:
    """Sticks, sensors and the battery's divider as well: a pin called free is used again."""
    path = tmp_path / "live.cues"
    path.write_text(LIVE)
    result = CliRunner().invoke(group, ["book", str(path), "--out", str(tmp_path / "b.html")])
    assert result.exit_code == 0, result.output
    page = (tmp_path / "b.html").read_text("utf-8")
    wired = {row[0]: row for row in rows(page, "wiring") if len(row) == 6}
    assert set(wired) == {"Pin", "PF2", "PD3", "PA2", "PB4", "PD2", "PF0", "PL0"}
    watch = wired["PF2"]
    assert watch[1:3] == ["watch of the battery", "divider, voltage"]
    how = "18 kohm from the battery's plus to the pin, 22 kohm from the pin to its ground"
    assert watch[3] == how
    leads = {row[2]: (row[3], row[6]) for row in rows(page, "supply") if len(row) == 7}
    assert leads["sensor voice"][0] == "3: signal, logic feed, return"
    assert leads["channel stick"][0] == "3: signal, +, return"
    assert leads["watch of the battery"][0] == "2: signal, return"
    assert leads["the line to the other boards"] == ("2: signal, return", "")  # a radio's, no cable
    assert "38400 baud, with the levels that it wants; its bytes come 15 ms late" in wired["PD3"][3]
    starts = {row[1]: row[0] for row in rows(page, "cues") if len(row) == 6}
    assert starts == {"Cue": "Button", "bow": "1", "warn": "battery low"}
    told = dict(row for row in rows(page, "cues") if len(row) == 2)
    assert told["Follows voice"] == "jaw, while no cue holds it"
    assert told["Battery low"].startswith("the cue warn starts")
    assert "safe pose" in told["Battery empty"]
    parts = {row[0]: row[3] for row in rows(page, "rig") if len(row) == 5}
    assert parts["jaw"] == "moves from 0 to 60 deg; follows voice"
    assert parts["belly"] == "glows; follows stick"
    words = " ".join(Read(page).words.split())
    assert "1 channel of a radio, 1 sensor" in words


DIRECT = """show "Glow worm"
supply pack
    source 3 nimh cells, 2000 mAh
    fuse 2 A
board tail: atmega2560, address 1
    feed pack
    logic direct
    watch direct, reference 1.09 V, warns below 1.15 V, stops below 1.05 V
lamp lure: tail pin PB4
    leds 1 of 2.1 V, 15 mA
cue flare
    lure fade to 100 % in 800 ms
    lure fade to off in 900 ms
cue home
    lure fade to 40 % in 900 ms
    lure fade to off in 900 ms
remote
    button 1: go flare
    lost 2 s: go home
    battery low: go home
    stop button 5
"""


def test_a_watch_without_a_pin_has_its_row_and_a_cue_of_a_silent_remote_says_so(
    tmp_path: Path,
) -> None:
    path = tmp_path / "worm.cues"
    path.write_text(DIRECT)
    result = CliRunner().invoke(group, ["book", str(path), "--out", str(tmp_path / "b.html")])
    assert result.exit_code == 0, result.output
    page = (tmp_path / "b.html").read_text("utf-8")
    (row,) = [row for row in rows(page, "wiring") if row[0] == "none"]
    assert row[1] == "watch of the battery"
    assert "no wire" in row[3]
    assert "1.09 V" in row[3]
    starts = {row[1]: row[0] for row in rows(page, "cues") if len(row) == 6}
    assert starts["home"] == "remote lost, battery low"


LEVEL = """show "Kelp"
supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack
servo frond: box pin PB5
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
sensor voice: box pin PF0
lamp glow: box pin PE3
    follows voice from 10 % to 60 %, 0 % to 60 %, in 5 s
strip gills: box pin PB0
    pixels 4
    feed 5 V
    shows glow
safe pose still
    frond 0 deg, gills teal 30 %
cue sway
    frond to 20 deg in 3 s
    frond to 0 deg in 3 s
cue bow
    frond to 40 deg in 2 s
    frond to 0 deg in 2 s
idle: go sway
remote
    button 1: go bow
    stop button 2
"""


def test_a_book_says_of_light_that_follows_and_of_idle_what_they_do(tmp_path: Path) -> None:
    path = tmp_path / "kelp.cues"
    path.write_text(LEVEL)
    result = CliRunner().invoke(group, ["book", str(path), "--out", str(tmp_path / "b.html")])
    assert result.exit_code == 0, result.output
    page = (tmp_path / "b.html").read_text("utf-8")
    told = dict(row for row in rows(page, "cues") if len(row) == 2)
    assert told["Follows voice"] == "glow, gills, while no cue holds them"
    words = " ".join(Read(page).words.split())
    assert "voice went all its way: glow, gills followed" in words
    assert "gills followed, and touched" not in words  # light touches nothing anyway
    busy = {row[1]: row[5] for row in rows(page, "cues") if len(row) == 6}
    assert busy["sway"] == "goes on unseen until they are free"
    assert busy["bow"] == "takes them over at once"
    assert "An idle cue goes on by itself" in words
    assert "marked with a dash" not in words  # no row has one


@needs_printing
@pytest.mark.parametrize("letter", ["_part", "x"])
def test_no_table_of_a_printed_book_is_wider_than_its_sheet(letter: str, tmp_path: Path) -> None:
    """ISO 216: a sheet of A4 is 210 mm wide; the book leaves 15 mm on either side."""
    from tests.firmware_gen.browser import chromium

    text = LIVE
    for name in ("jaw", "belly", "voice", "stick", "bow", "warn", "hub", "body", "pack", "rest"):
        text = re.sub(rf"\b{name}\b", name + (60 // len(letter)) * letter, text)
    path = tmp_path / "long.cues"
    path.write_text(text)
    result = CliRunner().invoke(group, ["book", str(path), "--out", str(tmp_path / "b.html")])
    assert result.exit_code == 0, result.output
    wide = round(180 / 25.4 * 96)
    with chromium() as browser:
        page = browser.new_page(viewport={"width": wide, "height": 900})
        page.emulate_media(media="print")
        page.goto((tmp_path / "b.html").as_uri())
        ends = page.evaluate(
            "() => [...document.querySelectorAll('table, td, th, p, li, h1, h2, h3, svg')]"
            ".map(one => [one.tagName, one.className, one.getBoundingClientRect().right,"
            " one.scrollWidth - one.clientWidth, one.textContent.slice(0, 60)])"
        )
    assert len(ends) > 100
    over = [end for end in ends if end[2] > wide + 1 or (end[0] in ("TD", "TH") and end[3] > 1)]
    assert over == []
