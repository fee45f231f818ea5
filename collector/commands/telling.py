"""What every command says, where, and with which exit status."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

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
    """Say the sentence on standard error and return the status."""
    print(f"readypair: {sentence}", file=sys.stderr)
    return status


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
