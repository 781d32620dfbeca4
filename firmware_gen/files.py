"""Files are written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import tempfile
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` beside `path` and put it in its place, making folders as needed.

    Through a link, the file it points at is written. A file that was there keeps who may read it
    and write it. If anything fails the old file stands as it was. Raises OSError, also where
    something else than a file stands (a device, a pipe): putting a file in its place would remove
    it; and where the file is marked as not to be written, though its folder would let it go.
    """
    asked, path = str(path), Path(os.path.realpath(path))
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise OSError(errno.EINVAL, "this is not a file that can be replaced", asked)
    rights = _rights(path, asked)
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        error.filename = asked  # the file that was asked for, not the one beside it
        raise
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.chmod(beside, rights)
        os.replace(beside, path)
    except BaseException as error:
        with contextlib.suppress(OSError):
            os.unlink(beside)
        if isinstance(error, OSError):
            error.filename = asked
        raise


def _rights(path: Path, asked: str) -> int:
    """Those of the file that is replaced; of a new one, the usual ones."""
    if not path.is_file():
        return 0o666 & ~_umask()
    rights = stat.S_IMODE(path.stat().st_mode)
    if not rights & 0o222 or not os.access(path, os.W_OK):
        raise PermissionError(errno.EACCES, "this file is marked as not to be written", asked)
    return rights


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
