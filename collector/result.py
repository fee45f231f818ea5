"""The result of a sweep, a check or a replay: what every renderer renders."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from collector.finding import Finding, Verdict
from inventory.pairs import Pair


@dataclass(frozen=True)
class MemberResult:
    """What a report says of one member: `role` is active, standby, or None where it isn't known."""

    name: str
    role: str | None
    reached: bool
    release: str | None


@dataclass(frozen=True)
class PairResult:
    """A pair's verdict with every rule's finding, in the catalogue's order; `target_release` is the one asked about."""

    pair: Pair
    verdict: Verdict
    target_release: str
    members: tuple[MemberResult, MemberResult]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Result:
    """All pairs that were asked, in the inventory's order."""

    started: datetime
    finished: datetime
    inventory: str
    pairs: tuple[PairResult, ...]
