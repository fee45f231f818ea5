"""What a sweep remembers by: the store, as far as a sweep needs it, and whatever goes wrong with it meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import TypeVar

from collector.nights import moments
from collector.nights.outlook import LOOK_BACK
from collector.nights.past import Past, past_of
from collector.result import PairResult
from collector.rules.flash_space import rooms
from collector.snapshot import Snapshot
from collector.store.store import Store, StoreError, SweepWriter
from inventory.opening import Fleet

_T = TypeVar("_T")
# A server that is gone may take a minute to say so: the pairs are not kept waiting for it again and again.
_FAILURES = 2


class StoreMemory:
    """Gives a sweep each pair's past and keeps what it finds; a store that fails on the way costs no verdict."""

    def __init__(self, store: Store, writer: SweepWriter, fleet: Fleet, *, problem: StoreError | None = None) -> None:
        """`problem` is what went wrong before, and is told with the rest."""
        self._store = store
        self._writer = writer
        self._policy = fleet.policy
        self._targets = {pair.name: pair.target_release for pair in fleet.pairs}
        self._failures = 0
        self._problem = problem
        self._lost: list[str] = []

    def past(self, snapshot: Snapshot) -> Past:
        """What the store knows of the pair's nights before this one; nothing where it can't be asked."""
        before = moments.night(snapshot) - timedelta(days=1)
        since = before - timedelta(days=LOOK_BACK - 1)
        return self._unless_failing(lambda: past(self._store, snapshot.pair.name, since, before)) or Past()

    def keep(self, snapshot: Snapshot, result: PairResult, *, in_time: bool) -> None:
        """Store a judged pair, or remember that it couldn't be stored."""
        planned = result.target_release == self._targets.get(result.pair.name)
        found = rooms(snapshot, self._policy)

        def store() -> bool:
            self._writer.keep(snapshot, result, rooms=found, planned=planned, in_time=in_time)
            # What can be read may still not take anything in: only this shows that it is well again.
            self._failures = 0
            return True

        if not self._unless_failing(store):
            self._lost.append(result.pair.name)

    def finish(self, moment: datetime) -> None:
        """Note that the sweep came to its end."""
        self._unless_failing(lambda: self._writer.finish(moment))

    def announce(self, moment: datetime) -> None:
        """Note that somebody was told of the sweep."""
        self._unless_failing(lambda: self._writer.announce(moment))

    def prune(self, before: date) -> None:
        """Take away what retention says."""
        self._unless_failing(lambda: self._store.prune(before))

    @property
    def problem(self) -> str | None:
        """What went wrong, in a sentence; None where all went well."""
        if self._problem is None:
            return None
        return f"{self._problem}; {_not_stored(self._lost)}" if self._lost else str(self._problem)

    def _unless_failing(self, work: Callable[[], _T]) -> _T | None:
        if self._failures >= _FAILURES:
            return None
        try:
            return work()
        except StoreError as error:
            self._failures += 1
            self._problem = self._problem or error
            return None


def past(store: Store, pair: str, since: date, until: date) -> Past:
    """The flash of the pair's members on those nights, both included, as a snapshot carries it to the rules."""
    return past_of(store.nights(pair, since=since, until=until))


def _not_stored(lost: list[str]) -> str:
    if len(lost) == 1:
        return f"{lost[0]} was not stored"
    shown = ", ".join(lost[:5]) + (" and others" if len(lost) > 5 else "")
    return f"{len(lost)} pairs were not stored: {shown}"
