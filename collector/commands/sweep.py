"""Every pair of an inventory."""

from __future__ import annotations

import argparse

from collector.commands.asking import ask, prepare_out, prepare_ssh
from collector.commands.choosing import narrow, open_fleet
from collector.commands.options import (
    Commands,
    add_command,
    asking_options,
    keeping_options,
    narrowing_options,
    telling_options,
)
from collector.commands.remembering import remembering
from collector.commands.telling import tell_fleet
from collector.commands.telling_on import prepared


def add(commands: Commands) -> None:
    """Offer `sweep`."""
    text = "ask and judge every pair of an inventory"
    parents = asking_options(), narrowing_options(), keeping_options(), telling_options()
    add_command(commands, "sweep", do, text, *parents)


def do(options: argparse.Namespace) -> int:
    """Ask the pairs over SSH, judge them and tell of the fleet."""
    from collector.nights.night import Source

    fleet = open_fleet(options.inventory)
    pairs = narrow(fleet, options)
    prepare_out(options)
    tells = prepared(options)
    prepare_ssh(fleet, pairs)
    with remembering(options, fleet, pairs, Source.SWEEP) as remembers:
        result = ask(options, fleet, pairs, "ssh", remembers, tells)
        return tells.ended(remembers.ended(tell_fleet(options, result)))
