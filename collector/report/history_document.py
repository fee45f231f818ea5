"""What `readypair history` and `readypair changes` know, as data. The names and their meaning are a contract.

Nights are dates: the night that begins on that evening. Times are ISO 8601 with their offset. What isn't known is null.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from collector.finding import Verdict
from collector.nights.change import Change
from collector.nights.night import Night
from collector.nights.timeline import FleetNight, Missed, Moved, Moves, Story
from collector.report.visible import encodable_data
from collector.report.wording import iso

SCHEMA = 1


def pair(story: Story) -> dict[str, Any]:
    """A pair's nights with its changes, and the nights that it was left.

    Keys may be added while `schema` stays 1; none changes its meaning or goes away.
    """
    data: dict[str, Any] = encodable_data(
        {
            **_head(),
            "pair": story.pair,
            "site": story.site,
            "nights": [_night(night) for night in story.nights],
            "changes": [_change(each) for entry in story.entries if isinstance(entry, Moved) for each in entry.changes],
            "missed": [_missed(entry) for entry in story.entries if isinstance(entry, Missed)],
        }
    )
    return data


def fleet(nights: Sequence[FleetNight]) -> dict[str, Any]:
    """The fleet's nights in numbers of pairs; `most_changed` has what the changes are about, the most often first."""
    data: dict[str, Any] = encodable_data({**_head(), "nights": [_fleet_night(night) for night in nights]})
    return data


def changes(found: Sequence[Moves], pairs: int, since: date | None, until: date | None) -> dict[str, Any]:
    """What changed over some nights; `pairs_seen` is how many pairs were looked at.

    `since` and `until` are null where no night is stored.
    """
    data: dict[str, Any] = encodable_data(
        {
            **_head(),
            "since": since.isoformat() if since else None,
            "until": until.isoformat() if until else None,
            "pairs_seen": pairs,
            "pairs": [_moves(moves) for moves in found],
        }
    )
    return data


def _head() -> dict[str, Any]:
    return {"schema": SCHEMA, "tool": "readypair"}


def _night(night: Night) -> dict[str, Any]:
    return {
        "night": night.night.isoformat(),
        "verdict": night.verdict.value if night.in_time else None,
        "target_release": night.target_release,
        "source": night.source.value,
        "asked": _moment(night.asked),
        "judged": _moment(night.judged),
        "in_time": night.in_time,
    }


def _moment(moment: datetime | None) -> str | None:
    return iso(moment) if moment is not None else None


def _missed(missed: Missed) -> dict[str, Any]:
    return {
        "why": missed.why.value,
        "first": missed.first.isoformat(),
        "last": missed.last.isoformat(),
        "nights": missed.nights,
    }


def _fleet_night(night: FleetNight) -> dict[str, Any]:
    most = sorted(night.subjects.items(), key=lambda each: (-each[1], each[0]))
    return {
        "night": night.night.isoformat(),
        "verdicts": {verdict.value: night.verdicts[verdict] for verdict in Verdict},
        "not_asked": night.silent,
        "changes": sum(night.moved.values()),
        "pairs_changed": len(night.moved),
        "most_changed": [
            {"kind": kind.value, "rule": rule or None, "changes": number} for (kind, rule), number in most
        ],
    }


def _moves(moves: Moves) -> dict[str, Any]:
    return {
        "pair": moves.pair,
        "site": moves.site,
        "was": moves.was.value,
        "now": moves.now.value,
        "changes": [_change(change) for night in moves.nights for change in night.changes],
    }


def _change(change: Change) -> dict[str, Any]:
    """`subject` is a rule's id, a member's name, or empty: the pair itself, or both members alike."""
    return {
        "night": change.night.isoformat(),
        "since": change.since.isoformat(),
        "kind": change.kind.value,
        "subject": change.subject,
        "before": change.before,
        "after": change.after,
        "gained": list(change.gained),
        "lost": list(change.lost),
        "worse": change.worse,
    }
