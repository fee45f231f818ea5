"""The history of the store's tables: alembic runs the steps that a store has not been through yet."""
