"""From captures to plans: asks pairs, the deep commands too, and plans each once both its members have answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from collector import job, recording
from collector.capture import Capture
from collector.judging import judge_snapshot, snapshot_of
from collector.plan.making import make
from collector.plan.stages import History
from collector.planned import PairPlan
from collector.sweep import Listeners
from inventory.opening import Fleet
from inventory.pairs import Pair
from parsers import catalogue


def plan_pair(
    pair: Pair, captures: Mapping[str, Sequence[Capture]], fleet: Fleet, history: History, moment: datetime
) -> PairPlan:
    """The pair's plan and its readiness, both from the same captures and as of the same moment."""
    snapshot = snapshot_of(pair, captures, moment)
    ready = judge_snapshot(snapshot, fleet.policy, fleet.waivers)
    return PairPlan(make(snapshot, fleet.policy, history), ready)


def plan_pairs(
    fleet: Fleet,
    pairs: Sequence[Pair],
    history: History,
    *,
    connection: str,
    workers: int,
    keep: Path | None = None,
    listeners: Listeners | None = None,
    shift: timedelta = timedelta(0),
) -> tuple[PairPlan, ...]:
    """Ask and plan these pairs, in their order, over a registered connection (see collector.job).

    `keep` is the folder that the captures are written to. `shift` is added to this machine's time throughout, for one
    who plays another day. KeyboardInterrupt where somebody interrupts the asking: half a campaign is none.
    """
    listeners = listeners or Listeners()
    plans: dict[str, PairPlan] = {}

    def heard(pair: Pair, captures: dict[str, list[Capture]]) -> None:
        captures = {member: [_shifted(capture, shift) for capture in own] for member, own in captures.items()}
        if keep is not None:
            for member, its_captures in captures.items():
                recording.write(keep, member, its_captures)
        plans[pair.name] = plan_pair(pair, captures, fleet, history, datetime.now().astimezone() + shift)
        listeners.judged(plans[pair.name].ready)

    if keep is not None:
        recording.write_selection(keep, [pair.name for pair in pairs])
    try:
        job.gather(
            fleet.nornir,
            pairs,
            connection=connection,
            commands=(*catalogue.asked(), *catalogue.deep()),
            workers=workers,
            heard=heard,
            progress=listeners.asked,
        )
    except job.Interrupted:
        raise KeyboardInterrupt from None
    return tuple(plans[pair.name] for pair in pairs)


def _shifted(capture: Capture, shift: timedelta) -> Capture:
    return replace(capture, started=capture.started + shift) if shift and capture.started else capture
