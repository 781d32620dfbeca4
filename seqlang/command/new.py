"""`bellcrank new`: a few questions, and a first show that passes."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from seqlang.command import WrongUse

if TYPE_CHECKING:
    from seqlang.first_questions import Answers, Question
    from seqlang.first_show import Unfit

_OPTIONS: Final = (
    ("part", "NAME", "What moves or glows."),
    ("servo", "yes|line|round|no", "Whether a servo moves it, and how."),
    ("pin", "PIN", "Pin of the servo."),
    ("travel", "ANGLES", "Such as `0 deg to 60 deg`."),
    ("way", "LENGTHS", "Such as `0 mm to 40 mm`, of what slides."),
    ("turns", "SPEED", "Such as `40 rpm`, of what turns round and round."),
    ("load", "MASS", "What the servo moves."),
    ("length", "LENGTH", "From the hinge to its centre of mass."),
    ("across", "LENGTH", "Width of what turns round and round."),
    ("rating", "RATING", "Such as `0.17 s/60deg, 9 kgf.cm, 2 A at 6 V`."),
    ("push", "RATING", "Such as `40 mm/s, 50 N, 0.8 A at 6 V`, of a linear servo."),
    ("light", "lamp|strip|none", "The light that goes with it."),
    ("light-pin", "PIN", "Pin of the light."),
    ("pixels", "N", "Pixels of the strip."),
    ("power", "adapter|pack", "What feeds it."),
    ("adapter", "LABEL", "Such as `6 V, 3 A`."),
    ("pack", "CELLS", "Such as `2 li-ion cells, 3000 mAh`."),
    ("buttons", "wired|link", "On pins of the board, or on a remote by link."),
    ("go-pin", "PIN", "Pin of the button that starts the cue."),
    ("stop-pin", "PIN", "Pin of the button that stops."),
)
"""An option for each question, by its name."""


def _answers(command: Any) -> Any:
    for name, metavar, words in reversed(_OPTIONS):
        command = click.option(f"--{name}", metavar=metavar, help=words)(command)
    return command


@click.command(name="new")
@click.argument("file", required=False, type=click.Path(dir_okay=False))
@click.option("--defaults", is_flag=True, help="Ask nothing: take the usual answer instead.")
@click.option("--replace", is_flag=True, help="Replace the file if there is one.")
@_answers
def command(file: str | None, defaults: bool, replace: bool, **given: str | None) -> None:
    """Ask a few questions and write a first show that passes.

    Each question shows its usual answer; the return key takes it. An option answers its question
    beforehand. Without a terminal every question needs its option, or --defaults. Without FILE the
    show is called after its part. A file that is there is only replaced with --replace.

    Example: bellcrank new fin.cues --defaults --part fin --load "80 g"
    """
    from firmware_gen.files import write_whole

    if file is not None:
        _demand_free(Path(file), replace)
    options = {name.replace("_", "-"): text for name, text in given.items() if text is not None}
    answers, text = _settled(options, defaults)
    path = Path(file if file is not None else f"{answers['part']}.cues")
    _demand_free(path, replace)
    write_whole(path, text.encode())
    click.echo(f"wrote  {path}; it passes `bellcrank check`")
    click.echo(f"next   bellcrank check {path}; then bellcrank preview {path}")


def _demand_free(path: Path, replace: bool) -> None:
    if path.exists() and not replace:
        raise WrongUse(f"`{path}` is there already; `--replace` replaces it")


def _settled(options: dict[str, str], defaults: bool) -> tuple[Answers, str]:
    """Answers that give a show that passes, and its text."""
    from seqlang.first_show import first_show

    asks = not defaults and sys.stdin.isatty()
    answers: dict[str, str] = {}
    while True:
        answers = _answered(answers, options, asks, defaults)
        made = first_show(answers)
        if isinstance(made, str):
            return answers, made
        _tell(made, options, asks)
        del answers[made.question]


def _tell(unfit: Unfit, options: dict[str, str], asks: bool) -> None:
    """Why a question comes again; WrongUse where nobody can answer."""
    if not asks or unfit.question in options:
        raise WrongUse(f"`--{unfit.question}`: {unfit.reason}")
    click.echo(f"  that does not pass: {unfit.reason}")


def _answered(
    before: Answers, options: dict[str, str], asks: bool, defaults: bool
) -> dict[str, str]:
    """Every question that is due, answered: from before, by its option, or by asking."""
    from seqlang.first_questions import QUESTIONS, UnfitAnswerError

    answers: dict[str, str] = {}
    missing = []
    for question in QUESTIONS:
        name = question.name
        if not question.is_due(answers):
            if name in options:
                raise WrongUse(f"`--{name}` does not go with the other answers: leave it out")
            continue
        known = options.get(name, before.get(name))
        try:
            if known is None and not asks:
                missing += [] if defaults else [name]
                known = question.usual(answers)
            answers[name] = (
                _asked(question, answers) if known is None else question.read(known, answers)
            )
        except UnfitAnswerError as error:
            if name in options or not asks:
                raise WrongUse(f"`--{name}`: {error}") from None
            click.echo(f"  {error}")
            answers[name] = _asked(question, answers)
    if missing:
        raise WrongUse(
            "there is no terminal to ask on; answer with "
            + ", ".join(f"`--{name}`" for name in missing)
            + ", or take the usual answers with `--defaults`"
        )
    return answers


def _asked(question: Question, answers: Answers) -> str:
    """Ask until the answer fits."""
    from seqlang.first_questions import UnfitAnswerError

    while True:
        said = click.prompt(question.words, default=question.usual(answers), type=str)
        try:
            return question.read(said, answers)
        except UnfitAnswerError as error:
            click.echo(f"  {error}")
