"""The options that commands share, and how a command joins the parser."""

from __future__ import annotations

import argparse
import re
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
    """Add a command that `do` does, and that returns the exit status; `text` is one line in lower case for its help.

    Where `do` sets `closing` among the options, that is called with the exit status behind everything else.
    """
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


def deadline_option() -> argparse.ArgumentParser:
    """The option for how long the whole command may take, in seconds."""
    options = argparse.ArgumentParser(add_help=False)
    text = "give up the pairs not reached in this time, such as 45m, 2h, 1h30m or 90s; a plain number is minutes"
    options.add_argument("--deadline", metavar="DURATION", type=seconds, help=text)
    return options


def store_options(
    text: str = "the store of all nights: a file or postgresql://… (default: $READYPAIR_STORE)",
) -> argparse.ArgumentParser:
    """The option that `remembering.named_store` reads."""
    options = argparse.ArgumentParser(add_help=False)
    options.add_argument("--store", metavar="URL|FILE", help=text)
    return options


def keeping_options() -> argparse.ArgumentParser:
    """The options of a command that keeps what it finds in a store."""
    options = argparse.ArgumentParser(add_help=False, parents=[store_options()])
    options.add_argument(
        "--keep-days", metavar="N", type=days, help="take reports and captures out of the store that are older"
    )
    return options


def telling_options() -> argparse.ArgumentParser:
    """The options that `telling_on.prepared` reads."""
    options = argparse.ArgumentParser(add_help=False, parents=[junit_options()])
    options.add_argument("--csv", metavar="FILE", type=Path, help="write the fleet there, a row a pair")
    text = "write metrics there for Prometheus, in a file that everybody may read"
    options.add_argument("--metrics", metavar="FILE", type=Path, help=text)
    text = "tell whoever is at this URL what changed; may be repeated (default for sweep: $READYPAIR_NOTIFY)"
    options.add_argument("--notify", metavar="URL", action="append", help=text)
    options.add_argument("--notify-always", action="store_true", help="tell them of every sweep")
    return options


def junit_options() -> argparse.ArgumentParser:
    """The option of a command whose result whatever runs checks can show."""
    options = argparse.ArgumentParser(add_help=False)
    options.add_argument("--junit", metavar="FILE", type=Path, help="write the findings there as JUnit XML")
    return options


def seconds(text: str) -> float:
    """A duration as somebody types it, in seconds."""
    number = r"(\d{1,6})"
    given = re.fullmatch(f"{number}|(?:{number}h)?(?:{number}m)?(?:{number}s)?", text, re.ASCII)
    minutes, *parts = (int(part or 0) for part in given.groups()) if given else (0,)
    seconds = minutes * 60 + sum(part * unit for part, unit in zip(parts, (3600, 60, 1), strict=False))
    if not seconds:
        raise argparse.ArgumentTypeError(f"{text!r} must be a duration such as 45m, 2h, 1h30m or 90s, or minutes")
    return float(seconds)


def days(text: str) -> int:
    """A number of days or nights as somebody types it."""
    try:
        number = int(text)
    except ValueError:
        number = 0
    if not 1 <= number <= 36500:
        raise argparse.ArgumentTypeError(f"{text!r} must be a whole number from 1 to 36500")
    return number


def _workers(text: str) -> int:
    try:
        workers = int(text)
    except ValueError:
        workers = 0
    if not 1 <= workers <= 500:
        raise argparse.ArgumentTypeError(f"{text!r} must be a whole number from 1 to 500")
    return workers
