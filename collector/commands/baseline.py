"""A pair before its window: all that a comparison afterwards needs."""

from __future__ import annotations

import argparse
from pathlib import Path

from collector.commands.asking import prepare_out, prepare_ssh, take
from collector.commands.choosing import one_pair, open_fleet
from collector.commands.options import INVENTORY_HELP, PAIR_HELP, QUIET_HELP, Commands, add_command, keeping_options
from collector.commands.remembering import named_store, remembering
from collector.commands.telling import GO, NOT_GO, UsageError, console, print_json


def add(commands: Commands) -> None:
    """Offer `baseline`."""
    text = "ask a pair before its window for all that is compared afterwards, and keep it"
    command = add_command(commands, "baseline", do, text, keeping_options())
    command.add_argument("pair", metavar="PAIR", help=PAIR_HELP)
    command.add_argument("--inventory", metavar="DIR", type=Path, help=INVENTORY_HELP)
    command.add_argument("--out", metavar="DIR", type=Path, help="write report.json, report.html and captures/ there")
    command.add_argument("--json", action="store_true", help="print it as JSON and nothing else")
    command.add_argument("--quiet", action="store_true", help=QUIET_HELP)


def do(options: argparse.Namespace) -> int:
    """Ask the pair and keep it; NOT_GO where something isn't known that a comparison would need."""
    from collector.comparing.comparison import Kind
    from collector.comparing.figures import figures
    from collector.comparing.making import compare, target_of
    from collector.nights.night import Source
    from collector.report import comparison_document, comparison_terminal

    if named_store(options) is None and options.out is None:
        raise UsageError("a baseline has to be kept: name a store with --store or in READYPAIR_STORE, or --out DIR")
    fleet = open_fleet(options.inventory)
    pair = one_pair(fleet, options.pair)
    prepare_out(options)
    prepare_ssh(fleet, [pair])
    with remembering(options, fleet, [pair], Source.BASELINE) as remembers:
        taken = take(options, fleet, pair, remembers)
        snapshot = taken.snapshot
        found = compare(snapshot, snapshot, fleet.policy, target_of(snapshot, snapshot))
        told = (found, taken.result.verdict.value, figures(snapshot))
        if options.json:
            print_json(comparison_document.baseline(*told))
        else:
            console().print(comparison_terminal.baseline(*told))
        return remembers.ended(NOT_GO if found.of_kind(Kind.UNKNOWN) else GO)
