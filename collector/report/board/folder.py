"""The folder that a board stands in: what in it is ours, and what isn't ours and is left alone.

`board.json` lists our files with their digests. It names a file before that is written for the first time, so that one
that was killed half-way leaves nothing behind that a later board wouldn't know as its own.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from collector import files

MANIFEST = "board.json"
_FOLDERS = ("pairs", "pictures", "rules")
# What a board may hold; a list that names anything else isn't ours, and nothing is removed on its word.
_OURS = re.compile(rf"(?:(?:{'|'.join(_FOLDERS)})/)?[a-z0-9][a-z0-9_-]*\.(?:html|svg|css|js)")
_MARK = {"tool": "readypair", "board": 1}


class BoardError(ValueError):
    """The board can't be written there; the message is one sentence that names the folder and what to do."""


def digest_of(content: bytes) -> str:
    """What a file of ours is known by."""
    return hashlib.sha256(content).hexdigest()


@dataclass
class Folder:
    """A folder that is ours to write to: `known` are the files that an earlier board wrote, with their digests.

    A digest is None where the writing didn't come to its end. `written` are those of this board. `mode` is that of
    files: as the umask has it, since the web server that carries them is another account than the one that writes them.
    """

    path: Path
    known: Mapping[str, str | None]
    mode: int
    written: dict[str, str] = field(default_factory=dict)

    def announce(self, names: Iterable[str]) -> None:
        """Note which files are going to be written; BoardError where one of them stands there and isn't ours."""
        names = sorted(set(names))
        foreign = [name for name in names if name not in self.known and os.path.lexists(self.path / name)]
        if foreign:
            raise BoardError(f"{self.path / foreign[0]} is no file of this board; move it away, or name another folder")
        for name in _FOLDERS:
            if (self.path / name).is_symlink():
                raise BoardError(f"{self.path / name} is a link; a board keeps its files together: remove the link")
        # First of all the list, or a disk that is full now would leave folders that no later board takes for its own.
        self._note({**dict.fromkeys(names), **self.known})
        for name in _FOLDERS:
            (self.path / name).mkdir(exist_ok=True)

    def write(self, name: str, content: bytes) -> None:
        """Write one of the announced files; OSError with the file's name where the disk doesn't take it."""
        self.written[name] = write(self.path, name, content, self.mode)

    def close(self) -> tuple[str, ...]:
        """Remove the files of earlier boards that this one didn't write, and note what there is.

        Returns the names of those that are left, since somebody else has written them meanwhile.
        """
        left = [name for name in sorted(self.known.keys() - self.written.keys()) if not self._remove(name)]
        self._note(self.written)
        return tuple(left)

    def _remove(self, name: str) -> bool:
        file, digest = self.path / name, self.known[name]
        if file.is_symlink() or not file.exists():
            return not file.is_symlink()
        if digest is not None and digest_of(file.read_bytes()) != digest:
            return False
        file.unlink()
        return True

    def _note(self, names: Mapping[str, str | None]) -> None:
        text = json.dumps({**_MARK, "files": names}, indent=0, sort_keys=True)
        files.replace(self.path / MANIFEST, text.encode(), self.mode)


def write(folder: Path, name: str, content: bytes, mode: int) -> str:
    """Write a file of a board's in one step and return its digest."""
    files.replace(folder / name, content, mode)
    return digest_of(content)


@contextmanager
def opened(path: Path) -> Iterator[Folder]:
    """The folder, made where there is none, for nobody else to write a board into meanwhile.

    BoardError where somebody does, or where it holds anything and isn't a board of ours.
    """
    path.mkdir(parents=True, exist_ok=True)
    with _alone(path):
        yield Folder(path, _known(path), 0o666 & ~_umask())


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    lock = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        # Where a file system knows no locks, two boards at once are its owner's to prevent.
        with suppress(OSError):
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise BoardError(f"another board is being written into {path}; wait for it to end") from None
        yield
    finally:
        os.close(lock)


def _known(path: Path) -> dict[str, str | None]:
    manifest = path / MANIFEST
    if not manifest.is_file() or manifest.is_symlink():
        if not all(_is_our_empty_folder(each) for each in path.iterdir()):
            message = f"{path} holds files that are no board of readypair's; name a new or empty folder with --out"
            raise BoardError(message)
        return {}
    try:
        data = json.loads(manifest.read_bytes())
    except (ValueError, RecursionError):
        data = None
    if not _is_manifest(data):
        raise BoardError(f"{manifest} isn't the list of a board's files; name a new or empty folder with --out")
    return dict(data["files"])


def _is_our_empty_folder(path: Path) -> bool:
    return path.name in _FOLDERS and path.is_dir() and not path.is_symlink() and not any(path.iterdir())


def _is_manifest(data: Any) -> bool:
    if not isinstance(data, dict) or {key: data.get(key) for key in _MARK} != _MARK:
        return False
    listed = data.get("files")
    return isinstance(listed, dict) and all(
        _OURS.fullmatch(name) and (digest is None or isinstance(digest, str)) for name, digest in listed.items()
    )


def _umask() -> int:
    """The umask, which can't be read without setting it."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
