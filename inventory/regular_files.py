"""Reads files that somebody else may have laid there: never from a device or a pipe, and never without an end."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path


class TooLargeError(OSError):
    """The file has more bytes than anybody wants to read."""


def read(path: Path, most_bytes: int) -> bytes:
    """What the file holds, at most so many bytes; OSError with a reason to show where it can't be read.

    A pipe would keep the reader waiting for a writer, and a device such as /dev/zero never ends: both are refused.
    """
    # Without blocking, or opening a pipe would wait already.
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    with os.fdopen(handle, "rb") as file:
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "it is a pipe, a socket or a device, not a file", str(path))
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise TooLargeError(errno.EFBIG, f"is larger than {most_bytes // 1_000_000} MB", str(path))
    return content
