"""What a watch of a window saw, poll by poll, and how long the stages of those that ended well took."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "watches",
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("pair", sa.Text(), nullable=False),
        sa.Column("target", sa.Text(), nullable=False),
        sa.Column("inventory", sa.Text(), nullable=False),
        sa.Column("collector", sa.Text(), nullable=False),
        sa.Column("watcher", sa.String(32), nullable=False),
        sa.Column("started", _MOMENT, nullable=False),
        sa.Column("ended", _MOMENT),
        sa.Column("outcome", sa.String(16)),
        sa.Column("opening", _NUMBER, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_watches"),
        sa.ForeignKeyConstraint(["opening"], ["contents.id"], name="fk_watches_opening"),
    )
    op.create_index("ix_watches_pair", "watches", ["pair"])
    op.create_index("ix_watches_opening", "watches", ["opening"])
    op.create_table(
        "polls",
        sa.Column("watch", sa.String(32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("moment", _MOMENT, nullable=False),
        sa.Column("night", sa.Date(), nullable=False),
        sa.Column("sighting", _NUMBER),
        sa.Column("happenings", _NUMBER, nullable=False),
        sa.PrimaryKeyConstraint("watch", "number", name="pk_polls"),
        sa.ForeignKeyConstraint(["watch"], ["watches.id"], name="fk_polls_watch"),
        sa.ForeignKeyConstraint(["sighting"], ["contents.id"], name="fk_polls_sighting"),
        sa.ForeignKeyConstraint(["happenings"], ["contents.id"], name="fk_polls_happenings"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_polls_sighting", "polls", ["sighting"])
    op.create_index("ix_polls_happenings", "polls", ["happenings"])
    op.create_index(
        "ix_polls_night",
        "polls",
        ["night"],
        sqlite_where=sa.text("sighting IS NOT NULL"),
        postgresql_where=sa.text("sighting IS NOT NULL"),
    )
    op.create_table(
        "poll_captures",
        sa.Column("watch", sa.String(32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("member", sa.Text(), nullable=False),
        sa.Column("command", sa.Text(), nullable=False),
        sa.Column("content", _NUMBER),
        sa.Column("started", _MOMENT),
        sa.Column("seconds", sa.Float()),
        sa.Column("ending", sa.String(16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("watch", "number", "member", "command", name="pk_poll_captures"),
        sa.ForeignKeyConstraint(
            ["watch", "number"], ["polls.watch", "polls.number"], name="fk_poll_captures_watch_number"
        ),
        sa.ForeignKeyConstraint(["content"], ["contents.id"], name="fk_poll_captures_content"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_poll_captures_content", "poll_captures", ["content"])
    op.create_table(
        "stage_durations",
        sa.Column("watch", sa.String(32), nullable=False),
        sa.Column("stage", sa.String(32), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("watch", "stage", name="pk_stage_durations"),
        sa.ForeignKeyConstraint(["watch"], ["watches.id"], name="fk_stage_durations_watch"),
        sqlite_with_rowid=False,
    )
