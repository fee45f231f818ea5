"""Scrubbed fixtures of what a pair prints."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path

from collector.commands.asking import credentials_of, prepare_recorded
from collector.commands.choosing import one_pair, open_fleet
from collector.commands.options import INVENTORY_HELP, PAIR_HELP, QUIET_HELP, Commands, add_command
from collector.commands.telling import GO, NOT_GO, complain


def add(commands: Commands) -> None:
    """Offer `record`."""
    command = add_command(commands, "record", do, "make scrubbed fixtures of what a pair prints")
    command.add_argument("pair", metavar="PAIR", help=PAIR_HELP)
    command.add_argument("--into", metavar="DIR", type=Path, required=True, help="the folder for the members' folders")
    command.add_argument("--from", metavar="DIR", type=Path, dest="folder", help="scrub these recordings; ask nobody")
    command.add_argument("--as", metavar="NAME", nargs=2, dest="names", help="what to call the members instead")
    command.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    command.add_argument("--quiet", action="store_true", help=QUIET_HELP)


def do(options: argparse.Namespace) -> int:
    """Gather the pair's captures and write them, scrubbed; NOT_GO where something is amiss with them."""
    from collector import hostkeys, record, ssh
    from collector.report.progress import SweepProgress
    from collector.sweep import gather_pair

    fleet = open_fleet(options.inventory)
    pair = one_pair(fleet, options.pair)
    names = options.names or record.NAMES
    record.check(options.into, names, options.folder)
    users: set[str] = set()
    if options.folder:
        connection = prepare_recorded(options.folder, fleet, pair)
    else:
        connection = "ssh"
        found = credentials_of(fleet, [pair])
        users = {own.username for own in found.values()}
        ssh.prepare(fleet.nornir, [pair], found, known_hosts=hostkeys.default_path())
    with SweepProgress(1, quiet=options.quiet) as progress:
        captures = gather_pair(fleet, pair, connection=connection, asked=progress.asked)
    moment = datetime.now().astimezone()
    made = record.fixtures(pair, captures, fleet.policy, moment, names=names, users=sorted(users))
    if made.recorded:
        record.write(options.into, made)
    for line in record.summary(made, options.into):
        print(line)
    for complaint in record.complaints(made):
        complain(complaint, NOT_GO)
    return NOT_GO if record.complaints(made) else GO
