"""Keeps a watch in a store, so that it can be taken up again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from collector.snapshot import Snapshot
from collector.store.store import Store, StoredWatch, StoreError, TakenOver, WatchWriter
from collector.watching.following import replay
from collector.watching.sighting import Happening, Sighting, WatchState, restored_state
from collector.watching.watch import Outcome

FRESH = timedelta(hours=24)
"""A watch whose last poll is older is left, not taken up: it was another night's window."""

LEFT = "left"
"""The outcome of a watch that nobody took up again."""


class StoreKeeper:
    """Keeps each poll before it is shown. While the store fails, polls wait in memory, and `problem` says why."""

    def __init__(self, writer: WatchWriter) -> None:
        self._writer = writer
        self._waiting: list[tuple[Sighting, Sequence[Happening], Snapshot]] = []
        self.problem: StoreError | None = None

    def keep(self, sighting: Sighting, happenings: Sequence[Happening], snapshot: Snapshot) -> None:
        """Store the poll, and those that wait, in their order; TakenOver where somebody else goes on with the watch."""
        self._waiting.append((sighting, happenings, snapshot))
        self._store()

    def finish(self, moment: datetime, outcome: Outcome, durations: Mapping[str, float]) -> None:
        """Note the end; StoreError where the store doesn't take it, or still lacks polls.

        A watch that ended for want of time or by a signal stays open: it can be taken up.
        """
        if self._waiting:
            self._store()
        if self.problem is not None:
            raise self.problem
        if outcome in (Outcome.DONE, Outcome.ROLLED_BACK):
            self._writer.finish(moment, outcome.value, durations)

    def _store(self) -> None:
        try:
            while self._waiting:
                self._writer.keep(*self._waiting[0])
                self._waiting.pop(0)
            self.problem = None
        except TakenOver:
            raise
        except StoreError as error:
            self.problem = error


def left_open(
    store: Store, pair: str, target: str, inventory: str, now: datetime
) -> tuple[StoredWatch | None, tuple[StoredWatch, ...]]:
    """The watch of this pair, target and inventory to take up, and others of them that are open.

    That is the newest one, where its last poll isn't older than 24 hours.
    """
    same = [
        watch
        for watch in store.watches(pair)
        if watch.ended is None and (watch.start.target, watch.start.inventory) == (target, inventory)
    ]
    fresh = [watch for watch in same if now - (watch.latest or watch.start.started) <= FRESH]
    found = fresh[0] if fresh else None
    return found, tuple(watch for watch in same if watch is not found)


def taken_up(store: Store, watch: StoredWatch) -> tuple[WatchState, tuple[Happening, ...]]:
    """The state that a stored watch was left in, and its log: its sightings, folded again."""
    return replay(restored_state(watch.start.opening), store.sightings(watch.id))
