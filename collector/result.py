"""The result of a sweep, a check or a replay: what every renderer renders."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from collector.finding import Finding, Verdict
from collector.ordering import Step
from inventory.pairs import Pair


class Ended(StrEnum):
    """How a sweep came to its end; `failed` is one that has no result."""

    COMPLETE = "complete"
    DEADLINE = "deadline"
    INTERRUPTED = "interrupted"
    FAILED = "failed"


@dataclass(frozen=True)
class MemberResult:
    """What a report says of one member: `role` is active, standby, or None where it isn't known.

    `unreached_because` says in one clause why there is no answer of it; None where there is one.
    """

    name: str
    role: str | None
    reached: bool
    release: str | None
    unreached_because: str | None = None


@dataclass(frozen=True)
class PairResult:
    """A pair's verdict with every rule's finding, in the catalogue's order; `target_release` is the one asked about.

    `steps` are what to do before it is go, the first thing first; none where it is go. `left_unknown` are the rules
    whose answer isn't known for no other reason than that a member wasn't reached. `in_time` is False for a pair that
    the sweep's deadline or an interruption came before: it is judged on nothing.
    """

    pair: Pair
    verdict: Verdict
    target_release: str
    members: tuple[MemberResult, MemberResult]
    findings: tuple[Finding, ...]
    steps: tuple[Step, ...] = ()
    left_unknown: tuple[str, ...] = ()
    in_time: bool = True


@dataclass(frozen=True)
class Result:
    """All pairs that were to be asked, in the inventory's order.

    `notes` are sentences on what to tidy up: waivers that did nothing, windows that have ended. `ended`
    says whether all were asked in the end, or what came before that.
    """

    started: datetime
    finished: datetime
    inventory: str
    pairs: tuple[PairResult, ...]
    notes: tuple[str, ...] = ()
    ended: Ended = Ended.COMPLETE
