"""Reads nights, sweeps and captures out of the tables."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Select, case, exists, func, or_, select

from collector.capture import Capture, Ending
from collector.finding import Verdict
from collector.nights import state
from collector.nights.night import Night, PairState, Room, Source
from collector.nights.swept import Swept, SweptFleet
from collector.store import contents
from collector.store.schema import CAPTURES, CONTENTS, JUDGEMENTS, ROOMS, SWEEPS
from collector.store.store import Start, StoredBaseline, StoredJudgement, StoredSweep

# The judgements that make nights, and those sweeps whose order of asking matters to the next one.
_PLANNED = JUDGEMENTS.c.planned
_NIGHTLY = (Source.SWEEP.value, Source.DEMO.value)
# What was recorded or simulated: it says what a pair was like some time, not what it is like tonight.
_PLAYED = (Source.REPLAY.value, Source.DEMO.value)
_OTHERS = SWEEPS.alias()
# The demo plays pairs and nights of its own. In a store that anybody else writes to it would pass for the site's.
_COUNTS = or_(SWEEPS.c.source != Source.DEMO.value, ~exists().where(_OTHERS.c.source != Source.DEMO.value))
# The sweeps that a fleet's story goes by: what is played makes one only where nobody sweeps.
_TELLING = or_(
    SWEEPS.c.source == Source.SWEEP.value,
    SWEEPS.c.source.in_(_PLAYED) & ~exists().where(_OTHERS.c.source == Source.SWEEP.value),
)


def pairs(connection: Connection) -> tuple[str, ...]:
    """The names of all pairs, sorted as Python sorts them, whatever the database's own order."""
    counting = select(SWEEPS.c.id).where(_COUNTS)
    named = select(JUDGEMENTS.c.pair).where(JUDGEMENTS.c.sweep.in_(counting)).distinct()
    return tuple(sorted(connection.execute(named).scalars()))


def nights(connection: Connection, pair: str, since: date | None, until: date | None) -> tuple[Night, ...]:
    """The pair's nights, oldest first: of each its last word."""
    where = [_PLANNED, JUDGEMENTS.c.pair == pair, *_between(since, until)]
    rows = connection.execute(_last_words(where)).all()
    rooms = _rooms(connection, where) if rows else {}
    return tuple(_night(row, rooms.get(row.id, ())) for row in rows)


def swept(connection: Connection, pair: str | None = None) -> Swept:
    """The nights of the fleets, and which of them each pair was ever swept with, or only this one."""
    fleet = (SWEEPS.c.collector, SWEEPS.c.inventory)
    joined = JUDGEMENTS.join(SWEEPS, SWEEPS.c.id == JUDGEMENTS.c.sweep)
    where = (_PLANNED, _COUNTS, _TELLING)
    of_fleets = select(*fleet, JUDGEMENTS.c.night).select_from(joined).where(*where, SWEEPS.c.whole).distinct()
    nights: dict[SweptFleet, list[date]] = defaultdict(list)
    for row in connection.execute(of_fleets.order_by(JUDGEMENTS.c.night)):
        nights[row.collector, row.inventory].append(row.night)
    of_pairs = select(*fleet, JUDGEMENTS.c.pair).select_from(joined).where(*where).distinct()
    if pair is not None:
        of_pairs = of_pairs.where(JUDGEMENTS.c.pair == pair)
    fleets: dict[str, set[SweptFleet]] = defaultdict(set)
    for row in connection.execute(of_pairs):
        fleets[row.pair].add((row.collector, row.inventory))
    return Swept(
        {each: tuple(found) for each, found in nights.items()},
        {name: frozenset(found) for name, found in fleets.items()},
    )


def pair_state(connection: Connection, number: int) -> PairState:
    """The state of this number."""
    return state.restored(json.loads(contents.load(connection, number)))


def ap_set(connection: Connection, number: int) -> tuple[str, ...]:
    """The names of access points of this number."""
    return tuple(json.loads(contents.load(connection, number)))


def announced(connection: Connection) -> dict[str, int]:
    """The number of each pair's state in the last sweep that somebody was told of: that of the latest night.

    Where there are sweeps, what was told of a replay or a demo is no news of the pairs.
    """
    latest = (JUDGEMENTS.c.night.desc(), JUDGEMENTS.c.id.desc())
    place = func.row_number().over(partition_by=JUDGEMENTS.c.pair, order_by=latest)
    live = SWEEPS.c.source.not_in(_PLAYED)
    told = (
        select(JUDGEMENTS.c.pair, JUDGEMENTS.c.state, place.label("place"))
        .join(SWEEPS, SWEEPS.c.id == JUDGEMENTS.c.sweep)
        .where(SWEEPS.c.announced.is_not(None), _PLANNED, JUDGEMENTS.c.in_time, _COUNTS, or_(live, _TELLING))
        .subquery()
    )
    rows = connection.execute(select(told.c.pair, told.c.state).where(told.c.place == 1))
    return {row.pair: row.state for row in rows}


def report(connection: Connection, judgement: int) -> Mapping[str, Any] | None:
    """The judgement's pair as in report.json, as long as it is kept."""
    number = connection.execute(select(JUDGEMENTS.c.report).where(JUDGEMENTS.c.id == judgement)).scalar()
    if number is None:
        return None
    try:
        found: Mapping[str, Any] = json.loads(contents.load(connection, number))
    except KeyError:
        # It was taken away between the two questions.
        return None
    return found


def captures(connection: Connection, judgement: int) -> dict[str, list[Capture]]:
    """The judgement's captures by member, as long as they are kept."""
    statement = (
        select(CAPTURES, CONTENTS.c.digest, CONTENTS.c.size, CONTENTS.c.packed)
        .join(CONTENTS, CONTENTS.c.id == CAPTURES.c.content, isouter=True)
        .where(CAPTURES.c.judgement == judgement)
        .order_by(CAPTURES.c.member, CAPTURES.c.command)
    )
    found: dict[str, list[Capture]] = defaultdict(list)
    for row in connection.execute(statement):
        data = contents.unpacked(row.digest, row.size, row.packed) if row.content is not None else b""
        text = data.decode("utf-8", "surrogateescape")
        found[row.member].append(
            Capture(row.member, row.command, text, Ending(row.ending), row.reason, row.started, row.seconds)
        )
    return dict(found)


def baselines(connection: Connection, pair: str) -> tuple[StoredBaseline, ...]:
    """The pair's baselines whose captures are still there, the newest first."""
    statement = (
        select(JUDGEMENTS.c.id, JUDGEMENTS.c.asked, JUDGEMENTS.c.judged)
        .join(SWEEPS, SWEEPS.c.id == JUDGEMENTS.c.sweep)
        .where(
            SWEEPS.c.source == Source.BASELINE.value,
            JUDGEMENTS.c.pair == pair,
            JUDGEMENTS.c.in_time,
            JUDGEMENTS.c.report.is_not(None),
        )
        .order_by(func.coalesce(JUDGEMENTS.c.asked, JUDGEMENTS.c.judged).desc(), JUDGEMENTS.c.id.desc())
    )
    return tuple(StoredBaseline(row.id, row.asked, row.judged) for row in connection.execute(statement))


def judgements(connection: Connection, pair: str) -> tuple[StoredJudgement, ...]:
    """The pair's judgements by whichever command, in the order in which it was asked."""
    statement = (
        select(JUDGEMENTS, SWEEPS.c.source)
        .join(SWEEPS, SWEEPS.c.id == JUDGEMENTS.c.sweep)
        .where(JUDGEMENTS.c.pair == pair)
        .order_by(func.coalesce(JUDGEMENTS.c.asked, JUDGEMENTS.c.judged), JUDGEMENTS.c.id)
    )
    return tuple(
        StoredJudgement(
            number=row.id,
            source=Source(row.source),
            night=row.night,
            asked=row.asked,
            judged=row.judged,
            verdict=Verdict(row.verdict),
            target_release=row.target_release,
            planned=row.planned,
            in_time=row.in_time,
            kept=row.report is not None,
        )
        for row in connection.execute(statement)
    )


def missed(connection: Connection, inventory: str, collector: str) -> tuple[str, ...]:
    """The pairs of a collector's inventory that its last whole sweep left, and no sweep of it has reached since."""
    own = (SWEEPS.c.inventory == inventory, SWEEPS.c.collector == collector)
    nightly = (*own, SWEEPS.c.source.in_(_NIGHTLY), _COUNTS)
    last = connection.execute(
        select(SWEEPS.c.started).where(*nightly, SWEEPS.c.whole).order_by(SWEEPS.c.started.desc()).limit(1)
    ).scalar()
    if last is None:
        return ()
    # One that was killed stored nothing of what it didn't reach: the sweeps before it tell which pairs there are.
    known = _judged(connection, *nightly, SWEEPS.c.whole)
    reached = _judged(connection, *nightly, SWEEPS.c.started >= last, JUDGEMENTS.c.in_time)
    return tuple(sorted(known - reached))


def sweeps(connection: Connection, last: int) -> tuple[StoredSweep, ...]:
    """The latest sweeps, the newest first."""
    stored = (
        select(func.count()).select_from(JUDGEMENTS).where(JUDGEMENTS.c.sweep == SWEEPS.c.id).scalar_subquery()
    ).label("pairs")
    newest = select(SWEEPS, stored).order_by(SWEEPS.c.started.desc(), SWEEPS.c.id.desc()).limit(last)
    return tuple(
        StoredSweep(
            row.id,
            Start(Source(row.source), row.collector, row.inventory, row.whole, row.started),
            row.finished,
            row.pairs,
        )
        for row in connection.execute(newest)
    )


def _between(since: date | None, until: date | None) -> Iterable[ColumnElement[bool]]:
    if since is not None:
        yield JUDGEMENTS.c.night >= since
    if until is not None:
        yield JUDGEMENTS.c.night <= until


def _last_words(where: Iterable[ColumnElement[bool]]) -> Select[Any]:
    """The judgements that nothing later of the same pair and night takes the place of.

    Who wasn't asked says nothing new, however late that was. What is played says nothing of a night that has a live
    answer, and an undated recording, which may be of any night, nothing of one that has a dated one.
    """
    recorded = SWEEPS.c.source.in_(_PLAYED)
    latest = (
        JUDGEMENTS.c.in_time.desc(),
        case((~recorded, 0), (JUDGEMENTS.c.asked.is_not(None), 1), else_=2),
        func.coalesce(JUDGEMENTS.c.asked, JUDGEMENTS.c.judged).desc(),
        JUDGEMENTS.c.judged.desc(),
        JUDGEMENTS.c.id.desc(),
    )
    place = func.row_number().over(partition_by=(JUDGEMENTS.c.pair, JUDGEMENTS.c.night), order_by=latest)
    ranked = (
        select(JUDGEMENTS, SWEEPS.c.source, place.label("place"))
        .join(SWEEPS, SWEEPS.c.id == JUDGEMENTS.c.sweep)
        .where(*where, _COUNTS)
        .subquery()
    )
    return select(ranked).where(ranked.c.place == 1).order_by(ranked.c.night)


def _rooms(connection: Connection, where: Iterable[ColumnElement[bool]]) -> dict[int, tuple[Room, ...]]:
    statement = (
        select(ROOMS).join(JUDGEMENTS, JUDGEMENTS.c.id == ROOMS.c.judgement).where(*where).order_by(ROOMS.c.member)
    )
    found: dict[int, tuple[Room, ...]] = defaultdict(tuple)
    for row in connection.execute(statement):
        found[row.judgement] += (Room(row.member, row.free, row.total, row.needed),)
    return found


def _night(row: Row[Any], rooms: tuple[Room, ...]) -> Night:
    return Night(
        id=row.id,
        pair=row.pair,
        site=row.site,
        night=row.night,
        source=Source(row.source),
        asked=row.asked,
        judged=row.judged,
        verdict=Verdict(row.verdict),
        target_release=row.target_release,
        in_time=row.in_time,
        state=row.state,
        aps=row.aps,
        rooms=rooms,
    )


def _judged(connection: Connection, *where: ColumnElement[bool]) -> set[str]:
    statement = select(JUDGEMENTS.c.pair).join(SWEEPS, SWEEPS.c.id == JUDGEMENTS.c.sweep).where(*where).distinct()
    return set(connection.execute(statement).scalars())
