"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "contents",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("digest", sa.LargeBinary(32), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("packed", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_contents"),
        sa.UniqueConstraint("digest", name="uq_contents_digest"),
    )
    op.create_table(
        "sweeps",
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("source", sa.String(16), nullable=False),
        sa.Column("collector", sa.Text(), nullable=False),
        sa.Column("inventory", sa.Text(), nullable=False),
        sa.Column("whole", sa.Boolean(), nullable=False),
        sa.Column("started", _MOMENT, nullable=False),
        sa.Column("finished", _MOMENT),
        sa.PrimaryKeyConstraint("id", name="pk_sweeps"),
    )
    op.create_table(
        "judgements",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("sweep", sa.String(32), nullable=False),
        sa.Column("pair", sa.Text(), nullable=False),
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("night", sa.Date(), nullable=False),
        sa.Column("retained", sa.Date(), nullable=False),
        sa.Column("asked", _MOMENT),
        sa.Column("judged", _MOMENT, nullable=False),
        sa.Column("verdict", sa.String(16), nullable=False),
        sa.Column("target_release", sa.Text(), nullable=False),
        sa.Column("planned", sa.Boolean(), nullable=False),
        sa.Column("in_time", sa.Boolean(), nullable=False),
        sa.Column("state", _NUMBER, nullable=False),
        sa.Column("aps", _NUMBER),
        sa.Column("report", _NUMBER),
        sa.PrimaryKeyConstraint("id", name="pk_judgements"),
        sa.UniqueConstraint("sweep", "pair", name="uq_judgements_sweep_pair"),
        sa.ForeignKeyConstraint(["sweep"], ["sweeps.id"], name="fk_judgements_sweep"),
        sa.ForeignKeyConstraint(["state"], ["contents.id"], name="fk_judgements_state"),
        sa.ForeignKeyConstraint(["aps"], ["contents.id"], name="fk_judgements_aps"),
        sa.ForeignKeyConstraint(["report"], ["contents.id"], name="fk_judgements_report"),
    )
    op.create_index("ix_judgements_pair_night", "judgements", ["pair", "night"])
    op.create_index("ix_judgements_night", "judgements", ["night"])
    op.create_index("ix_judgements_state", "judgements", ["state"])
    op.create_index("ix_judgements_aps", "judgements", ["aps"])
    op.create_index("ix_judgements_report", "judgements", ["report"])
    op.create_index(
        "ix_judgements_retained",
        "judgements",
        ["retained"],
        sqlite_where=sa.text("report IS NOT NULL"),
        postgresql_where=sa.text("report IS NOT NULL"),
    )
    op.create_table(
        "rooms",
        sa.Column("judgement", _NUMBER, nullable=False),
        sa.Column("member", sa.Text(), nullable=False),
        sa.Column("free", sa.BigInteger()),
        sa.Column("total", sa.BigInteger()),
        sa.Column("needed", sa.BigInteger()),
        sa.PrimaryKeyConstraint("judgement", "member", name="pk_rooms"),
        sa.ForeignKeyConstraint(["judgement"], ["judgements.id"], name="fk_rooms_judgement"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "captures",
        sa.Column("judgement", _NUMBER, nullable=False),
        sa.Column("member", sa.Text(), nullable=False),
        sa.Column("command", sa.Text(), nullable=False),
        sa.Column("content", _NUMBER),
        sa.Column("started", _MOMENT),
        sa.Column("seconds", sa.Float()),
        sa.Column("ending", sa.String(16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("judgement", "member", "command", name="pk_captures"),
        sa.ForeignKeyConstraint(["judgement"], ["judgements.id"], name="fk_captures_judgement"),
        sa.ForeignKeyConstraint(["content"], ["contents.id"], name="fk_captures_content"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_captures_content", "captures", ["content"])
