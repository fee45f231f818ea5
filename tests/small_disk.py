"""A disk with little room: a file system in memory, or a limit on the size of files where none may be mounted."""

from __future__ import annotations

import resource
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

PAGE = 4096


@dataclass(frozen=True)
class Disk:
    """Where it is, and what the system says of what it doesn't take."""

    folder: Path
    refusal: str

    def fill(self) -> None:
        """Leave no room at all."""
        with (self.folder / "filled").open("wb", buffering=0) as file:
            try:
                while True:
                    file.write(b"x" * PAGE)
            except OSError:
                return


@contextmanager
def small_disk(room: int) -> Iterator[Disk]:
    """A disk for so many bytes, which are whole pages; its files are gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="readypair-disk-") as folder:
        options = f"size={room},mode=0700"
        mount = ["mount", "-t", "tmpfs", "-o", options, "readypair-tests", folder]
        if subprocess.run(mount, capture_output=True, check=False).returncode == 0:
            try:
                yield Disk(Path(folder), "No space left on device")
            finally:
                subprocess.run(["umount", folder], check=True)
            return
        # Without the right to mount: what is written beyond so many bytes of a file is refused likewise.
        limits = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (PAGE, limits[1]))
        try:
            yield Disk(Path(folder), "File too large")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, limits)
