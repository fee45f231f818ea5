"""The command line: the parser's frame around the commands, and what becomes of their errors."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import NoReturn, Protocol

from collector import streams
from collector.commands import (
    baseline,
    board,
    changes,
    check,
    compare,
    demo,
    evidence,
    history,
    plan,
    policy,
    read,
    record,
    replay,
    rules,
    sweep,
    targets,
    trust,
    watch,
)
from collector.commands.options import Commands
from collector.commands.telling import INTERNAL, WRONG_QUESTION, UsageError, complain, disk_trouble, is_of_the_system


class Command(Protocol):
    """What a module of `collector.commands` that holds a command looks like."""

    def add(self, commands: Commands) -> None:
        """Add the command, its options and the function that does it."""


# In the order of the help.
COMMANDS: Sequence[Command] = (
    demo,
    sweep,
    check,
    replay,
    targets,
    plan,
    baseline,
    watch,
    compare,
    evidence,
    history,
    changes,
    board,
    record,
    read,
    rules,
    policy,
    trust,
)


def run() -> NoReturn:
    """The entry point of the installed command."""
    sys.exit(main(sys.argv[1:]))


def main(arguments: Sequence[str]) -> int:
    """Do what the arguments say and return the exit status of DESIGN section 4.

    A reader that goes away before the end doesn't change it: the status tells of the pairs, not of the printing.
    """
    with streams.watched():
        # A command says with the one what it ends with, and with the other what a signal that ends it at once leaves.
        options = argparse.Namespace(closing=None, stopped=lambda: "interrupted before there was anything to report")
        status = _answer(arguments, options)
        if options.closing is not None:
            options.closing(status)
        return status


def _answer(arguments: Sequence[str], options: argparse.Namespace) -> int:
    """Do what the arguments say, which go to `options`, and say what kept it from being done; the exit status."""
    from collector.signals import Signals

    try:
        # A service manager's stop ends a command as Ctrl-C does: its sessions are closed, and no half file stays.
        with Signals():
            return _do(arguments, options)
    except KeyboardInterrupt:
        return complain(options.stopped(), WRONG_QUESTION)
    except UsageError as error:
        return complain(str(error), WRONG_QUESTION)
    except Exception as error:
        return _explain(error)


def _do(arguments: Sequence[str], options: argparse.Namespace) -> int:
    if sys.stdout is None:
        raise UsageError("standard output is closed; send it to a file, or to /dev/null to throw it away")
    try:
        _parser().parse_args(arguments, options)
        status: int = options.do(options)
    finally:
        sys.stdout.flush()
    return status


def _explain(error: Exception) -> int:
    """What a user can cause in a sentence, anything else as an internal error with its traceback."""
    from collector.credentials import CredentialsError
    from collector.locking import Busy
    from collector.recording import RecordingError
    from collector.store.store import StoreError
    from inventory.problems import InventoryError

    if isinstance(error, InventoryError):
        for problem in error.problems:
            complain(str(problem), WRONG_QUESTION)
        return WRONG_QUESTION
    if isinstance(error, RecordingError | CredentialsError | StoreError | Busy):
        return complain(str(error), WRONG_QUESTION)
    if isinstance(error, OSError) and is_of_the_system(error):
        return complain(disk_trouble(error), WRONG_QUESTION)
    import traceback

    from collector import masking

    print(masking.phrase(traceback.format_exc()), end="", file=sys.stderr)
    return complain(f"internal error ({type(error).__name__}); please report the lines above", INTERNAL)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="readypair",
        description="Reads both controllers of every pair, read-only, and decides go or no-go for an in-service "
        "upgrade, with the lines each decision rests on.",
        epilog="Exit status: 0 every pair is go; 1 some pair is no-go or undecided; 2 the question was wrong; "
        "3 internal error.",
    )
    parser.add_argument("--version", action=_PrintVersion, nargs=0, help="show the version and exit")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in COMMANDS:
        command.add(commands)
    return parser


class _PrintVersion(argparse.Action):
    """Looks the version up only when it is asked for: it costs more than all other options together."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        print(f"readypair {version('readypair')}")
        parser.exit()
