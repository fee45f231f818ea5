"""What `readypair plan` found: a pair's plan beside its readiness, and how the two stand together."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from collector.finding import Verdict
from collector.plan.plan import Plan
from collector.result import PairResult
from collector.snapshot import Snapshot


class Standing(StrEnum):
    """How a pair's plan stands, the worst first; only the last one is good."""

    TOO_LONG = "too long"
    BLOCKED = "blocked"
    INCOMPLETE = "incomplete"
    FITS = "fits"


@dataclass(frozen=True)
class PairPlan:
    """A pair's plan, and its result by the rules from the same captures.

    `snapshot` are those captures, kept where the pair may be planned again for another window.
    """

    plan: Plan
    ready: PairResult
    snapshot: Snapshot | None = field(default=None, compare=False, repr=False)

    @property
    def standing(self) -> Standing:
        """The worst that is known: what wasn't seen makes the plan incomplete, never good."""
        times = self.plan.times
        if times is not None and times.fits is False:
            return Standing.TOO_LONG
        if self.plan.blocked or self.ready.verdict is Verdict.NO_GO:
            return Standing.BLOCKED
        known = times is not None and times.fits is True and not self.plan.unknowns
        return Standing.FITS if known and self.ready.verdict is Verdict.GO else Standing.INCOMPLETE
