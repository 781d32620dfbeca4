"""`bellcrank new`: whatever is answered, the show passes or the answer is refused with a reason."""

from __future__ import annotations

import io
import os
import pty
import select
import subprocess
import sys
from pathlib import Path

import pytest
from flap_show import Outcome
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from show_text import checked

from firmware_gen.chips import FIRST as CHIP
from seqlang.command import new
from seqlang.first_questions import QUESTIONS, UnfitAnswerError
from seqlang.first_show import Unfit, first_show
from seqlang.text.format import formatted
from seqlang.text.source import Source
from sim.rig.battery import CHEMISTRIES

BY_NAME = {question.name: question for question in QUESTIONS}


def settled(wanted: dict[str, str]) -> dict[str, str]:
    """Every question that is due: as wanted where that fits, else as usual."""
    answers: dict[str, str] = {}
    for question in QUESTIONS:
        if not question.is_due(answers):
            continue
        try:
            said = wanted.get(question.name, question.usual(answers))
            answers[question.name] = question.read(said, answers)
        except UnfitAnswerError:
            answers[question.name] = question.read(question.usual(answers), answers)
    return answers


def number(low: float, high: float) -> st.SearchStrategy[str]:
    """Decimal comma or point."""
    return st.tuples(st.floats(low, high), st.integers(0, 3), st.sampled_from(",.")).map(
        lambda drawn: f"{drawn[0]:.{drawn[1]}f}".replace(".", drawn[2])
    )


PIN = st.sampled_from(sorted(CHIP.pins))
WANTED = st.fixed_dictionaries(
    {},
    optional={
        "part": st.from_regex(r"[A-Za-z_][A-Za-z0-9_]{0,12}", fullmatch=True),
        "servo": st.sampled_from(["yes", "yes", "line", "round", "no"]),
        "way": st.builds("{} mm to {} mm".format, number(-150, 150), number(-150, 150)),
        "turns": st.builds("{} {}".format, number(0, 120), st.sampled_from(["rpm", "deg/s"])),
        "across": st.builds("{} {}".format, number(0, 40), st.sampled_from(["cm", "mm"])),
        "push": st.builds(
            "{} mm/s, {} N, {} A at {} V".format,
            number(5, 100),
            number(10, 500),
            number(0.3, 5),
            number(4.5, 8),
        ),
        "travel": st.builds("{} deg to {} deg".format, number(-180, 180), number(-180, 180)),
        "load": st.builds("{} {}".format, number(0, 900), st.sampled_from(["g", "oz", "gram"])),
        "length": st.builds("{} {}".format, number(0, 40), st.sampled_from(["cm", "mm", "in"])),
        "rating": st.builds(
            "{} s/60deg, {} kgf.cm, {} A at {} V".format,
            number(0.05, 0.5),
            number(1, 60),
            number(0.3, 12),
            number(4.5, 8),
        ),
        "light": st.sampled_from(["lamp", "strip", "none"]),
        "pixels": st.integers(0, 120).map(str),
        "power": st.sampled_from(["adapter", "pack"]),
        "adapter": st.builds("{} V, {} A".format, number(4, 26), number(0.5, 15)),
        "pack": st.builds(
            "{} {} cells, {} mAh".format,
            st.integers(1, 8),
            st.sampled_from(sorted(CHEMISTRIES)),
            st.integers(100, 9000),
        ),
        "buttons": st.sampled_from(["wired", "link"]),
        **dict.fromkeys(("pin", "light-pin", "go-pin", "stop-pin"), PIN),
    },
)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(WANTED)
@example({"power": "pack", "light": "strip", "pixels": "100", "buttons": "wired"})
@example({"part": "glow"})
@example({"servo": "no", "light": "strip", "power": "pack"})
@example({"load": "1.8 kg", "length": "10 cm", "power": "pack"})
def test_whatever_is_answered_the_show_passes_or_one_answer_is_refused(
    wanted: dict[str, str],
) -> None:
    answers = settled(wanted)
    made = first_show(answers)
    if isinstance(made, Unfit):
        assert made.question in answers
        figures = {"rating", "push"} & wanted.keys()
        assert made.question in wanted or figures  # the usual answers pass
        assert made.reason
        return
    assert not [one for one in checked(made).findings if one.severity == "error"]
    assert formatted(Source("new.cues", made)).text == made


USUAL = st.fixed_dictionaries(
    {},
    optional={
        "servo": st.sampled_from(["yes", "line", "round", "no"]),
        "way": st.integers(-50, 50).flatmap(
            lambda low: st.integers(2, 200).map(lambda way: f"{low} mm to {low + way} mm")
        ),
        "turns": st.integers(1, 80).map("{} rpm".format),
        "across": st.integers(1, 300).map("{} mm".format),
        "travel": st.integers(-90, 30).flatmap(
            lambda low: st.integers(5, 150).map(lambda way: f"{low} deg to {low + way} deg")
        ),
        "load": st.integers(1, 900).map("{} g".format),
        "length": st.integers(1, 200).map("{} mm".format),
        "light": st.sampled_from(["lamp", "strip", "none"]),
        "pixels": st.integers(1, CHIP.pixels).map(str),
        "power": st.sampled_from(["adapter", "pack"]),
        "buttons": st.sampled_from(["wired", "link"]),
    },
)


@settings(max_examples=20, deadline=None)
@given(USUAL)
def test_with_the_usual_servo_and_source_every_part_gets_a_show(wanted: dict[str, str]) -> None:
    made = first_show(settled(wanted))
    assert isinstance(made, str), made
    severities = {finding.severity for finding in checked(made).findings}
    assert "error" not in severities


WRONG = [
    ("part", "left fin", "such as `left_fin`"),
    ("part", "fade", "a word of the language"),
    ("part", "3d", "starts with a letter"),
    ("part", "x" * 41, "40 are the most"),
    ("servo", "maybe", "`yes` or `no`"),
    ("pin", "PD0", "the link receives on it"),
    ("pin", "D9", "is not a port pin"),
    ("light-pin", "PB1", "its PWM channel belongs to the timer"),
    ("travel", "60 deg", "write both ends"),
    ("travel", "60 deg to 0 deg", "the smaller angle comes first"),
    ("travel", "0 to 60 deg", "`0` has no unit"),
    ("travel", "0 deg to 4.9 deg", "5 deg to 150 deg"),
    ("travel", "0 deg to 150.1 deg", "5 deg to 150 deg"),
    ("travel", "200 deg to 328 deg", "327 deg to either side"),
    ("way", "40 mm", "write both ends"),
    ("way", "40 mm to 0 mm", "the smaller length comes first"),
    ("way", "0 mm to 1.9 mm", "2 mm to 200 mm"),
    ("way", "0 mm to 200.1 mm", "2 mm to 200 mm"),
    ("way", "200 mm to 328 mm", "327 mm to either side"),
    ("turns", "0.4 rpm", "1 rpm to 80 rpm"),
    ("turns", "80.6 rpm", "1 rpm to 80 rpm"),
    ("turns", "40 mm/s", "is not a speed"),
    ("push", "60 N", "the force that stops it"),
    ("across", "31 cm", "at most 0.3 m"),
    ("load", "60", "has no unit"),
    ("load", "60 mm", "is not a mass"),
    ("load", "2 lb", "`907.1847 g`"),
    ("load", "5,000 g", "write `5000` or `5.000`"),
    ("load", "0 g", "more than 0 kg"),
    ("load", "heavy", "with its unit, such as `60 g`"),
    ("length", "3 m", "at most 2 m"),
    ("rating", "9 kgf.cm", "such as `0.17 s/60deg"),
    ("rating", "0 s/60deg, 9 kgf.cm, 2 A at 6 V", "has no speed: write a time over 0"),
    ("light", "neon", "`lamp` or `strip`"),
    ("adapter", "6 V", "the two figures"),
    ("adapter", "6 V, 0.8 A", "take a stronger one"),
    ("adapter", "3.3 V, 2 A", "5 V to 24 V"),
    ("adapter", "24.1 V, 2 A", "5 V to 24 V"),
    ("pack", "2S", "how many cells"),
    ("pack", "2 plutonium cells, 3 Ah", "is not a kind of cell"),
    ("pack", "1 lipo cell, 5 Ah", "take more cells"),
    ("pack", "9 nimh cells, 3 Ah", "1 to 8 cells"),
    ("pack", "5 alkaline cells, 300 mAh", "take larger ones"),
    ("pixels", "0", "from 1 to 100"),
    ("pixels", "101", "from 1 to 100"),
    ("pixels", "ten", "found `ten`"),
]


@pytest.mark.parametrize(("name", "said", "reason"), WRONG)
def test_a_wrong_answer_is_refused_with_its_reason(name: str, said: str, reason: str) -> None:
    before = settled({"power": "pack", "light": "lamp"} if name == "pack" else {})
    before.pop(name, None)
    with pytest.raises(UnfitAnswerError) as refused:
        BY_NAME[name].read(said, before)
    assert reason in str(refused.value)


def test_the_heaviest_load_is_what_the_largest_usual_servo_holds() -> None:
    """kgf.cm to N.m: NIST SP 811, B.8. 60 kgf.cm / 3.2 = 1.84 N.m; 1 kg at 183 mm is 1.795 N.m."""
    before = settled({"load": "1 kg"})
    assert BY_NAME["length"].read("183 mm", before) == "183 mm"
    with pytest.raises(UnfitAnswerError, match="nearer to the hinge"):
        BY_NAME["length"].read("184 mm", before)


@pytest.mark.parametrize(
    ("servo", "lines"),
    [
        ("line", ("travel      0 mm to 40 mm", "flap to 40 mm in", "slope       90 deg")),
        ("round", ("travel      -40 rpm to 40 rpm", "flap to 40 rpm in", "flap 0 rpm")),
    ],
)
def test_what_slides_and_what_turns_round_and_round_get_a_show_too(
    servo: str, lines: tuple[str, ...]
) -> None:
    made = first_show(settled({"servo": servo}))
    assert isinstance(made, str)
    assert all(line in made for line in lines)
    assert not [one for one in checked(made).findings if one.severity in ("error", "warning")]


def test_a_linear_servo_lifts_at_most_what_the_largest_usual_one_holds() -> None:
    """400 N / 3.2 / 9.80665 m/s2 = 12.7 kg."""
    before = settled({"servo": "line"})
    assert BY_NAME["load"].read("12.7 kg", before) == "12.7 kg"
    with pytest.raises(UnfitAnswerError, match=r"at most 12\.7 kg"):
        BY_NAME["load"].read("12.8 kg", before)


RIGHT = [
    ("light", "lam", "lamp"),
    ("load", "1,5 kg", "1.5 kg"),
    ("load", "60g", "60 g"),
    ("load", "60 grams", "60 g"),
    ("length", ",5 in", "0.5 in"),
    ("travel", "−10° to 50 °", "-10 deg to 50 deg"),
    ("rating", "0,17 sec/60°, 9 kg-cm, 2A at 6,0V",
     "0.17 s/60deg, 9 kgf.cm, 2 A at 6.0 V"),
    ("adapter", "6,0V,2,5A", "6.0 V, 2.5 A"),
    ("pack", "2 lipo, 2200mAh", "2 lipo cells, 2200 mAh"),
    ("servo", "Y", "yes"),
    ("servo", "lin", "line"),
    ("way", "0 cm to 4 cm", "0 cm to 4 cm"),
    ("turns", "240 deg/s", "40 rpm"),
    ("push", "40mm/s,50N,0,8A at 6V", "40 mm/s, 50 N, 0.8 A at 6 V"),
    ("pin", "pb2", "PB2"),
    ("pixels", "007", "7"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "said", "read"), RIGHT)
def test_a_hurried_answer_is_read_as_it_is_meant(name: str, said: str, read: str) -> None:
    before = {k: v for k, v in settled({}).items() if k != name}
    assert BY_NAME[name].read(said, before) == read


def test_every_question_has_its_option_and_no_other() -> None:
    assert [name for name, _, _ in new._OPTIONS] == list(BY_NAME)


# -- the command ----------------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def _without_a_terminal(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    monkeypatch.chdir(tmp_path)


def test_without_a_terminal_it_refuses_and_names_the_options_that_lack(
    capsys: pytest.CaptureFixture[str],
) -> None:
    done = Outcome(capsys, "new", "fin.cues", "--part", "fin")
    assert done.status == 2
    assert "no terminal to ask on" in done.err
    assert "`--pin`" in done.err
    assert "`--part`" not in done.err
    assert list(Path().iterdir()) == []


def test_without_a_terminal_options_answer_everything(capsys: pytest.CaptureFixture[str]) -> None:
    done = Outcome(
        capsys, "new", "--part", "eye", "--servo", "no", "--light", "lamp", "--light-pin", "PD5",
        "--power", "adapter", "--adapter", "5 V, 1 A", "--buttons", "link",
    )  # fmt: skip
    assert (done.status, done.err) == (0, "")
    text = Path("eye.cues").read_text()
    assert "lamp eye: box pin PD5" in text
    assert Outcome(capsys, "check", "eye.cues").status == 0
    assert Outcome(capsys, "format", "--check", "eye.cues").status == 0


def test_a_file_that_is_there_stays_unless_told(capsys: pytest.CaptureFixture[str]) -> None:
    Path("flap.cues").write_text("mine\n")
    for arguments in (("new", "flap.cues", "--defaults"), ("new", "--defaults")):
        done = Outcome(capsys, *arguments)
        assert (done.status, "`--replace` replaces it" in done.err) == (2, True)
        assert Path("flap.cues").read_text() == "mine\n"
    assert Outcome(capsys, "new", "--defaults", "--replace").status == 0
    assert Path("flap.cues").read_text().startswith('show "First flap"')


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--load", "60"), "`--load`: `60` has no unit"),
        (("--pixels", "10"), "`--pixels` does not go with the other answers: leave it out"),
        (("--power", "pack", "--pack", "1 lipo cell, 5000 mAh"), "`--pack`: "),
        (("--load", "900 g", "--rating", "0.1 s/60deg, 1 kgf.cm, 0.5 A at 6 V"), "`--rating`: "),
    ],
)
def test_an_option_that_does_not_fit_writes_nothing(
    arguments: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "new", "--defaults", *arguments)
    assert done.status == 2
    assert words in " ".join(done.err.split())
    assert list(Path().iterdir()) == []


def asked(answers: bytes, *arguments: str, folder: Path) -> tuple[int, str]:
    """The command on a real pseudo-terminal that types these answers; its status and words."""
    main, side = pty.openpty()
    started = subprocess.Popen(
        [sys.executable, "-m", "seqlang", "new", *arguments],
        stdin=side, stdout=side, stderr=side, cwd=folder,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    os.close(side)
    os.write(main, answers)
    shown = b""
    while select.select([main], [], [], 30)[0]:
        try:
            part = os.read(main, 65536)
        except OSError:
            break
        if not part:
            break
        shown += part
    os.close(main)  # whoever still asks for more ends here
    return started.wait(timeout=60), shown.decode()


@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are a thing of POSIX")
def test_on_a_terminal_a_wrong_answer_is_asked_again_with_the_reason(tmp_path: Path) -> None:
    # part, servo, pin, travel, load wrong and right, then the usual answers
    typed = b"fin\n\n\n\n60\n60 g\n\n\n\n\n\n\n\n"
    status, shown = asked(typed, folder=tmp_path)
    assert status == 0, shown
    assert "How heavy is what moves? [60 g]" in shown
    assert shown.count("How heavy is what moves?") == 2
    assert "`60` has no unit" in shown
    assert "servo fin: box pin PB1" in (tmp_path / "fin.cues").read_text()


@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are a thing of POSIX")
def test_answers_that_pass_alone_but_not_together_are_asked_again(tmp_path: Path) -> None:
    # 800 g at 70 mm asks for more than a servo of 1 kgf.cm has; then the rating that is offered
    typed = b"\n\n\n\n800 g\n\n0.1 s/60deg, 1 kgf.cm, 0.5 A at 6 V\n\n\n\n6 V, 9 A\n\n\n"
    status, shown = asked(typed, folder=tmp_path)
    assert status == 0, shown
    assert "that does not pass" in shown
    assert "20 kgf.cm" in (tmp_path / "flap.cues").read_text()


@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are a thing of POSIX")
def test_who_ends_the_questions_gets_no_file(tmp_path: Path) -> None:
    status, shown = asked(b"fin\n\x04", folder=tmp_path)
    assert (status, list(tmp_path.iterdir())) == (130, []), shown
