"""The store itself: its questions and answers on one database."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from typing import Any, TypeVar

from sqlalchemy import Connection

from collector.capture import Capture
from collector.nights.night import Night, PairState
from collector.nights.swept import Swept
from collector.store import opening, pruning, reading, watches, writing
from collector.store.store import Pruned, Start, StoredBaseline, StoredJudgement, StoredSweep, StoredWatch, WatchStart
from collector.store.telling import told, understood
from collector.store.watches import WatchWriter
from collector.store.writing import Writer
from collector.watching.sighting import Happening, Sighting

_T = TypeVar("_T")


class Database:
    """A store in SQLite or PostgreSQL; see `store.Store` for what each method promises."""

    def __init__(self, given: str, *, existing: bool = False) -> None:
        self._url = opening.url_of(given)
        self._reading = opening.engine_of(self._url, existing=existing)
        self._writing = opening.writing(self._reading)

    def begin(self, start: Start) -> Writer:
        """Note that a sweep begins."""
        return writing.begin(self._writing, start)

    def pairs(self) -> tuple[str, ...]:
        """The names of all pairs."""
        return self._read(reading.pairs)

    def nights(self, pair: str, *, since: date | None = None, until: date | None = None) -> tuple[Night, ...]:
        """The pair's nights."""
        return self._read(lambda connection: reading.nights(connection, pair, since, until))

    def fleet(self, *, since: date | None = None, until: date | None = None) -> Iterator[tuple[str, tuple[Night, ...]]]:
        """Every pair with its nights."""
        for pair in self.pairs():
            yield pair, self.nights(pair, since=since, until=until)

    def fleet_nights(self, pair: str | None = None) -> tuple[date, ...]:
        """The nights on which some whole sweep was stored, of the pair's own fleets or of all."""
        found = self._read(lambda connection: reading.swept(connection, pair))
        return found.any() if pair is None else found.of(pair)

    def swept(self) -> Swept:
        """The nights of whole sweeps, fleet by fleet."""
        return self._read(reading.swept)

    def state(self, number: int) -> PairState:
        """The state of this number."""
        return self._read(lambda connection: reading.pair_state(connection, number))

    def ap_set(self, number: int) -> tuple[str, ...]:
        """The names of access points of this number."""
        return self._read(lambda connection: reading.ap_set(connection, number))

    def announced(self) -> Mapping[str, int]:
        """The states that somebody was last told of."""
        return self._read(reading.announced)

    def report(self, judgement: int) -> Mapping[str, Any] | None:
        """The judgement's pair as in report.json."""
        return self._read(lambda connection: reading.report(connection, judgement))

    def captures(self, judgement: int) -> dict[str, list[Capture]]:
        """The judgement's captures by member."""
        return self._read(lambda connection: reading.captures(connection, judgement))

    def baselines(self, pair: str) -> tuple[StoredBaseline, ...]:
        """The pair's baselines."""
        return self._read(lambda connection: reading.baselines(connection, pair))

    def judgements(self, pair: str) -> tuple[StoredJudgement, ...]:
        """The pair's judgements."""
        return self._read(lambda connection: reading.judgements(connection, pair))

    def missed(self, inventory: str, collector: str) -> tuple[str, ...]:
        """The pairs that are first in line."""
        return self._read(lambda connection: reading.missed(connection, inventory, collector))

    def sweeps(self, *, last: int) -> tuple[StoredSweep, ...]:
        """The latest sweeps."""
        return self._read(lambda connection: reading.sweeps(connection, last))

    def begin_watch(self, start: WatchStart) -> WatchWriter:
        """Note that a watch begins."""
        return watches.begin(self._writing, start)

    def take_up(self, watch: str) -> WatchWriter:
        """Go on with a watch."""
        return watches.take_up(self._writing, watch)

    def watches(self, pair: str | None = None) -> tuple[StoredWatch, ...]:
        """The watches, the newest first."""
        return self._read(lambda connection: watches.watches(connection, pair))

    def sightings(self, watch: str) -> tuple[Sighting, ...]:
        """What the watch's polls saw."""
        return self._read(lambda connection: tuple(watches.sightings(connection, watch)))

    def happenings(self, watch: str) -> tuple[Happening, ...]:
        """The watch's log."""
        return self._read(lambda connection: watches.happenings(connection, watch))

    def poll_captures(self, watch: str, number: int) -> dict[str, list[Capture]]:
        """The poll's captures by member."""
        return self._read(lambda connection: watches.captures(connection, watch, number))

    def stage_durations(self) -> Mapping[str, tuple[float, ...]]:
        """How long stages took, by their ids."""
        return self._read(watches.stage_durations)

    def prune(self, before: date) -> Pruned:
        """Take away what is older."""
        return pruning.prune(self._writing, before)

    def close(self) -> None:
        """Let go of the database."""
        self._reading.dispose()

    def _read(self, question: Callable[[Connection], _T]) -> _T:
        with told(self._url), self._reading.connect() as connection, understood(self._url):
            return question(connection)


@contextmanager
def opened(given: str, *, existing: bool = False) -> Iterator[Database]:
    """The store at this URL or path, let go of at the end."""
    database = Database(given, existing=existing)
    try:
        yield database
    finally:
        database.close()
