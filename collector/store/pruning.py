"""Takes away what retention says: old reports, polls and captures, and the texts that nobody refers to any more."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date

from sqlalchemy import ColumnElement, Connection, Engine, and_, delete, exists, func, or_, select, update

from collector.nights.night import Source
from collector.store.contents import in_parts
from collector.store.schema import CAPTURES, CONTENTS, JUDGEMENTS, POLL_CAPTURES, POLLS, SWEEPS, WATCHES
from collector.store.store import Pruned
from collector.store.writing import transact

# Judgements a transaction: a collector that wants to store a pair meanwhile waits for no more than these.
_AT_ONCE = 50


def prune(engine: Engine, before: date) -> Pruned:
    """Take away the reports and captures of what was asked and judged before that night, and polls from before it.

    Each transaction leaves nothing half done: a report goes with its captures and with the texts that only it cited.
    """
    total = Pruned(0, 0, 0)
    for work in (_part, _polls):
        while part := transact(engine, lambda connection, work=work: work(connection, before), pruning=True):  # type: ignore[misc]
            total = Pruned(total.reports + part.reports, total.captures + part.captures, total.bytes + part.bytes)
    return total


def _part(connection: Connection, before: date) -> Pruned | None:
    """Some judgements' reports and captures; None where there are none left."""
    old = (
        select(JUDGEMENTS.c.id)
        .where(JUDGEMENTS.c.retained < before, JUDGEMENTS.c.report.is_not(None), ~_awaited(before))
        .order_by(JUDGEMENTS.c.retained, JUDGEMENTS.c.id)
        .limit(_AT_ONCE)
    )
    judgements = tuple(connection.execute(old).scalars())
    if not judgements:
        return None
    cited = _cited(connection, judgements)
    captures = connection.execute(delete(CAPTURES).where(CAPTURES.c.judgement.in_(judgements))).rowcount
    connection.execute(update(JUDGEMENTS).where(JUDGEMENTS.c.id.in_(judgements)).values(report=None))
    return Pruned(len(judgements), captures, _forget(connection, cited))


def _polls(connection: Connection, before: date) -> Pruned | None:
    """What some polls of watches saw; None where there are none left. The log stays."""
    old = (
        select(POLLS.c.watch, POLLS.c.number, POLLS.c.sighting)
        .where(POLLS.c.night < before, POLLS.c.sighting.is_not(None))
        .order_by(POLLS.c.night, POLLS.c.watch, POLLS.c.number)
        .limit(_AT_ONCE)
    )
    polls = connection.execute(old).all()
    if not polls:
        return None
    captures, cited = 0, {poll.sighting for poll in polls}
    for poll in polls:
        own = (POLL_CAPTURES.c.watch == poll.watch) & (POLL_CAPTURES.c.number == poll.number)
        texts = select(POLL_CAPTURES.c.content).where(own, POLL_CAPTURES.c.content.is_not(None))
        cited |= set(connection.execute(texts.distinct()).scalars())
        captures += connection.execute(delete(POLL_CAPTURES).where(own)).rowcount
        this = (POLLS.c.watch == poll.watch) & (POLLS.c.number == poll.number)
        connection.execute(update(POLLS).where(this).values(sighting=None))
    return Pruned(0, captures, _forget(connection, cited))


def _awaited(before: date) -> ColumnElement[bool]:
    """Whether a judgement is its pair's latest baseline, and no comparison after it is to be taken away with it."""
    later, sweep, own = JUDGEMENTS.alias(), SWEEPS.alias(), SWEEPS.alias()
    baseline = exists().where(own.c.id == JUDGEMENTS.c.sweep, own.c.source == Source.BASELINE.value)
    superseded = exists().where(
        later.c.sweep == sweep.c.id,
        later.c.pair == JUDGEMENTS.c.pair,
        later.c.judged > JUDGEMENTS.c.judged,
        or_(
            sweep.c.source == Source.BASELINE.value,
            and_(sweep.c.source == Source.COMPARE.value, later.c.retained < before),
        ),
    )
    return and_(baseline, ~superseded)


def _cited(connection: Connection, judgements: Sequence[int]) -> set[int]:
    texts = select(CAPTURES.c.content).where(CAPTURES.c.judgement.in_(judgements), CAPTURES.c.content.is_not(None))
    reports = select(JUDGEMENTS.c.report).where(JUDGEMENTS.c.id.in_(judgements))
    return {*connection.execute(texts.distinct()).scalars(), *connection.execute(reports).scalars()}


def _forget(connection: Connection, cited: Collection[int]) -> int:
    """Delete those of the contents that nothing refers to; returns how many bytes they took."""
    taken = 0
    for part in in_parts(sorted(cited)):
        unused = CONTENTS.c.id.in_(part) & ~_referred_to()
        taken += connection.execute(select(func.sum(func.length(CONTENTS.c.packed))).where(unused)).scalar() or 0
        connection.execute(delete(CONTENTS).where(unused))
    return taken


def _referred_to() -> ColumnElement[bool]:
    return or_(
        exists().where(CAPTURES.c.content == CONTENTS.c.id),
        exists().where(POLL_CAPTURES.c.content == CONTENTS.c.id),
        exists().where(JUDGEMENTS.c.report == CONTENTS.c.id),
        exists().where(JUDGEMENTS.c.state == CONTENTS.c.id),
        exists().where(JUDGEMENTS.c.aps == CONTENTS.c.id),
        exists().where(POLLS.c.sighting == CONTENTS.c.id),
        exists().where(POLLS.c.happenings == CONTENTS.c.id),
        exists().where(WATCHES.c.opening == CONTENTS.c.id),
    )
