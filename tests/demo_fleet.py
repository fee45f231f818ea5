"""The demo's pairs as recorded, for tests that look at all of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from collector import recording, rules
from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.finding import Finding, Status, Verdict
from collector.snapshot import MemberSnapshot, Reading, Snapshot, member_snapshot, understand
from collector.verdict import verdict
from inventory.opening import Fleet, open_inventory
from parsers import Facts, catalogue

HOUSE = Path(__file__).parent.parent
FIXTURES = HOUSE / "fixtures" / "demo"
INVENTORY = HOUSE / "inventory" / "demo"


@dataclass(frozen=True)
class Judged:
    """What all rules say of a pair."""

    findings: tuple[Finding, ...]
    verdict: Verdict

    def status(self, rule: str) -> Status:
        """One rule's status."""
        return next(finding.status for finding in self.findings if finding.rule == rule)

    def with_status(self, status: Status) -> set[str]:
        """The ids of the rules that have this status."""
        return {finding.rule for finding in self.findings if finding.status is status}


@cache
def fleet() -> Fleet:
    """The demo's inventory."""
    return open_inventory(INVENTORY, rules.waivable())


@cache
def snapshot(pair: str) -> Snapshot:
    """A pair as a sweep finds it when its controllers answer what was recorded."""
    found = next(each for each in fleet().pairs if each.name == pair)
    first, second = (
        member_snapshot(member.name, [taken(each) for each in recording.load(FIXTURES, member.name, catalogue.asked())])
        for member in found.members
    )
    return Snapshot(found, (first, second), EVENING)


def taken(capture: Capture) -> Capture:
    """The capture as a sweep dates it: the clocks of the fixtures show that time."""
    if capture.ending is Ending.MISSING:
        return capture
    return replace(capture, started=EVENING, seconds=0.2)


def pairs() -> list[str]:
    """The names of the demo's pairs."""
    return [pair.name for pair in fleet().pairs]


def judged(described: Snapshot) -> Judged:
    """All rules on a snapshot, by the demo's policy."""
    findings = tuple(rules.judge(described, fleet().policy))
    return Judged(findings, verdict(findings))


def with_capture(described: Snapshot, capture: Capture) -> Snapshot:
    """The snapshot with one capture in the place of the member's own; only that one is read again."""
    first, second = (
        _replaced(member, capture) if member.name == capture.member else member for member in described.members
    )
    return replace(described, members=(first, second))


def _replaced(member: MemberSnapshot, capture: Capture) -> MemberSnapshot:
    return MemberSnapshot(
        member.name,
        {**member.captures, capture.command: capture},
        {**member.readings, capture.command: _understood(capture)},
    )


def _understood(capture: Capture) -> Reading[Facts]:
    # Members and pairs share many texts, and reading is what takes the time.
    reading = _understood_as_anyone(replace(capture, member=""))
    return replace(reading, member=capture.member)


@cache
def _understood_as_anyone(capture: Capture) -> Reading[Facts]:
    return understand(capture)
