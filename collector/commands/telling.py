"""What every command says, where, and with which exit status."""

from __future__ import annotations

import errno
import sys
from typing import TYPE_CHECKING

from collector import streams

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence
    from types import ModuleType

    from rich.console import Console, RenderableType

    from collector.result import Result


GO, NOT_GO, WRONG_QUESTION, INTERNAL = 0, 1, 2, 3


class UsageError(Exception):
    """The question itself is wrong; the message is one sentence that says what to do."""


def complain(sentence: str, status: int) -> int:
    """Say the sentence on standard error, what would steer a terminal spelled out, and return the status."""
    from collector.report.visible import visible

    print(f"readypair: {visible(sentence)}", file=sys.stderr)
    return status


_MAY_WRITE = "give this account the right to write there, or name another place"
_REMEDIES = {
    errno.ENOSPC: "make room there, or name another place",
    errno.EDQUOT: "make room there, or name another place",
    errno.EFBIG: "raise the limit on the size of files (ulimit -f), or name another place",
    errno.EROFS: "name another place",
    errno.EACCES: _MAY_WRITE,
    errno.EPERM: _MAY_WRITE,
    errno.ENAMETOOLONG: "name a shorter one",
    errno.ENOTDIR: "name a place below a folder",
    errno.EMFILE: "raise the limit of open files (ulimit -n), or ask fewer pairs at once with --workers",
    errno.ENFILE: "see what else on this machine holds so many files open",
}


def disk_trouble(error: OSError) -> str:
    """What the system refused, and what to do where that is known, in one sentence."""
    said = ": ".join(str(each) for each in (error.filename, error.strerror or error) if each is not None)
    named = error.filename != streams.STANDARD_OUTPUT
    remedy = _REMEDIES.get(error.errno) if error.errno is not None and named else None
    # Some errors of ours say what to do already.
    return f"{said}; {remedy}" if remedy and "; " not in str(error.strerror) else said


def is_of_the_system(error: OSError) -> bool:
    """Whether it is the machine that refused, and no mistake of ours: a file is named, or room or files ran out."""
    return error.filename is not None or error.errno in _REMEDIES


def tell_fleet(options: argparse.Namespace, result: Result) -> int:
    """Tell of every pair of the result; returns the exit status."""
    return tell(options, result, lambda terminal: terminal.fleet(result))


def tell(options: argparse.Namespace, result: Result, picture: Callable[[ModuleType], RenderableType]) -> int:
    """Tell of the result as JSON or as the picture that the terminal's renderer makes; returns the exit status."""
    from collector.finding import Verdict
    from collector.report import document, terminal

    if options.json:
        print_json(document.document(result))
    else:
        console().print(picture(terminal))
    tell_notes(result.notes)
    return GO if all(pair.verdict is Verdict.GO for pair in result.pairs) else NOT_GO


def tell_notes(notes: Sequence[str]) -> None:
    """Say on standard error what else is worth knowing."""
    for note in notes:
        complain(note, GO)


def console() -> Console:
    """The terminal, or whatever standard output is."""
    from collector.report import terminal

    return terminal.console(sys.stdout)


def print_json(data: object) -> None:
    """Print the data on standard output."""
    import json

    # Escaped, so that it can be printed whatever the locale.
    print(json.dumps(data, indent=2))
