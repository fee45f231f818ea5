"""From captures to plans: asks pairs, the deep commands too, and plans each once both its members have answered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from collector import job
from collector.campaigning import CampaignPlan, campaign_of, in_its_window
from collector.capture import Capture
from collector.judging import judge_snapshot, snapshot_of
from collector.plan.making import make
from collector.plan.stages import History
from collector.planned import PairPlan
from collector.snapshot import Snapshot
from collector.sweep import Listeners, keep_selection, received
from inventory.opening import Fleet
from inventory.pairs import Pair
from inventory.problems import InventoryError, Problem
from inventory.windows import Night
from parsers import catalogue


def plan_snapshot(snapshot: Snapshot, fleet: Fleet, history: History) -> PairPlan:
    """The pair's plan and its readiness, both from the same captures and as of the same moment."""
    ready = judge_snapshot(snapshot, fleet.policy, fleet.waivers)
    return PairPlan(make(snapshot, fleet.policy, history), ready, snapshot)


def nights_ahead(nights: Sequence[Night], file: Path) -> tuple[tuple[Night, ...], tuple[str, ...]]:
    """The nights of a file whose windows haven't ended yet, and a sentence for each that has.

    InventoryError where all of them have: nobody can be given an hour that is gone.
    """
    now = datetime.now().astimezone()
    ahead = tuple(night for night in nights if night.window.end > now)
    if not ahead:
        last = max(night.window.end for night in nights).isoformat(sep=" ", timespec="minutes")
        raise InventoryError([Problem(file, "windows", f"every window has passed, the last one ended at {last}")])
    passed = tuple(
        f"{file}: the window {night.name} isn't used: it ended at "
        f"{night.window.end.isoformat(sep=' ', timespec='minutes')}"
        for night in nights
        if night not in ahead
    )
    return ahead, passed


def plan_campaign(
    plans: Sequence[PairPlan], nights: Sequence[Night], fleet: Fleet, history: History
) -> tuple[CampaignPlan, tuple[PairPlan, ...]]:
    """The campaign in these nights, and each pair's plan for the window that it was given, without one where it wasn't.

    A campaign without an answer leaves the plans as they are.
    """
    campaign = campaign_of(plans, nights, fleet.policy)
    if campaign.steps and not campaign.campaign.windows:
        return campaign, tuple(plans)
    placed = {step.pair.name for step in campaign.steps}
    return campaign, tuple(
        _again(each, campaign, fleet, history) if each.plan.pair.name in placed else each for each in plans
    )


def _again(found: PairPlan, campaign: CampaignPlan, fleet: Fleet, history: History) -> PairPlan:
    snapshot = found.snapshot
    if snapshot is None:
        raise ValueError("a pair can't be planned again without its snapshot")
    return plan_snapshot(replace(snapshot, pair=in_its_window(snapshot.pair, campaign)), fleet, history)


def plan_pairs(
    fleet: Fleet,
    pairs: Sequence[Pair],
    history: History,
    *,
    connection: str,
    workers: int,
    keep: Path | None = None,
    keep_snapshots: bool = False,
    listeners: Listeners | None = None,
    shift: timedelta = timedelta(0),
) -> tuple[PairPlan, ...]:
    """Ask and plan these pairs, in their order, over a registered connection (see collector.job).

    `keep` is the folder that the captures are written to; `keep_snapshots` keeps them in memory, to plan once more.
    `shift` is added to this machine's time throughout, for one who plays another day. KeyboardInterrupt where somebody
    interrupts the asking: half a campaign is none.
    """
    listeners = listeners or Listeners()
    plans: dict[str, PairPlan] = {}

    def heard(pair: Pair, captures: dict[str, list[Capture]]) -> None:
        captures = received(captures, shift, keep, listeners.unkept)
        snapshot = snapshot_of(pair, captures, datetime.now().astimezone() + shift)
        found = plan_snapshot(snapshot, fleet, history)
        plans[pair.name] = found if keep_snapshots else replace(found, snapshot=None)
        listeners.judged(plans[pair.name].ready)

    if keep is not None:
        keep_selection(keep, pairs, listeners.unkept)
    try:
        job.gather(
            fleet.nornir,
            pairs,
            connection=connection,
            commands=catalogue.needed_by("plan"),
            workers=workers,
            heard=heard,
            progress=listeners.asked,
        )
    except job.Interrupted:
        raise KeyboardInterrupt from None
    return tuple(plans[pair.name] for pair in pairs)
