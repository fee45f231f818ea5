"""The standard streams of a run, whatever the shell did to them: closed, on a full disk, read by nobody any more."""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TextIO, cast

STANDARD_OUTPUT = "standard output"
"""What its troubles name in place of a file."""


@contextmanager
def watched() -> Iterator[None]:
    """Make the standard streams such that printing asks no questions; standard output stays None where it is closed.

    A reader of standard output that goes away (`| head`, a terminal that is closed) ends nothing: the rest is thrown
    away, and the exit status is what the answer deserves. Whatever else keeps standard output from being written raises
    an OSError that names it. What can't be written to standard error is lost: there is nobody to tell.
    """
    before = sys.stdin, sys.stdout, sys.stderr
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A controller's words may hold what the terminal's encoding doesn't have.
        sys.stdout.reconfigure(errors="backslashreplace")
    # Descriptors are given out from the lowest: what is opened first takes the closed stream's own place.
    sys.stdin = sys.stdin or _nothing("r")
    sys.stdout = sys.stdout and _Watched(sys.stdout, STANDARD_OUTPUT)
    sys.stderr = _Watched(sys.stderr or _nothing("w"))
    try:
        yield
    finally:
        sys.stdin, sys.stdout, sys.stderr = before


def throw_away(stream: TextIO) -> None:
    """Send nowhere what the stream hasn't written yet: whoever reads it may never read on."""
    if isinstance(stream, _Watched):
        stream.throw_away()


class _Watched:
    """A stream that outlives its reader; other troubles raise an OSError with the stream's `name`, if it has one."""

    def __init__(self, stream: TextIO, name: str = "") -> None:
        self._stream = stream
        self._name = name
        self._terminal = stream.isatty()
        self._trouble: OSError | None = None

    def __getattr__(self, attribute: str) -> Any:
        return getattr(self._stream, attribute)

    def write(self, text: str) -> int:
        try:
            return self._stream.write(text)
        except OSError as error:
            self._give_up(error)
            return len(text)

    def flush(self) -> None:
        try:
            self._stream.flush()
        except OSError as error:
            self._give_up(error)
        # Whoever wrote may have kept the trouble to itself.
        if self._trouble is not None:
            raise self._trouble

    def throw_away(self) -> None:
        """Send the rest nowhere, that of the interpreter's own flush at exit too."""
        with suppress(OSError), Path(os.devnull).open("w") as nothing:
            os.dup2(nothing.fileno(), self._stream.fileno())

    def _give_up(self, error: OSError) -> None:
        self.throw_away()
        gone = isinstance(error, BrokenPipeError) or (self._terminal and error.errno == errno.EIO)
        if self._name and not gone:
            self._trouble = OSError(error.errno, error.strerror, self._name)
            raise self._trouble


def _nothing(mode: str) -> TextIO:
    return cast(TextIO, Path(os.devnull).open(mode, encoding="utf-8"))
