"""The options that commands share, and how a command joins the parser."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TypeAlias

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"

INVENTORY_HELP = "the inventory folder (default: $READYPAIR_INVENTORY)"
PAIR_HELP = "the pair's name in the inventory"
QUIET_HELP = "no progress on standard error"
TARGET_HELP = "ask about this release instead of the inventory's target"


def add_command(
    commands: Commands,
    name: str,
    do: Callable[[argparse.Namespace], int],
    text: str,
    *parents: argparse.ArgumentParser,
) -> argparse.ArgumentParser:
    """Add a command that `do` does, and that returns the exit status; `text` is one line in lower case for its help."""
    command = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".", parents=parents)
    command.set_defaults(do=do)
    return command


def asking_options(written: str = "report.json, report.html and captures/") -> argparse.ArgumentParser:
    """The options of a command that asks many members; `written` says what --out gets."""
    options = argparse.ArgumentParser(add_help=False)
    options.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    options.add_argument("--out", metavar="DIR", type=Path, help=f"write {written} there")
    options.add_argument("--json", action="store_true", help="print the report as JSON and nothing else")
    options.add_argument("--workers", metavar="N", type=_workers, default=20, help="pairs asked at once (default: 20)")
    options.add_argument("--quiet", action="store_true", help=QUIET_HELP)
    return options


def narrowing_options() -> argparse.ArgumentParser:
    """The options that `choosing.narrow` reads."""
    options = argparse.ArgumentParser(add_help=False)
    options.add_argument("--pairs", metavar="GLOB", help="only pairs whose names match, such as 'quay*'")
    options.add_argument("--site", metavar="NAME", help="only pairs of this site")
    return options


def store_options() -> argparse.ArgumentParser:
    """The option that `remembering.named_store` reads."""
    options = argparse.ArgumentParser(add_help=False)
    text = "the store of all nights: a file or postgresql://… (default: $READYPAIR_STORE)"
    options.add_argument("--store", metavar="URL|FILE", help=text)
    return options


def keeping_options() -> argparse.ArgumentParser:
    """The options of a command that keeps what it finds in a store."""
    options = argparse.ArgumentParser(add_help=False, parents=[store_options()])
    options.add_argument(
        "--keep-days", metavar="N", type=_days, help="take reports and captures out of the store that are older"
    )
    return options


def _days(text: str) -> int:
    try:
        days = int(text)
    except ValueError:
        days = 0
    if not 1 <= days <= 36500:
        raise argparse.ArgumentTypeError(f"{text!r} must be a whole number from 1 to 36500")
    return days


def _workers(text: str) -> int:
    try:
        workers = int(text)
    except ValueError:
        workers = 0
    if not 1 <= workers <= 500:
        raise argparse.ArgumentTypeError(f"{text!r} must be a whole number from 1 to 500")
    return workers
