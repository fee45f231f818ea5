"""The policy in force."""

from __future__ import annotations

import argparse
from pathlib import Path

from collector.commands.choosing import open_fleet
from collector.commands.options import INVENTORY_HELP, Commands, add_command
from collector.commands.telling import GO, console, print_json


def add(commands: Commands) -> None:
    """Offer `policy`."""
    text = "show the policy in force, where each value comes from, and what it lacks"
    command = add_command(commands, "policy", do, text)
    command.add_argument("--from", dest="folder", metavar="DIR", type=Path, help="look at what was recorded there, too")
    command.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    command.add_argument("--json", action="store_true", help="print it as JSON")


def do(options: argparse.Namespace) -> int:
    """Show the policy's values, their sources and what it lacks; always GO, for it judges no pair."""
    from collector import lacking, recording, rules
    from collector.report import document, terminal
    from inventory.explaining import explained

    fleet = open_fleet(options.inventory)
    folder = recording.find(options.folder) if options.folder else None
    pairs = fleet.pairs
    if folder is not None:
        selection = recording.read_selection(folder)
        pairs = tuple(pair for pair in pairs if selection is None or pair.name in selection)
    seen = lacking.seen(pairs, folder) if folder is not None else None
    settings = explained(fleet.policy, fleet.policy_file, rules.weights())
    warnings = lacking.lacks(pairs, fleet.policy, seen)
    if options.json:
        print_json(document.policy(fleet.policy_file, settings, warnings))
    else:
        console().print(terminal.policy(fleet.policy_file, settings, warnings))
    return GO
