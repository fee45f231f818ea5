from __future__ import annotations

import errno
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TextIO

import pytest

from collector import streams

PATIENCE = 60.0


@pytest.fixture
def unread() -> Iterator[TextIO]:
    """A pipe that is full, and that nobody reads."""
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    with suppress(BlockingIOError):
        while True:
            os.write(writing, b"x" * 4096)
    os.set_blocking(writing, True)
    with os.fdopen(reading), os.fdopen(writing, "w") as stream:
        yield stream


def test_what_nobody_reads_can_be_thrown_away(unread: TextIO, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", unread)
    with streams.watched():
        print("not written yet")
        streams.throw_away(sys.stdout)
        flushing = threading.Thread(target=sys.stdout.flush, daemon=True)
        flushing.start()
        flushing.join(PATIENCE)
        assert not flushing.is_alive()


class Failing:
    """A stream that can't be written to."""

    def __init__(self, error: OSError, *, terminal: bool) -> None:
        self._error = error
        self._terminal = terminal
        self._nothing = Path(os.devnull).open("w")  # noqa: SIM115 - it lives as long as the stream

    def isatty(self) -> bool:
        return self._terminal

    def fileno(self) -> int:
        return self._nothing.fileno()

    def write(self, text: str) -> int:
        raise self._error

    def flush(self) -> None:
        pass


@pytest.mark.parametrize(
    ("number", "terminal", "gone"),
    [
        (errno.EPIPE, False, True),
        (errno.EIO, True, True),
        # A disk that fails.
        (errno.EIO, False, False),
        (errno.ENOSPC, False, False),
    ],
)
def test_only_a_reader_that_went_away_is_no_trouble(
    number: int, terminal: bool, gone: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdout", Failing(OSError(number, os.strerror(number)), terminal=terminal))
    with streams.watched():
        if gone:
            print("lost")
            sys.stdout.flush()
        else:
            with pytest.raises(OSError, match="standard output"):
                print("lost")
