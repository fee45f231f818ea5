"""When a pair was asked, and to which night that belongs."""

from __future__ import annotations

from datetime import date, datetime

from collector.nights.night import night_of
from collector.snapshot import Snapshot


def asked(snapshot: Snapshot) -> datetime | None:
    """When the latest of the pair's captures was taken; None where none is dated."""
    dated = (capture.started for member in snapshot.members for capture in member.captures.values() if capture.started)
    return max((aware(started) for started in dated), default=None)


def night(snapshot: Snapshot) -> date:
    """The night on which the pair was asked, or judged where nobody knows when it was asked."""
    return night_of(asked(snapshot) or aware(snapshot.moment))


def aware(moment: datetime) -> datetime:
    """The moment with its offset; one without any is local time."""
    return moment if moment.tzinfo else moment.astimezone()
