"""A rule's answer about a pair."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from inventory.waivers import Waiver


class Status(StrEnum):
    """A finding's status."""

    PASS = "pass"  # noqa: S105 - a status, no secret
    CAUTION = "caution"
    BLOCK = "block"
    UNKNOWN = "unknown"
    NOT_APPLICABLE = "not-applicable"


class Verdict(StrEnum):
    """A pair's verdict."""

    GO = "go"
    NO_GO = "no-go"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Evidence:
    """Lines of one capture: their numbers (from 1) and texts as printed."""

    member: str
    command: str
    numbers: tuple[int, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Answer:
    """What a rule's function says: a status, one sentence, the lines it rests on, and what to do where it isn't good.

    `remedy` is empty where nothing needs doing. `unsure` says of a block that something beside it isn't known.
    `replan` says of a block that its remedy is another plan only, which touches no controller.
    """

    status: Status
    statement: str
    remedy: str = ""
    evidence: tuple[Evidence, ...] = ()
    unsure: bool = False
    replan: bool = False


@dataclass(frozen=True, slots=True)
class Finding:
    """An answer as it counts for the verdict.

    `weighed` is the policy's weight where the site weighs the rule otherwise than by default, else None;
    `weight` the one in force. `why` is the rule's own sentence on why it matters. A block with a `waiver` stays a
    block, but somebody accepts it; what is `unsure` beside it nobody can accept.
    """

    rule: str
    title: str
    status: Status
    statement: str
    remedy: str = ""
    evidence: tuple[Evidence, ...] = ()
    weight: str = "block"
    weighed: str | None = None
    why: str = ""
    waiver: Waiver | None = None
    unsure: bool = False
    replan: bool = False

    @property
    def counts_as(self) -> Status | None:
        """What it comes to for the verdict; None where it doesn't keep its pair from being go.

        A block that nobody waives, or an unknown on a blocking rule; a waived block that hides an unknown is one.
        """
        if self.status is Status.BLOCK and self.waiver is None:
            return Status.BLOCK
        open_beside = self.status is Status.BLOCK and self.unsure
        return Status.UNKNOWN if self.weight == "block" and (open_beside or self.status is Status.UNKNOWN) else None

    @property
    def decides(self) -> bool:
        """Whether it keeps its pair from being go."""
        return self.counts_as is not None
