"""To which long-lived releases one pair could go."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.asking import prepare_recorded, prepare_ssh
from collector.commands.choosing import one_pair, open_fleet
from collector.commands.options import INVENTORY_HELP, PAIR_HELP, QUIET_HELP, Commands, add_command
from collector.commands.telling import GO, NOT_GO, console, print_json, tell_notes

if TYPE_CHECKING:
    from collector.targets import Targets
    from inventory.opening import Fleet
    from inventory.pairs import Pair


def add(commands: Commands) -> None:
    """Offer `targets`."""
    text = "show to which long-lived releases a pair could go, and what blocks"
    command = add_command(commands, "targets", do, text)
    command.add_argument("pair", metavar="PAIR", help=PAIR_HELP)
    from_help = "judge the captures recorded there; no network"
    command.add_argument("--from", dest="folder", metavar="DIR", type=Path, help=from_help)
    command.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    command.add_argument("--json", action="store_true", help="print the result as JSON and nothing else")
    command.add_argument("--quiet", action="store_true", help=QUIET_HELP)


def do(options: argparse.Namespace) -> int:
    """Judge the pair for every long-lived release and tell of each; GO where it could go to one."""
    from collector.finding import Verdict
    from collector.report import document, terminal

    fleet = open_fleet(options.inventory)
    found = _judge(options, fleet, one_pair(fleet, options.pair))
    if options.json:
        print_json(document.targets(found))
    else:
        console().print(terminal.targets(found))
    tell_notes(found.notes)
    return GO if any(target.verdict is Verdict.GO for target in found.targets) else NOT_GO


def _judge(options: argparse.Namespace, fleet: Fleet, pair: Pair) -> Targets:
    from collector.passed_windows import passed
    from collector.report.progress import SweepProgress
    from collector.sweep import gather_pair
    from collector.targets import Targets, judge_targets
    from collector.waiving import idle

    connection = prepare_recorded(options.folder, fleet, pair) if options.folder else "ssh"
    if not options.folder:
        prepare_ssh(fleet, [pair])
    started = datetime.now().astimezone()
    with SweepProgress(1, quiet=options.quiet) as progress:
        captures = gather_pair(fleet, pair, connection=connection, asked=progress.asked)
        moment = datetime.now().astimezone()
        planned, targets = judge_targets(pair, captures, fleet.policy, moment, fleet.waivers)
        progress.judged(planned)
    notes = (*idle(fleet.waivers, fleet.pairs, [planned], moment), *passed([pair], moment))
    return Targets(started, moment, str(fleet.folder), planned, targets, notes)
