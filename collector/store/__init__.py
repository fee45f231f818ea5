"""The store: what sweeps found, night after night, in a SQLite file or on a PostgreSQL server."""
