"""Keeps a watch in a store, so that it can be taken up again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from collector.judging import snapshot_of
from collector.snapshot import Snapshot
from collector.store.store import Store, StoredWatch, StoreError, TakenOver, WatchStart, WatchWriter
from collector.watching.following import replay
from collector.watching.recognising import baseline_of
from collector.watching.sighting import Baseline, Happening, Sighting, WatchState, plain, restored_state
from collector.watching.watch import Outcome
from inventory.pairs import Pair

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


def stored_baseline(store: Store, pair: Pair, now: datetime) -> Baseline | None:
    """What `readypair baseline` took of the pair last, if it is of the last 24 hours; None where there is none."""
    taken = next(iter(store.baselines(pair.name)), None)
    if taken is None:
        return None
    moment = taken.asked or taken.judged
    if not timedelta(0) <= now - moment <= FRESH:
        return None
    return baseline_of(snapshot_of(pair, store.captures(taken.judgement), moment))


@dataclass(frozen=True)
class Begun:
    """A watch that goes on from here: where it is kept, its state, and the log so far."""

    writer: WatchWriter
    state: WatchState
    log: tuple[Happening, ...] = ()


def begun(store: Store, state: WatchState, inventory: str, collector: str, now: datetime) -> Begun:
    """A new watch, which begins from this state."""
    start = WatchStart(state.pair, state.target, inventory, collector, now, plain(state))
    return Begun(store.begin_watch(start), state)


def taken_up(store: Store, watch: StoredWatch) -> Begun | None:
    """A watch that was left, as it was left: its sightings, folded again; None where they aren't all kept."""
    sightings = store.sightings(watch.id)
    if len(sightings) != watch.polls:
        return None
    state, log = replay(restored_state(watch.start.opening), sightings)
    return Begun(store.take_up(watch.id), state, log)


def leave(store: Store, watches: Sequence[StoredWatch], now: datetime) -> None:
    """Note of open watches that nobody takes them up again."""
    for watch in watches:
        store.take_up(watch.id).finish(now, LEFT, {})
