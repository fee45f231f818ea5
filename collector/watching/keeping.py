"""Keeps a watch in a store, so that it can be taken up again, and says how long its stages took."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from collector.snapshot import Snapshot
from collector.store.store import Store, StoredWatch, StoreError, TakenOver, WatchWriter
from collector.watching.following import replay
from collector.watching.sighting import Happening, Sighting, StageRun, WatchState, restored_state
from collector.watching.watch import Outcome

FRESH = timedelta(hours=24)
"""A watch whose last poll is older is left, not taken up: it was another night's window."""

LEFT = "left"
"""The outcome of a watch that nobody took up again."""

_UNCERTAIN = 0.5
"""A duration counts for plans where its bounds lie no further apart than this share of the longer one."""


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
    """The watch to take up, and those of the pair that are open and too old or of another question.

    Taken up is the newest one of the same pair, target and inventory whose last poll isn't older than 24 hours.
    """
    open_ones = [watch for watch in store.watches(pair) if watch.ended is None]
    same = [
        watch
        for watch in open_ones
        if (watch.start.target, watch.start.inventory) == (target, inventory)
        and now - (watch.latest or watch.start.started) <= FRESH
    ]
    found = same[0] if same else None
    return found, tuple(watch for watch in open_ones if watch is not found)


def taken_up(store: Store, watch: StoredWatch) -> tuple[WatchState, tuple[Happening, ...]]:
    """The state that a stored watch was left in, and its log: its sightings, folded again."""
    return replay(restored_state(watch.start.opening), store.sightings(watch.id))


def durations(state: WatchState) -> dict[str, float]:
    """How long the stages of a watch took, in seconds, where plans may count on it; `restart-aps` that of one round.

    Only what was seen from its begin to its end between narrow bounds counts, at their middle.
    """
    found: dict[str, float] = {}
    for run in state.runs:
        seconds = _seconds(run)
        if run.stage in ("before", "done", "rolled-back", "unclear") or seconds is None:
            continue
        if run.stage in found:
            # Seen twice, it was interrupted: neither is what the stage takes.
            found.pop(run.stage)
            continue
        found[run.stage] = seconds
    return found


def _seconds(run: StageRun) -> float | None:
    if run.aborted or run.skips or not run.longest or run.shortest is None:
        return None
    if run.longest - run.shortest > _UNCERTAIN * run.longest:
        return None
    middle = (run.shortest + run.longest) / 2
    if run.stage == "restart-aps":
        return middle / run.rounds if run.rounds else None
    return middle
