"""What a rule is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from collector.finding import Answer, Finding
from collector.snapshot import Snapshot
from inventory.policy import Policy
from inventory.waivers import Waiver


@dataclass(frozen=True)
class Found:
    """What the rules before it in the catalogue found, as it counts, and all the waivers that there are."""

    findings: Sequence[Finding] = ()
    waivers: Sequence[Waiver] = ()


@dataclass(frozen=True)
class Rule:
    """One question about a pair.

    `title` asks it in a few words, `why` says in one sentence why it matters, `good` and `bad` each show an example,
    `needs` lists the commands it looks at. `judge` is a pure function: the same snapshot and policy give the same
    answer, and nothing is read or written on the way. `weight` is what its trouble comes to where the policy doesn't
    weigh it otherwise: a rule of weight `caution` says `block` of what a site may want to block on, and it counts as a
    caution. `waivable` is False for what nobody may accept or turn off. `judge_after` stands in for `judge` where what
    the other rules found is known: pure as well, and never better than what `judge` says.
    """

    id: str
    title: str
    why: str
    good: str
    bad: str
    needs: tuple[str, ...]
    judge: Callable[[Snapshot, Policy], Answer]
    weight: Literal["block", "caution"] = "block"
    waivable: bool = True
    judge_after: Callable[[Snapshot, Policy, Found], Answer] | None = None
