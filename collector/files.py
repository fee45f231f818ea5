"""Writes files that a reader never sees half of, for the owner only."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def replace(path: Path, content: bytes) -> None:
    """Replace a file, or make it, in one step and readable by its owner only.

    Raises OSError with the file's name where the disk doesn't take it; what stood there before stands there still.
    """
    handle, temporary = tempfile.mkstemp(prefix=".", suffix=".new", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(temporary).replace(path)
    except BaseException as error:
        Path(temporary).unlink(missing_ok=True)
        if isinstance(error, OSError) and error.errno is not None:
            # A full disk names no file by itself.
            raise OSError(error.errno, error.strerror, str(path)) from None
        raise
