"""One target under atheris: inputs that reach new code are kept and changed on.

`python -m tests.fuzz TARGET --coverage` starts it. The target's modules are imported under
atheris's instrumentation, so this must be a process of its own.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["seqlang", "firmware_gen", "tests.fuzz.targets"]):
    from tests.fuzz.targets import TARGETS

from tests.fuzz.budget import MOST_S
from tests.fuzz.trying import KEPT


def main(name: str, count: str, seed: str) -> None:
    target = TARGETS[name]
    with tempfile.TemporaryDirectory() as corpus:
        for number, data in enumerate(target.seeds()):
            (Path(corpus) / str(number)).write_bytes(data)
        kept = KEPT / name
        kept.mkdir(parents=True, exist_ok=True)
        limits = [f"-timeout={int(MOST_S * 10)}", "-rss_limit_mb=500", "-max_len=8192"]
        flags = [f"-runs={count}", f"-seed={seed}", f"-artifact_prefix={kept}/", "-verbosity=0"]
        atheris.Setup([sys.argv[0], corpus, *limits, *flags], target.run)
        atheris.Fuzz()


if __name__ == "__main__":
    main(*sys.argv[1:4])
