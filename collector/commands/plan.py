"""The window of a pair, or of a fleet, laid out."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.asking import prepare_out, prepare_recorded, prepare_ssh
from collector.commands.choosing import aimed, narrow, one_pair, open_fleet
from collector.commands.options import (
    PAIR_HELP,
    TARGET_HELP,
    Commands,
    add_command,
    asking_options,
    narrowing_options,
    store_options,
)
from collector.commands.remembering import stage_history
from collector.commands.telling import GO, NOT_GO, UsageError, console, print_json, tell_notes
from collector.commands.unwritten import Unwritten

if TYPE_CHECKING:
    from collector.campaigning import CampaignPlan
    from collector.plan.stages import History
    from collector.planned import PairPlan
    from inventory.opening import Fleet
    from inventory.pairs import Pair
    from inventory.windows import Night


def add(commands: Commands) -> None:
    """Offer `plan`."""
    text = "lay out the window of a pair: its timeline, when to turn back, who notices"
    asking = asking_options("plan.json, plan.html, plan.ics, procedure.html and captures/")
    store = store_options("the store whose watches recorded how long stages take (default: $READYPAIR_STORE)")
    command = add_command(commands, "plan", do, text, asking, narrowing_options(), store)
    command.add_argument("pair", metavar="PAIR", nargs="?", help=PAIR_HELP)
    command.add_argument("--all", action="store_true", help="every pair; --pairs and --site narrow it")
    command.add_argument("--windows", metavar="FILE", type=Path, help="assign the pairs to the windows listed there")
    from_help = "plan from the captures recorded there; no network"
    command.add_argument("--from", dest="folder", metavar="DIR", type=Path, help=from_help)
    command.add_argument("--target", metavar="RELEASE", help=TARGET_HELP)


def do(options: argparse.Namespace) -> int:
    """Plan the pairs, or their campaign, and tell; GO where every pair fits its window."""
    from collector import output
    from collector.campaigning import stands
    from collector.planned import Standing
    from collector.planning import nights_ahead, plan_campaign
    from collector.report import plan_document
    from inventory import windows

    unwritten = Unwritten()
    fleet = open_fleet(options.inventory)
    recorded = stage_history(options, fleet)
    pairs = _to_plan(fleet, options)
    nights: Sequence[Night] = ()
    if options.windows is not None:
        nights, passed = nights_ahead(windows.read_windows(options.windows), options.windows)
        tell_notes(passed)
    prepare_out(options)
    plans = _make_plans(options, fleet, pairs, recorded, unwritten)
    campaign = None
    if nights:
        campaign, plans = plan_campaign(plans, nights, fleet, recorded)
    inventory = str(fleet.folder)
    if options.out is not None:
        with unwritten.attempt():
            output.write_plans(options.out, plans, inventory, campaign)
    if options.json:
        print_json(plan_document.document(plans, inventory, campaign))
    else:
        _show(options, plans, campaign)
    good = all(plan.standing is Standing.FITS for plan in plans) if campaign is None else stands(campaign, plans)
    return unwritten.ended(GO if good else NOT_GO)


def _show(options: argparse.Namespace, plans: Sequence[PairPlan], campaign: CampaignPlan | None) -> None:
    from collector.report import plan_terminal

    terminal = console()
    if campaign is not None:
        terminal.print(plan_terminal.campaign(campaign))
        terminal.print()
    terminal.print(plan_terminal.fleet(plans) if options.all else plan_terminal.plan(plans[0]))


def _to_plan(fleet: Fleet, options: argparse.Namespace) -> list[Pair]:
    """The pairs to plan, aimed at the target that is asked about."""
    from collector import recording

    if options.all == (options.pair is not None):
        raise UsageError("name one PAIR, or give --all for every pair")
    if options.windows is not None and not options.all:
        raise UsageError("--windows plans a campaign; give --all for its pairs")
    if not options.all and (options.pairs or options.site):
        raise UsageError("--pairs and --site narrow --all; a PAIR stands for itself")
    if not options.all:
        return [aimed(one_pair(fleet, options.pair), options)]
    among = recording.read_selection(recording.find(options.folder)) if options.folder else None
    return [aimed(pair, options) for pair in narrow(fleet, options, among)]


def _make_plans(
    options: argparse.Namespace, fleet: Fleet, pairs: Sequence[Pair], recorded: History, unwritten: Unwritten
) -> tuple[PairPlan, ...]:
    from collector import job, output, recording
    from collector.planning import plan_pairs
    from collector.report.progress import SweepProgress
    from collector.sweep import Listeners

    keep = None
    if options.folder is None:
        connection = "ssh"
        prepare_ssh(fleet, pairs)
        keep = output.captures_folder(options.out) if options.out is not None else None
    elif options.all:
        connection = job.RECORDED
        job.prepare_recorded(fleet.nornir, pairs, recording.find(options.folder))
    else:
        connection = prepare_recorded(options.folder, fleet, pairs[0])
    with SweepProgress(len(pairs), quiet=options.quiet) as progress:
        return plan_pairs(
            fleet,
            pairs,
            recorded,
            connection=connection,
            workers=options.workers,
            keep=keep,
            keep_snapshots=options.windows is not None,
            listeners=Listeners(progress.asked, progress.judged, unwritten.captures),
        )
