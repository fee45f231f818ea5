"""What stands against a plan: too long for its window, rolled back by the controller, no way back in time, and so on.

Each says by how much and what would mend it. What isn't known never mends anything: the stages that have durations are
held against the limits even where others have none.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from math import ceil

from collector.finding import Status
from collector.plan.batches import BatchPlan
from collector.plan.plan import AutoAbort, Preparation, Problem, Stage
from collector.rules.ap_tables import counted, named
from inventory.pairs import Pair, Window


def minutes(seconds: float) -> str:
    """So many minutes in words, rounded up."""
    number = ceil(seconds / 60 - 1e-9)
    return f"{number:,} minute{'' if number == 1 else 's'}"


def clock(moment: datetime) -> str:
    """A moment as the report writes it, with its offset."""
    return moment.isoformat(sep=" ", timespec="minutes")


def too_long(
    window: Window,
    begin: datetime,
    p90: float,
    complete: bool,
    latest_start: datetime,
    fewer_rounds: str,
) -> Problem | None:
    """A plan that doesn't end inside its window in 90 of 100 cases; `p90` is at least that long if not `complete`."""
    over = p90 - (window.end - begin).total_seconds()
    if over <= 0:
        return None
    least = "" if complete else "at least, since not every stage has a time: "
    statement = (
        f"It doesn't fit the window: {least}in 90 of 100 cases it ends {minutes(p90)} after its begin at "
        f"{clock(begin)}, {minutes(over)} too late."
    )
    ways = [
        f"a window of {minutes(p90 + (begin - window.start).total_seconds())} from {clock(window.start)}",
        f"a begin at {clock(latest_start)} at the latest",
        *([fewer_rounds] if fewer_rounds else []),
    ]
    return Problem("too-long", Status.BLOCK, statement, f"What would make it fit: {', or '.join(ways)}.")


def fewest_rounds(rounds: int | None, p90_with: Callable[[int], float | None], room: float) -> str:
    """How many rounds of access point restarts instead of `rounds` would fit into so many seconds; empty if none."""
    for number in range((rounds or 1) - 1, 0, -1):
        p90 = p90_with(number)
        if p90 is None:
            return ""
        if p90 <= room:
            return f"at most {number} round{'' if number == 1 else 's'} of access point restarts instead of {rounds}"
    return ""


def rolled_back(abort: AutoAbort) -> Problem | None:
    """A plan in which the controller would roll the pair back by itself before validation ends."""
    if abort.fits is not False or abort.limit_seconds is None or abort.needed_p90_seconds is None:
        return None
    over = abort.needed_p90_seconds - abort.limit_seconds
    statement = (
        f"The controller would roll back by itself: its auto-abort timer runs out {minutes(abort.limit_seconds)} after "
        f"the activation, and validation ends {minutes(abort.needed_p90_seconds)} after it in 90 of 100 cases, "
        f"{minutes(over)} too late."
    )
    return Problem(
        "auto-abort",
        Status.BLOCK,
        statement,
        f"Set the timer to {minutes(abort.needed_p90_seconds)} or more by the vendor's procedure, or shorten what lies "
        "between the activation and the commit: validation, or the rounds of access point restarts.",
    )


def timer_running(running: Mapping[str, int | None]) -> Problem | None:
    """The captures show a timer that runs already; `running` has the seconds left by the member that told it."""
    if not running:
        return None
    told = ", ".join(
        f"{name} ({minutes(left)} left)" if left is not None else f"{name} (time left not shown)"
        for name, left in running.items()
    )
    return Problem(
        "auto-abort-running",
        Status.BLOCK,
        f"The auto-abort timer runs already, told by {told}: an activation waits for its commit.",
        "Finish that upgrade first, by the vendor's procedure: commit it, or let it roll back. Then plan again.",
    )


def no_return(stages: Sequence[Stage]) -> Problem | None:
    """A stage that may end only after the last moment for turning back."""
    late = [stage for stage in stages if stage.turn_back.in_time is False and not stage.skipped]
    ends = [(stage.times, stage.turn_back.last_moment) for stage in late]
    times, last = ends[0] if ends else (None, None)
    if times is None or last is None:
        return None
    statement = (
        "Who turns back at the end of this may not get back inside the window: "
        f"{'; '.join(stage.title for stage in late)}. The first of these ends by {clock(times.p90)} in 90 of 100 "
        f"cases, and the last moment for turning back is {clock(last)}, "
        f"{minutes((times.p90 - last).total_seconds())} before."
    )
    return Problem(
        "no-return",
        Status.CAUTION,
        statement,
        "Begin earlier or lengthen the window by that much, or agree beforehand who decides what happens then.",
    )


def late_preparation(preparation: Preparation | None, begin: datetime) -> Problem | None:
    """A preparation that can't end before the window opens any more."""
    if preparation is None or preparation.late_seconds <= 0:
        return None
    statement = (
        f"The preparation should have begun by {clock(preparation.must_start)}, {minutes(preparation.late_seconds)} "
        f"ago: begun now, it ends by {clock(begin)} in 90 of 100 cases, and only then can the upgrade begin."
    )
    return Problem("preparation-late", Status.CAUTION, statement, "Begin it now, or move the window.")


def window_state(window: Window, now: datetime, zone: Callable[[datetime], datetime]) -> Problem | None:
    """A window that has passed or is open already."""
    if now >= window.end:
        return Problem(
            "window-passed",
            Status.BLOCK,
            f"The window ended at {clock(zone(window.end))}; its times are shown as they were planned.",
            "State a new window in the inventory.",
        )
    if now > window.start:
        return Problem(
            "window-open",
            Status.CAUTION,
            f"The window has been open since {clock(zone(window.start))}; the plan is computed as if begun now.",
            "If work has begun already, go by the plan that was made before.",
        )
    return None


def other_offset(pair: Pair, local: datetime) -> Problem | None:
    """A window whose offset isn't the one that its time zone has then; `local` is its start as the zone shows it."""
    if pair.window is None or pair.time_zone is None or pair.window.start.utcoffset() == local.utcoffset():
        return None
    return Problem(
        "time-zone",
        Status.CAUTION,
        f"The inventory has the window begin at {pair.window.start.isoformat()}, which is {local.isoformat()} in "
        f"{pair.time_zone}.",
        "Make sure which of the two is meant, and correct the offset or the zone in the inventory.",
    )


def small_flash(models: Mapping[str, Sequence[str]]) -> Problem | None:
    """Access points whose flash has no room for the image."""
    if not models:
        return None
    told = ", ".join(f"{len(names):,} of model {model}" for model, names in models.items())
    return Problem(
        "ap-flash",
        Status.BLOCK,
        f"By the policy's sizes the flash of these access points is too small for the image: {told}.",
        "Check `image_bytes` and `flash_bytes` of the models in the policy; if they are right, replace these access "
        "points or choose another target.",
    )


def holes(batches: BatchPlan | None) -> Problem | None:
    """Access points that nobody is known to stand in for while they restart, those in critical areas first."""
    if batches is None or not batches.holes:
        return None
    critical = [hole.ap for hole in batches.holes if hole.critical]
    others = [hole.ap for hole in batches.holes if not hole.critical]
    told = [f"in critical areas {named(critical)}"] if critical else []
    told += [named(others)] if others else []
    return Problem(
        "holes",
        Status.CAUTION,
        f"Nothing is known to stand in for {counted(len(batches.holes))} while restarting: {'; '.join(told)}.",
        "Agree on these places with the people who depend on them, or cover them otherwise meanwhile. Where an access "
        "point's own neighbour report was not seen, take it again.",
    )


def nothing_to_do(pair: Pair, runs_already: bool) -> Problem | None:
    """A pair that runs the target already."""
    if not runs_already:
        return None
    return Problem(
        "runs-already",
        Status.CAUTION,
        f"Both members run {pair.target_release} already: there is nothing to upgrade.",
        "Make sure that this target is meant.",
    )
