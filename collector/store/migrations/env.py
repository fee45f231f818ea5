"""What alembic runs: the store's steps on the connection that it is handed, in that one's transaction."""

from __future__ import annotations

from alembic import context

from collector.store.schema import METADATA, REVISION_TABLE

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    version_table=REVISION_TABLE,
    # Either all steps are done, or none: both databases can take back what they did to tables.
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
