"""What a watch begins from: the plan's course and the state before the window, out of one asking of the pair."""

from __future__ import annotations

from datetime import datetime, timezone, tzinfo
from zoneinfo import ZoneInfo

from collector import job
from collector.budget import Budget
from collector.capture import Capture
from collector.judging import snapshot_of
from collector.plan.making import make
from collector.plan.stages import History
from collector.result import Ended
from collector.snapshot import Snapshot
from collector.watching.following import begin
from collector.watching.recognising import baseline_of, sight
from collector.watching.sighting import Baseline, WatchState
from inventory.opening import Fleet
from inventory.pairs import Pair
from parsers import catalogue

ASKING_SECONDS = 180.0
"""How long a pair is asked for its plan at most: a window doesn't wait for it."""

COMMANDS = tuple(
    command
    for command in catalogue.COMMANDS
    if command in catalogue.needed_by("plan") or command in catalogue.needed_by("watch")
)


def opening_snapshot(
    fleet: Fleet, pair: Pair, now: datetime, *, connection: str, seconds: float = ASKING_SECONDS
) -> Snapshot:
    """The pair as it answers now what a plan and a baseline need; without captures where the time was too short.

    KeyboardInterrupt where somebody interrupts the asking.
    """
    gathered: dict[str, list[Capture]] = {}
    try:
        job.gather(
            fleet.nornir,
            [pair],
            connection=connection,
            commands=COMMANDS,
            workers=1,
            heard=lambda _, captures: gathered.update(captures),
            budget=Budget(seconds),
        )
    except job.Interrupted as early:
        if early.ended is not Ended.DEADLINE:
            raise KeyboardInterrupt from None
    return snapshot_of(pair, gathered, now)


def opening_state(snapshot: Snapshot, fleet: Fleet, history: History, given: Baseline | None = None) -> WatchState:
    """The state of a watch before its first poll; `given` is a baseline that somebody took before the window.

    Without one it is what the snapshot tells, if the upgrade hadn't begun then: what is half gone is no baseline.
    """
    pair = snapshot.pair
    before = sight(1, snapshot, pair.target_release, None).stage == "before"
    baseline = given or (baseline_of(snapshot) if before else None)
    share = fleet.policy.after_window.clients_percent
    return begin(pair, pair.target_release, make(snapshot, fleet.policy, history), baseline, share)


def zone_of(pair: Pair) -> tzinfo | None:
    """In which zone the window's moments are shown: the plan's; None for this machine's own."""
    if pair.time_zone is not None:
        return ZoneInfo(pair.time_zone)
    offset = pair.window.start.utcoffset() if pair.window is not None else None
    return timezone(offset) if offset is not None else None
