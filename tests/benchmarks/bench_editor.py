"""The language server's answer to an edit of a 2,000-line show, measured by a client over pipes.

Times on the clock are those of an idle machine only; what the server computes for an edit is told
beside them, as time of a processor.
"""

from __future__ import annotations

import random
import re
import statistics
import time

from tests.benchmarks.bench_check import big_show
from tests.seqlang.editor_client import EditorClient, edit

LINES = 2_000
EDITS = 41
_NUMBER = re.compile(r"in (\d)\d+ ms")


def run() -> list[tuple[str, float, float]]:
    first, full, computed = answers_ms(big_show(LINES))
    return [
        (f"first findings after an edit of {LINES} lines, median ms", first, 150.0),
        (f"all findings after an edit of {LINES} lines, median ms", full, 150.0),
        ("what the server computes for all of them, median ms", computed, 150.0),
    ]


def answers_ms(text: str) -> tuple[float, float, float]:
    """Medians from sending an edit to the first and to the full answer, and the server's work (ms).

    An edit changes one digit of one duration somewhere in the show, as a hand that tries a move
    faster or slower does; the next one is made when the answer is there.
    """
    chance = random.Random(LINES)
    spots = [
        (number, match.start(1))
        for number, line in enumerate(text.split("\n"))
        for match in _NUMBER.finditer(line)
    ]
    first: list[float] = []
    full: list[float] = []
    computed: list[float] = []
    with EditorClient() as client:
        client.open(text)
        client.findings()
        for _ in range(EDITS):
            line, column = chance.choice(spots)
            before = client.worked_s()
            start = time.perf_counter()
            change = edit((line, column), (line, column + 1), str(chance.randint(1, 9)))
            client.change(change)
            client.findings(answers=1)
            first.append(time.perf_counter() - start)
            client.findings()
            full.append(time.perf_counter() - start)
            computed.append(client.worked_s() - before)
    rows = (first, full, computed)
    medians = [statistics.median(row) * 1e3 for row in rows]
    return medians[0], medians[1], medians[2]
