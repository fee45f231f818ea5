"""What a rule is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from collector.finding import Answer
from collector.snapshot import Snapshot
from inventory.policy import Policy


@dataclass(frozen=True)
class Rule:
    """One question about a pair.

    `title` asks it in a few words, `why` says in one sentence why it matters, `good` and `bad` each show an example,
    `needs` lists the commands it looks at. `judge` is a pure function: the same snapshot and policy give the same
    answer, and nothing is read or written on the way. `weight` is what its trouble comes to where the policy doesn't
    weigh it otherwise: a rule of weight `caution` says `block` of what a site may want to block on, and it counts as a
    caution. `waivable` is False for what nobody may accept or turn off.
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
