"""The store's tables. Their history stands in `migrations/`: a change here needs a step there.

What moves by itself (free flash, times, the report) stands apart from what stays (`states`, sets of access points), so
that a year of quiet nights costs little. Verdicts, states and figures are kept for good; reports and captures go
together, when `--keep-days` says so.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    text,
)

# The last step in `migrations/versions`: what a store must be at before it is used.
REVISION = "0003"
REVISION_TABLE = "readypair_revision"

# SQLite numbers rows by itself only where the type is exactly INTEGER.
_Number = BigInteger().with_variant(Integer, "sqlite")


class Moment(TypeDecorator[datetime]):
    """A time that knows its offset, kept in UTC: SQLite would forget the offset."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """In UTC; SQLite gets it without the offset."""
        if value is None:
            return None
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """With its offset again."""
        if value is None:
            return None
        _check_age(value)
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Day(TypeDecorator[date]):
    """A night's date."""

    impl = Date
    cache_ok = True

    def process_result_value(self, value: date | None, dialect: Dialect) -> date | None:
        """ValueError where no readypair can have written it."""
        if value is not None:
            _check_age(value)
        return value


def _check_age(value: date) -> None:
    # Days are added to it and taken off: that must not lead out of the calendar. However wrong, clocks have such years.
    if not 1900 <= value.year < 9000:
        raise ValueError(f"the year {value.year} is no clock's")


class Words(TypeDecorator[str]):
    """Text that any server takes: PostgreSQL has no NUL, and nobody has half a surrogate pair."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """With a mark in place of what can't be stored."""
        if value is None:
            return None
        return value.replace("\0", "\ufffd").encode("utf-8", "replace").decode("utf-8")

    def process_result_value(self, value: str | None, dialect: Dialect) -> str | None:
        """TypeError where it is bytes, which SQLite keeps in any column."""
        if value is not None and not isinstance(value, str):
            raise TypeError("bytes are no text")
        return value


METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

CONTENTS = Table(
    "contents",
    METADATA,
    Column("id", _Number, primary_key=True),
    # SHA-256 of the text before it was compressed.
    Column("digest", LargeBinary(32), nullable=False, unique=True),
    Column("size", BigInteger, nullable=False),
    Column("packed", LargeBinary, nullable=False),
)

SWEEPS = Table(
    "sweeps",
    METADATA,
    Column("id", String(32), primary_key=True),
    Column("source", String(16), nullable=False),
    Column("collector", Words, nullable=False),
    Column("inventory", Words, nullable=False),
    # Whether it asked every pair of its inventory; one that was narrowed makes no night of the others.
    Column("whole", Boolean, nullable=False),
    Column("started", Moment, nullable=False),
    # Null where it was killed, or is still going on.
    Column("finished", Moment),
    # When somebody was told of what it found new, or there was nothing new to tell; null where nobody was told.
    Column("announced", Moment),
)

JUDGEMENTS = Table(
    "judgements",
    METADATA,
    Column("id", _Number, primary_key=True),
    Column("sweep", String(32), ForeignKey("sweeps.id"), nullable=False),
    Column("pair", Words, nullable=False),
    Column("site", Words, nullable=False),
    Column("night", Day, nullable=False),
    # The night of the asking or of the judging, whichever is later: what retention counts by.
    Column("retained", Day, nullable=False),
    Column("asked", Moment),
    Column("judged", Moment, nullable=False),
    Column("verdict", String(16), nullable=False),
    Column("target_release", Words, nullable=False),
    # Whether it was judged for the inventory's own target: `--target` asks a question, it makes no night.
    Column("planned", Boolean, nullable=False),
    Column("in_time", Boolean, nullable=False),
    Column("state", _Number, ForeignKey("contents.id"), nullable=False),
    Column("aps", _Number, ForeignKey("contents.id")),
    # The pair as in report.json; null once its captures went.
    Column("report", _Number, ForeignKey("contents.id")),
    UniqueConstraint("sweep", "pair"),
    Index("ix_judgements_pair_night", "pair", "night"),
    Index("ix_judgements_night", "night"),
    # Retention looks for what it can still take away, not through all years.
    Index(
        "ix_judgements_retained",
        "retained",
        sqlite_where=text("report IS NOT NULL"),
        postgresql_where=text("report IS NOT NULL"),
    ),
    # Who removes a content must see at once that nobody refers to it.
    Index("ix_judgements_state", "state"),
    Index("ix_judgements_aps", "aps"),
    Index("ix_judgements_report", "report"),
)

ROOMS = Table(
    "rooms",
    METADATA,
    Column("judgement", _Number, ForeignKey("judgements.id"), primary_key=True),
    Column("member", Words, primary_key=True),
    Column("free", BigInteger),
    Column("total", BigInteger),
    Column("needed", BigInteger),
    sqlite_with_rowid=False,
)

CAPTURES = Table(
    "captures",
    METADATA,
    Column("judgement", _Number, ForeignKey("judgements.id"), primary_key=True),
    Column("member", Words, primary_key=True),
    Column("command", Words, primary_key=True),
    Column("content", _Number, ForeignKey("contents.id"), index=True),
    Column("started", Moment),
    Column("seconds", Float),
    Column("ending", String(16), nullable=False),
    Column("reason", Words, nullable=False),
    sqlite_with_rowid=False,
)

WATCHES = Table(
    "watches",
    METADATA,
    Column("id", String(32), primary_key=True),
    Column("pair", Words, nullable=False, index=True),
    Column("target", Words, nullable=False),
    Column("inventory", Words, nullable=False),
    Column("collector", Words, nullable=False),
    # Who goes on with it: whoever took it up last. Another one's poll is refused.
    Column("watcher", String(32), nullable=False),
    Column("started", Moment, nullable=False),
    # Null while it goes on, and where it was killed: such a one can be taken up again.
    Column("ended", Moment),
    Column("outcome", String(16)),
    # What it began from, as JSON: the plan's course and the baseline.
    Column("opening", _Number, ForeignKey("contents.id"), nullable=False, index=True),
)

POLLS = Table(
    "polls",
    METADATA,
    Column("watch", String(32), ForeignKey("watches.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("moment", Moment, nullable=False),
    # By which night retention counts.
    Column("night", Day, nullable=False),
    # Null once its captures went.
    Column("sighting", _Number, ForeignKey("contents.id"), index=True),
    # The log of the poll: kept for good.
    Column("happenings", _Number, ForeignKey("contents.id"), nullable=False, index=True),
    Index(
        "ix_polls_night",
        "night",
        sqlite_where=text("sighting IS NOT NULL"),
        postgresql_where=text("sighting IS NOT NULL"),
    ),
    sqlite_with_rowid=False,
)

POLL_CAPTURES = Table(
    "poll_captures",
    METADATA,
    Column("watch", String(32), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("member", Words, primary_key=True),
    Column("command", Words, primary_key=True),
    Column("content", _Number, ForeignKey("contents.id"), index=True),
    Column("started", Moment),
    Column("seconds", Float),
    Column("ending", String(16), nullable=False),
    Column("reason", Words, nullable=False),
    ForeignKeyConstraint(["watch", "number"], ["polls.watch", "polls.number"]),
    sqlite_with_rowid=False,
)

# How long the stages of a watch took that saw its pair done, in seconds: `restart-aps` one round's.
STAGE_DURATIONS = Table(
    "stage_durations",
    METADATA,
    Column("watch", String(32), ForeignKey("watches.id"), primary_key=True),
    Column("stage", String(32), primary_key=True),
    Column("seconds", Float, nullable=False),
    sqlite_with_rowid=False,
)
