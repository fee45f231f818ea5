"""Whom a sweep's message reached: what the next one is compared with."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the column; of the sweeps until now nobody was told."""
    op.add_column("sweeps", sa.Column("announced", sa.DateTime(timezone=True)))
