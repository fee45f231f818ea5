"""Moments, durations and stages in the words of a watch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from collector.plan.stages import DESCRIPTIONS
from collector.watching.sighting import SeenStage

_NAMES = 6
_TITLES: Mapping[str, str] = {
    **{id: description.title for id, description in DESCRIPTIONS.items()},
    "before": "Before the upgrade",
    "done": "Done",
    "rolled-back": "Back to the old release",
    "unclear": "Unclear",
}


def title(stage: SeenStage) -> str:
    """A stage's name in words."""
    return _TITLES[stage]


def clock(moment: datetime) -> str:
    """A moment of the night: 23:41."""
    return f"{moment:%H:%M}"


def spoken(seconds: float) -> str:
    """A duration in words: 40 seconds, 1 minute, 12 minutes, 1 hour 5 minutes."""
    if seconds < 60:
        return _counted(round(seconds), "second")
    minutes = round(seconds / 60)
    if minutes < 60:
        return _counted(minutes, "minute")
    hours, left = divmod(minutes, 60)
    return _counted(hours, "hour") + (f" {_counted(left, 'minute')}" if left else "")


def bounds(shortest: float, longest: float) -> str:
    """A duration known between two bounds: `9 to 11 minutes`, or one figure where both come to the same."""
    least, most = spoken(shortest), spoken(longest)
    if least == most:
        return most
    if least.split()[1:] and least.split()[-1].rstrip("s") == most.split()[-1].rstrip("s") and len(least.split()) == 2:
        return f"{least.split()[0]} to {most}"
    return f"{least} to {most}"


def by_plan(p50: float, p90: float) -> str:
    """What a plan expects: `7 minutes in 50, 9 minutes in 90 of 100 cases`."""
    return f"{spoken(p50)} in 50, {spoken(p90)} in 90 of 100 cases"


def named(names: Sequence[str]) -> str:
    """The first six names, and how many more there are."""
    more = len(names) - _NAMES
    return ", ".join(names[:_NAMES]) + (f" and {more:,} more" if more > 0 else "")


def aps(number: int) -> str:
    """So many access points."""
    return _counted(number, "access point")


def _counted(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"
