"""The host keys of the members, shown and recorded."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from collector.commands.choosing import narrow, open_fleet
from collector.commands.options import INVENTORY_HELP, Commands, add_command, narrowing_options
from collector.commands.telling import GO, NOT_GO, UsageError, complain, console


def add(commands: Commands) -> None:
    """Offer `trust`."""
    text = "show the host keys that members present and, once confirmed, record them"
    command = add_command(commands, "trust", do, text, narrowing_options())
    command.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    command.add_argument("--yes", action="store_true", help="record them without asking")


def do(options: argparse.Namespace) -> int:
    """Meet the members, show their keys and record the new ones; GO where every member is trusted then."""
    from collector import hostkeys
    from collector.hostkeys import Standing
    from collector.report import terminal
    from collector.trust import meet

    fleet = open_fleet(options.inventory)
    path = hostkeys.default_path()
    meetings = meet(fleet.nornir, narrow(fleet, options), path)
    console().print(terminal.meetings(meetings, path))
    new = [meeting.key for meeting in meetings if meeting.key and meeting.standing is Standing.UNKNOWN]
    if new and not (options.yes or _confirmed(f"Record {len(new)} new keys in {path}?")):
        return complain("no key was recorded", NOT_GO)
    left = hostkeys.record(path, new)
    for key in new:
        if key not in left:
            print(f"recorded {key.host} {key.fingerprint}")
    trusted = not left and all(meeting.standing in (Standing.KNOWN, Standing.UNKNOWN) for meeting in meetings)
    return GO if trusted else NOT_GO


def _confirmed(question: str) -> bool:
    if not sys.stdin.isatty():
        raise UsageError("there is nobody to confirm the new keys; compare them and run it again with --yes")
    print(f"{question} [yes/no] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() == "yes"
