"""Every pair of an inventory."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from collector import streams
from collector.commands.asking import ask, prepare_out, prepare_ssh
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

if TYPE_CHECKING:
    from collector.budget import Budget
    from collector.report.last_line import LastLine
    from collector.signals import Signals


def add(commands: Commands) -> None:
    """Offer `sweep`."""
    text = "ask and judge every pair of an inventory"
    parents = asking_options(), narrowing_options(), deadline_option(), keeping_options(), telling_options()
    add_command(commands, "sweep", do, text, *parents)


def do(options: argparse.Namespace) -> int:
    """Ask the pairs over SSH, judge them and tell of the fleet; whatever becomes of it, its last line is said."""
    from collector.budget import Budget
    from collector.report.last_line import LastLine
    from collector.result import Ended
    from collector.signals import Signals

    budget, last = Budget(options.deadline), LastLine()
    options.closing = lambda status: print(last.text(status), file=sys.stderr)
    with Signals() as signals:
        try:
            return _sweep(options, budget, signals, last)
        except KeyboardInterrupt:
            last.ended = Ended.INTERRUPTED
            streams.throw_away(sys.stdout)
            raise


def _sweep(options: argparse.Namespace, budget: Budget, signals: Signals, last: LastLine) -> int:
    from collector import locking
    from collector.nights.night import Source

    fleet = open_fleet(options.inventory)
    pairs = narrow(fleet, options)
    last.pairs = len(pairs)
    # Only sweeps wait for each other. A check answers somebody who waits for it before a window, a replay and the demo
    # ask no controller.
    with locking.alone(fleet.folder):
        prepare_out(options)
        tells = prepared(options)
        prepare_ssh(fleet, pairs)
        with remembering(options, fleet, pairs, Source.SWEEP) as remembers:
            # From here on there is something to report.
            signals.first = budget.interrupt
            result = ask(options, fleet, pairs, "ssh", remembers, tells, budget=budget, judged=last.judged)
            last.ended = result.ended
            return tells.ended(remembers.ended(tell_fleet(options, result)))
