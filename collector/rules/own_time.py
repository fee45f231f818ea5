"""A controller's own time: what its clock showed, how long it had been up, and so when it was last reloaded.

What a controller dates it dates by its own clock, so nothing else tells how long ago it was.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from collector.rules.roles import role
from collector.rules.witnesses import Word, word
from collector.snapshot import MemberSnapshot, Snapshot
from parsers.facts.clock import Clock
from parsers.facts.software import Version

CLOCK, VERSION = "show clock", "show version"


def now(snapshot: Snapshot, member: MemberSnapshot) -> Word[datetime]:
    """What the member's clock showed, without its zone; the active one's for a standby that refuses to tell."""
    own = _shown(member)
    partner = snapshot.other(member)
    if own.refused and role(snapshot, partner) == "active":
        told = _shown(partner)
        return told if told.value is not None else own
    return own


def uptime(member: MemberSnapshot) -> Word[timedelta]:
    """How long the member had been up."""
    return word(
        member,
        member.read(VERSION, Version),
        lambda facts: timedelta(seconds=facts.uptime_seconds) if facts.uptime_seconds is not None else None,
        "uptime_seconds",
    )


def _shown(member: MemberSnapshot) -> Word[datetime]:
    return word(member, member.read(CLOCK, Clock), lambda facts: facts.time, "time")


def zone(snapshot: Snapshot, shown: Word[datetime]) -> str | None:
    """The zone's name that stands beside a time which `now` gave; None where none is shown."""
    speaker = next(member for member in snapshot.members if member.name == shown.by)
    facts = speaker.read(CLOCK, Clock).facts
    return facts.zone if facts is not None else None
