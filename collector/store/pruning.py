"""Takes away what retention says: reports and captures of old nights, and the texts that nobody refers to any more."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date

from sqlalchemy import ColumnElement, Connection, Engine, delete, exists, func, or_, select, update

from collector.store.contents import in_parts
from collector.store.schema import CAPTURES, CONTENTS, JUDGEMENTS
from collector.store.store import Pruned
from collector.store.writing import transact

# Judgements a transaction: a collector that wants to store a pair meanwhile waits for no more than these.
_AT_ONCE = 50


def prune(engine: Engine, before: date) -> Pruned:
    """Take away the reports and captures of what was asked and judged before that night.

    Each transaction leaves nothing half done: a report goes with its captures and with the texts that only it cited.
    """
    total = Pruned(0, 0, 0)
    while (part := transact(engine, lambda connection: _part(connection, before), pruning=True)).reports:
        total = Pruned(total.reports + part.reports, total.captures + part.captures, total.bytes + part.bytes)
    return total


def _part(connection: Connection, before: date) -> Pruned:
    old = (
        select(JUDGEMENTS.c.id)
        .where(JUDGEMENTS.c.retained < before, JUDGEMENTS.c.report.is_not(None))
        .order_by(JUDGEMENTS.c.retained, JUDGEMENTS.c.id)
        .limit(_AT_ONCE)
    )
    judgements = tuple(connection.execute(old).scalars())
    if not judgements:
        return Pruned(0, 0, 0)
    cited = _cited(connection, judgements)
    captures = connection.execute(delete(CAPTURES).where(CAPTURES.c.judgement.in_(judgements))).rowcount
    connection.execute(update(JUDGEMENTS).where(JUDGEMENTS.c.id.in_(judgements)).values(report=None))
    return Pruned(len(judgements), captures, _forget(connection, cited))


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
        exists().where(JUDGEMENTS.c.report == CONTENTS.c.id),
        exists().where(JUDGEMENTS.c.state == CONTENTS.c.id),
        exists().where(JUDGEMENTS.c.aps == CONTENTS.c.id),
    )
