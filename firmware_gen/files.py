"""Files are written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` beside `path` and put it in its place, making folders as needed.

    Through a link, the file it points at is written. If anything fails the old file stands as it
    was. Raises OSError, also where something else than a file stands (a device, a pipe): putting a
    file in its place would remove it.
    """
    asked, path = str(path), Path(os.path.realpath(path))
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise OSError(errno.EINVAL, "this is not a file that can be replaced", asked)
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        error.filename = asked  # the file that was asked for, not the one beside it
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
            error.filename = asked
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
