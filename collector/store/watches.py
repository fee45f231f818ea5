"""Watches of windows in the tables: each poll in one transaction, and how to take up one that was left."""

from __future__ import annotations

import json
import uuid
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, Row, delete, func, insert, select, update

from collector.capture import Capture, Ending
from collector.nights import moments
from collector.nights.night import night_of
from collector.snapshot import Snapshot
from collector.store import contents
from collector.store.schema import CONTENTS, POLL_CAPTURES, POLLS, STAGE_DURATIONS, WATCHES
from collector.store.store import StoredWatch, TakenOver, WatchStart
from collector.store.writing import capture_row, transact
from collector.watching.sighting import Happening, Sighting, plain, restored_happening, restored_sighting


class WatchWriter:
    """One watch in one store, as long as nobody else takes it up; made by `begin` and `take_up`."""

    def __init__(self, engine: Engine, watch: str, watcher: str) -> None:
        self._engine = engine
        self._watch = watch
        self._watcher = watcher

    @property
    def id(self) -> str:
        """The watch's own id."""
        return self._watch

    def keep(self, sighting: Sighting, happenings: Sequence[Happening], snapshot: Snapshot) -> None:
        """Store a poll with its captures in one transaction; one that is stored already is left."""
        seen = contents.of_json(plain(sighting))
        told = contents.of_json([plain(each) for each in happenings])
        captures = [capture_row(capture) for member in snapshot.members for capture in member.captures.values()]
        key = {"watch": self._watch, "number": sighting.number}

        def store(connection: Connection) -> None:
            self._claim(connection)
            here = (POLLS.c.watch == self._watch) & (POLLS.c.number == sighting.number)
            if connection.execute(select(POLLS.c.number).where(here)).first() is not None:
                return
            numbers = contents.add(connection, (seen, told, *(content for _, content in captures if content)))
            row = key | {
                "moment": sighting.moment,
                "night": night_of(moments.aware(sighting.moment)),
                "sighting": numbers[seen.digest],
                "happenings": numbers[told.digest],
            }
            connection.execute(insert(POLLS), row)
            rows = [
                key | capture | {"content": numbers[content.digest] if content else None}
                for capture, content in captures
            ]
            if rows:
                connection.execute(insert(POLL_CAPTURES), rows)

        transact(self._engine, store)

    def finish(self, moment: datetime, outcome: str, durations: Mapping[str, float]) -> None:
        """Note how the watch ended, and how many seconds each stage took where its figures may count."""

        def note(connection: Connection) -> None:
            self._claim(connection)
            ended = {"ended": moment, "outcome": outcome}
            connection.execute(update(WATCHES).where(WATCHES.c.id == self._watch).values(ended))
            connection.execute(delete(STAGE_DURATIONS).where(STAGE_DURATIONS.c.watch == self._watch))
            rows = [{"watch": self._watch, "stage": stage, "seconds": each} for stage, each in durations.items()]
            if rows:
                connection.execute(insert(STAGE_DURATIONS), rows)

        transact(self._engine, note)

    def _claim(self, connection: Connection) -> None:
        """See that nobody else has taken it up, and keep them from it until the transaction ends."""
        own = select(WATCHES.c.watcher).where(WATCHES.c.id == self._watch).with_for_update()
        if connection.execute(own).scalar() != self._watcher:
            raise TakenOver("another readypair has taken up this watch; this one ends, and that one goes on")


def begin(engine: Engine, start: WatchStart) -> WatchWriter:
    """Note that a watch begins."""
    watch, watcher = uuid.uuid4().hex, uuid.uuid4().hex
    opening = contents.of_json(start.opening)
    row = {
        "id": watch,
        "pair": start.pair,
        "target": start.target,
        "inventory": start.inventory,
        "collector": start.collector,
        "watcher": watcher,
        "started": start.started,
    }

    def note(connection: Connection) -> None:
        if connection.execute(select(WATCHES.c.id).where(WATCHES.c.id == watch)).first() is None:
            number = contents.add(connection, [opening])[opening.digest]
            connection.execute(insert(WATCHES), row | {"opening": number})

    transact(engine, note)
    return WatchWriter(engine, watch, watcher)


def take_up(engine: Engine, watch: str) -> WatchWriter:
    """Go on with a watch that was left; whoever else is at it can store nothing more in it."""
    watcher = uuid.uuid4().hex
    statement = update(WATCHES).where(WATCHES.c.id == watch).values(watcher=watcher, ended=None, outcome=None)
    transact(engine, lambda connection: connection.execute(statement))
    return WatchWriter(engine, watch, watcher)


def watches(connection: Connection, pair: str | None) -> tuple[StoredWatch, ...]:
    """The watches, the newest first."""
    counted = (
        select(POLLS.c.watch, func.count().label("polls"), func.max(POLLS.c.moment).label("latest"))
        .group_by(POLLS.c.watch)
        .subquery()
    )
    statement = (
        select(WATCHES, CONTENTS.c.digest, CONTENTS.c.size, CONTENTS.c.packed, counted.c.polls, counted.c.latest)
        .join(CONTENTS, CONTENTS.c.id == WATCHES.c.opening)
        .join(counted, counted.c.watch == WATCHES.c.id, isouter=True)
        .order_by(WATCHES.c.started.desc(), WATCHES.c.id)
    )
    if pair is not None:
        statement = statement.where(WATCHES.c.pair == pair)
    return tuple(_watch(row) for row in connection.execute(statement))


def sightings(connection: Connection, watch: str) -> Iterator[Sighting]:
    """The watch's sightings in their order, as long as they are kept."""
    for number in connection.execute(_polls(POLLS.c.sighting, watch)).scalars().all():
        if number is not None:
            yield restored_sighting(json.loads(contents.load(connection, number)))


def happenings(connection: Connection, watch: str) -> tuple[Happening, ...]:
    """The watch's log."""
    numbers = connection.execute(_polls(POLLS.c.happenings, watch)).scalars().all()
    return tuple(
        restored_happening(each) for number in numbers for each in json.loads(contents.load(connection, number))
    )


def captures(connection: Connection, watch: str, number: int) -> dict[str, list[Capture]]:
    """A poll's captures by member, as long as they are kept."""
    statement = (
        select(POLL_CAPTURES, CONTENTS.c.digest, CONTENTS.c.size, CONTENTS.c.packed)
        .join(CONTENTS, CONTENTS.c.id == POLL_CAPTURES.c.content, isouter=True)
        .where(POLL_CAPTURES.c.watch == watch, POLL_CAPTURES.c.number == number)
        .order_by(POLL_CAPTURES.c.member, POLL_CAPTURES.c.command)
    )
    found: dict[str, list[Capture]] = defaultdict(list)
    for row in connection.execute(statement):
        data = contents.unpacked(row.digest, row.size, row.packed) if row.content is not None else b""
        text = data.decode("utf-8", "surrogateescape")
        found[row.member].append(
            Capture(row.member, row.command, text, Ending(row.ending), row.reason, row.started, row.seconds)
        )
    return dict(found)


def stage_durations(connection: Connection) -> dict[str, tuple[float, ...]]:
    """How long the stages of all watches took that saw their pair done, in seconds, the oldest first."""
    statement = (
        select(STAGE_DURATIONS.c.stage, STAGE_DURATIONS.c.seconds)
        .join(WATCHES, WATCHES.c.id == STAGE_DURATIONS.c.watch)
        .order_by(WATCHES.c.started, WATCHES.c.id)
    )
    found: dict[str, tuple[float, ...]] = {}
    for row in connection.execute(statement):
        found[row.stage] = (*found.get(row.stage, ()), row.seconds)
    return found


def _polls(column: Any, watch: str) -> Any:
    return select(column).where(POLLS.c.watch == watch).order_by(POLLS.c.number)


def _watch(row: Row[Any]) -> StoredWatch:
    opening = json.loads(contents.unpacked(row.digest, row.size, row.packed))
    start = WatchStart(row.pair, row.target, row.inventory, row.collector, row.started, opening)
    return StoredWatch(row.id, start, row.ended, row.outcome, row.polls or 0, row.latest)
