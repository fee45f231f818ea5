"""One pair, now, in detail."""

from __future__ import annotations

import argparse

from collector.commands.asking import ask, prepare_out, prepare_ssh
from collector.commands.choosing import aimed, one_pair, open_fleet
from collector.commands.options import (
    PAIR_HELP,
    TARGET_HELP,
    Commands,
    add_command,
    asking_options,
    junit_options,
    keeping_options,
)
from collector.commands.remembering import remembering
from collector.commands.telling import tell
from collector.commands.telling_on import prepared


def add(commands: Commands) -> None:
    """Offer `check`."""
    text = "ask and judge one pair now, in detail"
    command = add_command(commands, "check", do, text, asking_options(), keeping_options(), junit_options())
    command.add_argument("pair", metavar="PAIR", help=PAIR_HELP)
    command.add_argument("--target", metavar="RELEASE", help=TARGET_HELP)


def do(options: argparse.Namespace) -> int:
    """Ask the pair over SSH, judge it and tell of it in detail."""
    from collector.nights.night import Source

    fleet = open_fleet(options.inventory)
    pair = aimed(one_pair(fleet, options.pair), options)
    prepare_out(options)
    tells = prepared(options)
    prepare_ssh(fleet, [pair])
    with remembering(options, fleet, [pair], Source.CHECK) as remembers:
        result = ask(options, fleet, [pair], "ssh", remembers, tells)
        status = tell(options, result, lambda terminal: terminal.detail(result.pairs[0]))
        return tells.ended(remembers.ended(status))
