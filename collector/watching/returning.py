"""How the access points come back, poll by poll, by number and, where the tables are whole, by name."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from collector.watching.sighting import Return, Sighting, WatchState

_RESTARTING = ("restart-aps", "validate")


def returned(state: WatchState, sighting: Sighting) -> Return:
    """The return after another poll; a poll that doesn't count them leaves it as it is."""
    before = state.aps
    if sighting.aps is None:
        return before
    names = state.baseline.aps
    expected = max(len(names) if names is not None else 0, sighting.recall.most_aps or 0, before.expected or 0) or None
    now = replace(before, expected=expected, joined=sighting.aps)
    if before.joined != sighting.aps:
        now = replace(now, moved=sighting.moment, still_polls=0)
    else:
        now = replace(now, still_polls=before.still_polls + 1)
    now = _by_name(now, state, sighting)
    return _full(now, before, state.latest.moment if state.latest is not None else None, sighting)


def _by_name(now: Return, state: WatchState, sighting: Sighting) -> Return:
    if sighting.ap_names is None:
        return now
    joined = set(sighting.ap_names)
    known = set(now.known or ()) | set(state.baseline.aps or ()) | joined
    since = dict(now.gone or ())
    gone = tuple((name, since.get(name, sighting.moment)) for name in sorted(known - joined))
    return replace(now, known=tuple(sorted(known)), gone=gone)


def _full(now: Return, before: Return, polled: datetime | None, sighting: Sighting) -> Return:
    """Since when all are back after they had left; a dip counts from the first one that leaves."""
    if sighting.stage not in _RESTARTING or now.expected is None or now.joined is None:
        return replace(now, full_after=None, full_seen=None, full_polls=0)
    if now.joined < now.expected:
        left = before.joined is not None and before.expected is not None and before.joined >= before.expected
        return replace(now, dips=now.dips + left, full_after=None, full_seen=None, full_polls=0)
    if now.full_seen is None:
        return replace(now, full_after=polled, full_seen=sighting.moment, full_polls=1)
    return replace(now, full_polls=now.full_polls + 1)


def away_longer_than(now: Return, seconds: float, moment: datetime) -> tuple[str, ...]:
    """The names of those that have been away for longer; none where names aren't known."""
    return tuple(name for name, since in now.gone or () if (moment - since).total_seconds() > seconds)
