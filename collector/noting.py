"""Notes of a sweep what its result doesn't hold: each member's flash."""

from __future__ import annotations

from dataclasses import dataclass, field

from collector.nights.night import Room
from collector.nights.past import Past
from collector.result import PairResult
from collector.rules.flash_space import rooms
from collector.snapshot import Snapshot
from collector.sweep import Memory
from inventory.policy import Policy


@dataclass(frozen=True)
class Noting:
    """Stands before a sweep's memory; `rooms` by the pairs' names, in the order in which they came."""

    policy: Policy
    memory: Memory
    rooms: dict[str, tuple[Room, ...]] = field(default_factory=dict)

    def past(self, snapshot: Snapshot) -> Past:
        """What the memory knows."""
        return self.memory.past(snapshot)

    def keep(self, snapshot: Snapshot, result: PairResult, *, in_time: bool) -> None:
        """Note it, and let the memory keep it."""
        self.rooms[result.pair.name] = rooms(snapshot, self.policy)
        self.memory.keep(snapshot, result, in_time=in_time)
