"""Recorded captures, judged by the same rules."""

from __future__ import annotations

import argparse
from pathlib import Path

from collector.commands.asking import ask, prepare_out
from collector.commands.choosing import aimed, narrow, open_fleet
from collector.commands.options import (
    TARGET_HELP,
    Commands,
    add_command,
    asking_options,
    deadline_option,
    keeping_options,
    narrowing_options,
    telling_options,
)
from collector.commands.remembering import remembering
from collector.commands.telling import UsageError, tell_fleet
from collector.commands.telling_on import prepared


def add(commands: Commands) -> None:
    """Offer `replay`."""
    text = "judge recorded captures by the same rules; no network"
    parents = asking_options(), narrowing_options(), deadline_option(), keeping_options(), telling_options()
    command = add_command(commands, "replay", do, text, *parents)
    command.add_argument("folder", metavar="DIR", type=Path, help="the folder with a folder of captures a member")
    command.add_argument("--target", metavar="RELEASE", help=TARGET_HELP)


def do(options: argparse.Namespace) -> int:
    """Judge what was recorded of the pairs, without a network, and tell of the fleet."""
    from collector import job, recording
    from collector.budget import Budget
    from collector.nights.night import Source

    budget = Budget(options.deadline)
    fleet = open_fleet(options.inventory)
    folder = recording.find(options.folder)
    pairs = [aimed(pair, options) for pair in narrow(fleet, options, recording.read_selection(folder))]
    if options.out is not None and recording.overlaps(options.out, folder):
        raise UsageError(f"--out {options.out} would write over the captures that are replayed; name another folder")
    prepare_out(options)
    tells = prepared(options)
    job.prepare_recorded(fleet.nornir, pairs, folder)
    with remembering(options, fleet, pairs, Source.REPLAY) as remembers:
        result = ask(options, fleet, pairs, job.RECORDED, remembers, tells, budget=budget)
        return tells.ended(remembers.ended(tell_fleet(options, result)))
