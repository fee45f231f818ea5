"""Noting: each member's flash beside whatever a sweep remembers by."""

from __future__ import annotations

from collector.judging import judge_snapshot
from collector.nights.past import Past
from collector.noting import Noting
from collector.result import PairResult
from collector.rules.flash_space import rooms
from collector.snapshot import Snapshot
from tests.demo_fleet import fleet, snapshot

PAST = Past(flash={"quay-a": ()})


class Remembers:
    """A memory that tells what it was given."""

    def __init__(self) -> None:
        self.kept: list[tuple[Snapshot, PairResult, bool]] = []

    def past(self, snapshot: Snapshot) -> Past:
        return PAST

    def keep(self, snapshot: Snapshot, result: PairResult, *, in_time: bool) -> None:
        self.kept.append((snapshot, result, in_time))


def test_flash_is_noted_and_the_memory_gets_all() -> None:
    memory, policy = Remembers(), fleet().policy
    noting = Noting(policy, memory)
    seen = [
        (snapshot(name), judge_snapshot(snapshot(name), policy), late)
        for name, late in (("quay", True), ("fogbank", False))
    ]
    for described, result, in_time in seen:
        assert noting.past(described) is PAST
        noting.keep(described, result, in_time=in_time)
    assert memory.kept == seen
    assert noting.rooms == {described.pair.name: rooms(described, policy) for described, _, _ in seen}
    assert [room.free is not None for room in noting.rooms["quay"]] == [True, True]
