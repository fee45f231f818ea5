"""Sweeps of one inventory don't overlap on one machine, nor do watches of one pair of it.

The lock is the kernel's own (flock), by the standard library: it goes with its process however that ends. A library
that falls back to a file of its own where there is no flock would keep its lock after a kill.
"""

from __future__ import annotations

import errno
import fcntl
import hashlib
import os
import platform
import pwd
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import IO

from collector import folders

STATE = "READYPAIR_STATE"
"""The environment's name for the folder of the locks."""


class Busy(Exception):  # noqa: N818 - nothing is wrong
    """Another sweep or watch is running; the message is one sentence that says since when."""


@contextmanager
def alone(inventory: Path, pair: str | None = None) -> Iterator[None]:
    """Be the only sweep of this inventory that this user runs on this machine, until the block ends.

    With a `pair`: be the only watch of it; sweeps and watches don't wait for each other.

    Raises Busy where there is another one, and OSError, which names the folder and what to do, where there can be no
    lock.
    """
    with _opened(inventory, pair) as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Busy(_other(inventory, pair, file)) from None
        # It is only for the sentence of a second one: that a full disk doesn't take it changes nothing.
        with suppress(OSError):
            os.ftruncate(file.fileno(), 0)
            os.write(file.fileno(), f"{os.getpid()} {datetime.now().astimezone().isoformat()}\n".encode("ascii"))
        # Left where it is: whoever took it away might take one that somebody has just locked.
        yield


def _other(inventory: Path, pair: str | None, file: IO[bytes]) -> str:
    """What the other one wrote about itself, in a sentence."""
    since = ""
    with suppress(ValueError):
        process, started = file.read().decode("ascii").split()
        since = f" since {_time(datetime.fromisoformat(started))} (process {int(process)})"
    if pair is not None:
        remedy = "look there, or end it and start this one: it takes up from there"
        return f"another watch of {pair} is running{since}; {remedy}"
    return f"another sweep of {inventory} is running{since}; wait for it to end"


def _time(started: datetime) -> str:
    """The time of day, with the date where that isn't today's."""
    today = started.date() == datetime.now().astimezone().date()
    return started.strftime("%H:%M" if today else "%Y-%m-%d %H:%M")


def _opened(inventory: Path, pair: str | None) -> IO[bytes]:
    """The lock's file, which no other user can open.

    It is where the environment says, else by the XDG rules, else, for a service's account whose home can't be written
    to, beside the temporary files.
    """
    # A home may be shared by machines, and they don't wait for each other.
    about = os.fsencode(inventory.resolve()) + b"\0" + platform.node().encode()
    if pair is not None:
        about += b"\0" + pair.encode("utf-8", "surrogateescape")
    name = f"{'sweep' if pair is None else 'watch'}-{hashlib.sha256(about).hexdigest()[:16]}.lock"
    if named := os.environ.get(STATE):
        return _file(Path(named), name)
    with suppress(OSError):
        return _file(_state() / "readypair", name)
    folder = Path(tempfile.gettempdir(), f"readypair-{os.geteuid()}")
    with suppress(FileExistsError):
        folder.mkdir(mode=0o700)
    found = folder.lstat()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.geteuid():
        # Anybody can make a folder of this name there, and lock us out.
        raise PermissionError(errno.EPERM, f"isn't a folder of your own; name another one in {STATE}", str(folder))
    return _file(folder, name)


def _file(folder: Path, name: str) -> IO[bytes]:
    # Not truncated: what the other one wrote stands in it. No link is followed: what it leads to would be written over.
    flags = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC
    try:
        folders.make_private(folder)
        return os.fdopen(os.open(folder / name, flags, 0o600), "r+b", buffering=0)
    except OSError as error:
        why = f"{name} is a link" if error.errno == errno.ELOOP else str(error.strerror)
        said = f"the lock can't be kept there ({why}); name another folder in {STATE}"
        raise OSError(error.errno, said, str(folder)) from None


def _state() -> Path:
    """The folder of the user's own state; FileNotFoundError where the account has no home."""
    state, home = os.environ.get("XDG_STATE_HOME", ""), os.environ.get("HOME", "")
    if Path(state).is_absolute():
        return Path(state)
    try:
        return Path(home or pwd.getpwuid(os.geteuid()).pw_dir, ".local", "state")
    except KeyError:
        raise FileNotFoundError(errno.ENOENT, "the account has no home") from None
