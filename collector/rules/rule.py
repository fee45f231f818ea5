"""What a rule is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from collector.finding import Answer
from collector.snapshot import Snapshot
from inventory.policy import Policy


@dataclass(frozen=True)
class Rule:
    """One question about a pair.

    `title` asks it in a few words, `why` says in one sentence why it matters, `good` and `bad` each show an example,
    `needs` lists the commands it looks at. `judge` is a pure function: the same snapshot and policy give the same
    answer, and nothing is read or written on the way.
    """

    id: str
    title: str
    why: str
    good: str
    bad: str
    needs: tuple[str, ...]
    judge: Callable[[Snapshot, Policy], Answer]
