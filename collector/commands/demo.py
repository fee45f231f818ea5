"""The demo fleet: simulated controllers on this machine, swept over real SSH."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime

from collector.commands.asking import ask, prepare_out
from collector.commands.choosing import narrow, open_fleet
from collector.commands.options import (
    Commands,
    add_command,
    asking_options,
    deadline_option,
    keeping_options,
    narrowing_options,
    telling_options,
)
from collector.commands.remembering import remembering
from collector.commands.telling import tell_fleet
from collector.commands.telling_on import prepared


def add(commands: Commands) -> None:
    """Offer `demo`."""
    text = "sweep the demo fleet's simulated controllers on this machine over SSH"
    parents = asking_options(), narrowing_options(), deadline_option(), keeping_options(), telling_options()
    add_command(commands, "demo", do, text, *parents)


def do(options: argparse.Namespace) -> int:
    """Start the controllers, sweep them on the evening of their recordings, and tell."""
    from collector import demo
    from collector.budget import Budget
    from collector.nights.night import Source

    budget = Budget(options.deadline)
    fleet = open_fleet(options.inventory or demo.inventory_folder())
    pairs = narrow(fleet, options)
    prepare_out(options)
    tells = prepared(options)
    shift = demo.EVENING - datetime.now(UTC)
    with remembering(options, fleet, pairs, Source.DEMO, shift) as remembers:
        with demo.controllers(fleet) as running:
            demo.prepare(fleet, pairs, running)
            result = ask(options, fleet, pairs, "ssh", remembers, tells, shift, budget=budget)
        return tells.ended(remembers.ended(tell_fleet(options, result)))
