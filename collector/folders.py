"""Makes folders that only their owner can look into."""

from __future__ import annotations

import errno
import os
from pathlib import Path


def make_private(folder: Path) -> None:
    """Make a folder and what is missing above it; Path.mkdir would leave those above as open as the umask has them.

    Raises OSError where that can't be done, NotADirectoryError where something else stands there.
    """
    for missing in reversed([path for path in (folder, *folder.parents) if not path.exists()]):
        missing.mkdir(mode=0o700, exist_ok=True)
    if not folder.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder))
