"""Takes a sweep's pairs in, each in one transaction."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, func, insert, select, update
from sqlalchemy.exc import DBAPIError

from collector.capture import Capture, Ending
from collector.nights import moments, state
from collector.nights.night import Room, night_of
from collector.report import document
from collector.result import PairResult
from collector.snapshot import Snapshot
from collector.store import contents
from collector.store.contents import Content
from collector.store.schema import CAPTURES, JUDGEMENTS, ROOMS, SWEEPS
from collector.store.store import Start
from collector.store.telling import told

_T = TypeVar("_T")
# Any number but the one in `opening`: who stores shares this lock, who prunes has it alone.
_PRUNING = 0x72656164_70727565
# What PostgreSQL calls a clash with another transaction, after which one tries again: https://www.postgresql.org/docs/
# current/mvcc-serialization-failure-handling.html
_CLASHES = {"40001", "40P01"}
_PAUSES = (0.2, 2.0)


class Writer:
    """One sweep in one store; made by `begin`."""

    def __init__(self, engine: Engine, sweep: str) -> None:
        self._engine = engine
        self._sweep = sweep

    @property
    def id(self) -> str:
        """The sweep's own id."""
        return self._sweep

    def keep(
        self,
        snapshot: Snapshot,
        result: PairResult,
        *,
        rooms: Sequence[Room] = (),
        planned: bool = True,
        in_time: bool = True,
    ) -> None:
        """Store a judged pair with its captures in one transaction; a pair that this sweep stored already is left."""
        kept = _Kept(self._sweep, snapshot, result, rooms, planned, in_time)
        transact(self._engine, kept.store)

    def finish(self, moment: datetime) -> None:
        """Note that the sweep came to its end."""
        self._note(finished=moment)

    def announce(self, moment: datetime) -> None:
        """Note that somebody was told of it."""
        self._note(announced=moment)

    def _note(self, **values: datetime) -> None:
        statement = update(SWEEPS).where(SWEEPS.c.id == self._sweep).values(values)
        transact(self._engine, lambda connection: connection.execute(statement))


def begin(engine: Engine, start: Start) -> Writer:
    """Note that a sweep begins."""
    sweep = uuid.uuid4().hex
    row = {
        "id": sweep,
        "source": start.source.value,
        "collector": start.collector,
        "inventory": start.inventory,
        "whole": start.whole,
        "started": start.started,
    }

    def note(connection: Connection) -> None:
        if connection.execute(select(SWEEPS.c.id).where(SWEEPS.c.id == sweep)).first() is None:
            connection.execute(insert(SWEEPS), row)

    transact(engine, note)
    return Writer(engine, sweep)


def transact(engine: Engine, work: Callable[[Connection], _T], *, pruning: bool = False) -> _T:
    """Do the work in one transaction that writes, once more where another one or a lost connection undid it.

    `engine` is one of `opening.writing`. The work must bear being done twice: its answer may have been lost.
    """
    pauses = iter(_PAUSES)
    with told(engine.url):
        while True:
            try:
                return _once(engine, work, pruning)
            except DBAPIError as error:
                pause = next(pauses, None)
                if pause is None or not _passing(error):
                    raise
            time.sleep(pause)


def _once(engine: Engine, work: Callable[[Connection], _T], pruning: bool) -> _T:
    with engine.begin() as connection:
        if connection.dialect.name == "postgresql":
            lock = func.pg_advisory_xact_lock if pruning else func.pg_advisory_xact_lock_shared
            connection.execute(select(lock(_PRUNING)))
        return work(connection)


def _passing(error: DBAPIError) -> bool:
    return error.connection_invalidated or getattr(error.orig, "sqlstate", None) in _CLASHES


class _Kept:
    """A judged pair on its way into the tables; all that takes time is done before the transaction begins."""

    def __init__(
        self,
        sweep: str,
        snapshot: Snapshot,
        result: PairResult,
        rooms: Sequence[Room],
        planned: bool,
        in_time: bool,
    ) -> None:
        self._state = contents.of_json(state.plain(state.pair_state(snapshot, result)))
        aps = state.ap_names(snapshot)
        self._aps = None if aps is None else contents.of_json(sorted(aps))
        self._report = contents.of_json(document.pair(result))
        self._captures = list(_captures(snapshot))
        self._rooms = rooms
        night = moments.night(snapshot)
        self._row: dict[str, Any] = {
            "sweep": sweep,
            "pair": result.pair.name,
            "site": result.pair.site,
            "night": night,
            "retained": max(night, night_of(moments.aware(snapshot.moment))),
            "asked": moments.asked(snapshot),
            "judged": snapshot.moment,
            "verdict": result.verdict.value,
            "target_release": result.target_release,
            "planned": planned,
            "in_time": in_time,
        }

    def store(self, connection: Connection) -> None:
        """Write the rows, unless this sweep has stored the pair already."""
        # Two that store the same pair of one sweep wait for each other here, and the second one finds it stored.
        connection.execute(select(SWEEPS.c.id).where(SWEEPS.c.id == self._row["sweep"]).with_for_update(key_share=True))
        stored = select(JUDGEMENTS.c.id).where(
            JUDGEMENTS.c.sweep == self._row["sweep"], JUDGEMENTS.c.pair == self._row["pair"]
        )
        if connection.execute(stored).first() is not None:
            return
        numbers = contents.add(connection, self._contents())
        row = self._row | {
            "state": numbers[self._state.digest],
            "aps": numbers[self._aps.digest] if self._aps else None,
            "report": numbers[self._report.digest],
        }
        judgement = connection.execute(insert(JUDGEMENTS).returning(JUDGEMENTS.c.id), row).scalar_one()
        captures = [
            capture | {"judgement": judgement, "content": numbers[content.digest] if content else None}
            for capture, content in self._captures
        ]
        rooms = [
            {"judgement": judgement, "member": r.member, "free": r.free, "total": r.total, "needed": r.needed}
            for r in self._rooms
        ]
        for table, rows in ((CAPTURES, captures), (ROOMS, rooms)):
            if rows:
                connection.execute(insert(table), rows)

    def _contents(self) -> Iterator[Content]:
        yield from (self._state, self._report)
        if self._aps:
            yield self._aps
        yield from (content for _, content in self._captures if content)


def _captures(snapshot: Snapshot) -> Iterator[tuple[dict[str, Any], Content | None]]:
    for member in snapshot.members:
        yield from map(capture_row, member.captures.values())


def capture_row(capture: Capture) -> tuple[dict[str, Any], Content | None]:
    """A capture as a row without its text's number, and its text; None where it has none."""
    row = {
        "member": capture.member,
        "command": capture.command,
        "started": capture.started and moments.aware(capture.started),
        "seconds": capture.seconds,
        "ending": capture.ending.value,
        "reason": capture.reason,
    }
    return row, None if capture.ending is Ending.MISSING else contents.of_text(capture.text)
