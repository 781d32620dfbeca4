"""Files are written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` beside `path` and put it in its place, making folders as needed.

    If anything fails the old file stands as it was. Raises OSError.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        error.filename = str(path)  # the file that was asked for, not the one beside it
        raise
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(beside, 0o666 & ~_umask())
        os.replace(beside, path)
    except BaseException as error:
        with contextlib.suppress(OSError):
            os.unlink(beside)
        if isinstance(error, OSError):
            error.filename = str(path)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
