"""Turning back: from each stage the way back, and the last moment at which taking it still ends inside the window."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, tzinfo
from math import ceil

from collector.plan.plan import BackStep, Estimate, StageId, TurnBack
from collector.plan.stages import Duration, way_back
from collector.plan.times import later, percentile, shown
from inventory.policy import Policy

# The rule `install-state` blocks the next window while a release is inactive.
_EXPANDED = (
    "No member runs the new release yet, but both hold it expanded: before the next window have it removed again by "
    "the vendor's procedure for inactive packages; any time will do."
)


def estimates_of(steps: tuple[BackStep, ...] | None) -> tuple[Estimate, ...] | None:
    """The durations of a way back; None where there is no way, or one of its steps has none."""
    if steps is None:
        return None
    known = tuple(step.estimate for step in steps if step.estimate is not None)
    return known if len(known) == len(steps) else None


def turn_back(
    id: StageId,
    durations: Mapping[StageId, Duration],
    policy: Policy,
    window_end: datetime | None,
    finished: datetime | None,
    zone: tzinfo,
) -> TurnBack:
    """The way back from a stage; `finished` is its 90th percentile, None where that isn't known."""
    steps = way_back(id, durations, policy)
    if steps is None:
        return TurnBack(False, "Nothing leads back from here except another upgrade to the old release, another night.")
    known = estimates_of(steps)
    if known is None:
        lacking = "; ".join(step.title.lower() for step in steps if step.estimate is None)
        return TurnBack(
            True, f"How long the way back takes isn't known, since these steps have no time: {lacking}.", steps
        )
    p50, p90 = percentile(known, 50), percentile(known, 90)
    last = shown(later(window_end, -p90), zone) if window_end is not None else None
    in_time = finished <= last if finished is not None and last is not None else None
    if not steps:
        said = _EXPANDED if id == "expand" else "Nothing has to be undone: no member runs the new release yet."
    else:
        said = f"Back on the old release within {ceil(p90 / 60):,} minutes in 90 of 100 cases."
    return TurnBack(True, said, steps, p50, p90, last, in_time)
