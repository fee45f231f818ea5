"""Writes files that a reader never sees half of, for the owner only unless they are meant for others."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

OWNER_ONLY = 0o600


def see(folder: Path) -> None:
    """See that files can be made in this folder; OSError with its name where they can't."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        # By itself it names a file that nobody knows.
        raise OSError(error.errno, error.strerror, str(folder)) from None


def replace(path: Path, content: bytes | Iterable[bytes], mode: int = OWNER_ONLY) -> None:
    """Replace a file, or make it, in one step and with this mode: readable by its owner only where nothing is said.

    A content of pieces is never held as a whole.
    Raises OSError with the file's name where the disk doesn't take it; what stood there before stands there still.
    """
    handle, temporary = tempfile.mkstemp(prefix=".", suffix=".new", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines([content] if isinstance(content, bytes) else content)
            os.fchmod(file.fileno(), mode)
        Path(temporary).replace(path)
    except BaseException as error:
        Path(temporary).unlink(missing_ok=True)
        if isinstance(error, OSError) and error.errno is not None:
            # A full disk names no file by itself.
            raise OSError(error.errno, error.strerror, str(path)) from None
        raise
