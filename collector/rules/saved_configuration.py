"""saved-configuration: was the configuration saved after its last change?"""

from __future__ import annotations

from datetime import datetime, timedelta

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import attributed, hear_each, unknown
from collector.snapshot import Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.history import ConfigurationTime

_CHANGED = "show running-config | include Last configuration change"
_SAVED = "show running-config | include NVRAM config last updated"
_SAVE = (
    "Find out with the one who made the change whether it is meant to stay, then have it saved, or taken back, by the "
    "vendor's procedure and your change process, before anything reloads: what isn't saved is lost with a reload. "
    "Taking a setting back can drop clients."
)
# The farthest that two zones' clocks can be apart (UTC-12 to UTC+14, IANA time zone database).
_ZONES_APART = timedelta(hours=26)


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The time of the last change against that of the last save, by each member's own header lines."""
    heard = hear_each(snapshot, [_CHANGED, _SAVED], ConfigurationTime, "whether the last change was saved")
    changes, saves = (
        {reading.member: reading for reading in heard.readings if reading.command == command}
        for command in (_CHANGED, _SAVED)
    )
    said = [(member, _compared(changes[member], saves[member])) for member in changes if member in saves]
    # Where each member answered another one of the two commands only, nobody's two times can be compared.
    unseen = () if said else (unknown("no member tells both its last change and its last save"),)
    return answer([*attributed(said), *unseen, *heard.parts])


def _compared(change: Reading[ConfigurationTime], save: Reading[ConfigurationTime]) -> Part:
    member = change.member
    evidence = (*change.evidence("time", "zone", "by"), *save.evidence("time", "zone", "by"))
    changed, saved = _time(change), _time(save)
    if changed is None or saved is None:
        missing = [reading.command for reading, time in ((change, changed), (save, saved)) if time is None]
        return unknown(f"`{missing[0]}` on {member} tells no time", evidence)
    if _zone(change) != _zone(save) and abs(changed - saved) <= _ZONES_APART:
        return unknown(f"{member} tells its last change and its last save in different time zones", evidence)
    if changed > saved:
        clause = f"{member}'s configuration was changed {_spoken(changed)}{_by(change)}"
        clause += f", after its last save {_spoken(saved)}"
        return Part(Status.BLOCK, clause, evidence, _SAVE)
    return Part(
        Status.PASS, f"{member}'s configuration was last saved {_spoken(saved)}, after its last change", evidence
    )


def _time(reading: Reading[ConfigurationTime]) -> datetime | None:
    return reading.facts.time if reading.facts is not None else None


def _zone(reading: Reading[ConfigurationTime]) -> str | None:
    return reading.facts.zone if reading.facts is not None else None


def _by(reading: Reading[ConfigurationTime]) -> str:
    return f" by {reading.facts.by}" if reading.facts is not None and reading.facts.by else ""


def _spoken(time: datetime) -> str:
    return f"on {time:%Y-%m-%d} at {time:%H:%M:%S}"


RULE = Rule(
    id="saved-configuration",
    title="Was the configuration saved after its last change?",
    why="A member that reloads comes up with what was saved, and what was only running is gone.",
    good="! Last configuration change at 10:02:11 CET Mon Feb 1 2027\n"
    "! NVRAM config last updated at 10:03:40 CET Mon Feb 1 2027",
    bad="! Last configuration change at 18:40:02 CET Fri Feb 5 2027\n"
    "! NVRAM config last updated at 10:03:40 CET Mon Feb 1 2027",
    # Who may stand in for the other one follows from the last two.
    needs=(_CHANGED, _SAVED, "show redundancy", "show chassis rmi"),
    judge=judge,
    weight="caution",
)
