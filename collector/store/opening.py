"""Opens a store: finds the database, brings its tables up to date, and sets how it is talked to."""

from __future__ import annotations

import importlib.util
import os
import re
import sqlite3
import time
from pathlib import Path
from typing import Any

from sqlalchemy import Column, Connection, Engine, MetaData, String, Table, create_engine, event, inspect, select, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from collector.store.schema import REVISION, REVISION_TABLE
from collector.store.store import StoreError
from collector.store.telling import PATIENCE, named, told

_MIGRATIONS = Path(__file__).with_name("migrations")
_REVISIONS = Table(REVISION_TABLE, MetaData(), Column("version_num", String(32), primary_key=True))
_UNREAD = "the store's URL can't be read; write postgresql://USER@HOST/DATABASE, or name a file"
# What may hold a password and is hardly meant for a file: a URL that lacks a sign, and PostgreSQL's own KEY=VALUE form:
# https://www.postgresql.org/docs/current/libpq-connect.html
_NO_FILE = re.compile(
    r"^\s*\w+(\+\w+)?:/"
    r"|^\s*(postgres(ql)?|sqlite)(\+\w+)?(:|//)"
    r"|^[^/:@]+:[^@]*@"
    r"|(^|\s)(host|hostaddr|user|password|passfile|sslpassword|dbname|service)\s*=",
    re.IGNORECASE,
)
# As the steps are numbered in `migrations/versions`.
_STEP = re.compile(r"(?!0000)[0-9]{4}")
# An execution option of ours: the transaction is going to write.
_WRITES = "readypair_writes"
# Any number, as long as it is always the same one: PostgreSQL's advisory locks know no names.
_MIGRATING = 0x72656164_70616972
_TRIES = 200
# A page of SQLite's is no smaller, in bytes.
_SMALLEST = 512


def url_of(given: str) -> URL:
    """The database's URL from what the user named; StoreError where that is none, never with a part of it."""
    if "://" not in given:
        if _NO_FILE.search(given):
            raise StoreError(_UNREAD)
        return URL.create("sqlite", database=given)
    try:
        url = make_url(given)
        backend, driver = url.get_backend_name(), url.drivername.partition("+")[2]
    except (ArgumentError, ValueError):
        raise StoreError(_UNREAD) from None
    if _goes_on_after_its_password(given, url):
        raise StoreError("the store's URL has more than one @; write @ in a user's name or password as %40")
    if backend == "sqlite" and driver in ("", "pysqlite"):
        return _file_url(url)
    if backend in ("postgresql", "postgres") and driver in ("", "psycopg"):
        if importlib.util.find_spec("psycopg") is None:
            raise StoreError("a store on PostgreSQL needs its driver; install it with: pip install '.[postgresql]'")
        return url.set(drivername="postgresql+psycopg")
    raise StoreError("a store is a file of SQLite's or a database on PostgreSQL; write postgresql://USER@HOST/DATABASE")


def _goes_on_after_its_password(given: str, url: URL) -> bool:
    """Whether a part that would be told has an @, as it has where a password was cut off at its own one."""
    options = given.partition("@")[2].partition("?")[2].split("&")
    names = [option.partition("=")[0] for option in options]
    told_of = [url.host or "", *([url.database or "", *names] if url.password else [])]
    return any("@" in part for part in told_of)


def _file_url(url: URL) -> URL:
    if url.query or url.host or not url.database or url.database == ":memory:":
        raise StoreError("a store in SQLite is a file; write sqlite:////PATH/TO/FILE, or the path alone")
    return URL.create("sqlite", database=url.database)


def engine_of(url: URL, *, existing: bool) -> Engine:
    """The way to a database whose tables are up to date.

    With `existing` nothing is made where there is no store. Raises StoreError as `store.opened` says.
    """
    on_file = url.get_backend_name() == "sqlite"
    with told(url):
        if on_file:
            _see_file(url, existing)
        engine = _file_engine(url) if on_file else _server_engine(url)
        try:
            if on_file:
                _keep_a_log(engine)
            _bring_up_to_date(engine, url, existing)
        except BaseException:
            engine.dispose()
            raise
    return engine


def writing(engine: Engine) -> Engine:
    """The same way for transactions that write."""
    return engine.execution_options(**{_WRITES: True})


def _server_engine(url: URL) -> Engine:
    options: dict[str, Any] = {
        "application_name": "readypair",
        "client_encoding": "utf8",
        "connect_timeout": 20,
        # A table that somebody holds, and a server that vanished without a word, mustn't keep a sweep for ever: what
        # it waits for there is under no deadline.
        "options": f"-c lock_timeout={PATIENCE * 1000}",
        "tcp_user_timeout": PATIENCE * 1000,
        "keepalives_idle": PATIENCE,
    }
    return create_engine(
        url,
        connect_args={key: value for key, value in options.items() if key not in url.query},
        isolation_level="READ COMMITTED",
        hide_parameters=True,
        # A night may lie between two questions: a connection that the server has dropped is made anew.
        pool_pre_ping=True,
    )


def _file_engine(url: URL) -> Engine:
    engine = create_engine(url, connect_args={"timeout": PATIENCE}, hide_parameters=True)

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _: object) -> None:
        # Python's own opening of transactions would come too late, at the first INSERT: see `begin`.
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys = ON")
        # A pair that was told of stands on the disk: not only when the program is killed, which NORMAL would do for,
        # but when the machine loses its power, too. That costs one flush a pair, next to seconds of asking.
        connection.execute("PRAGMA synchronous = FULL")
        # 8 MiB: the system keeps the file's pages anyway, and a sweep's memory mustn't grow with the store's.
        connection.execute("PRAGMA cache_size = -8192")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # Whoever reads first and then writes would clash with another such one in between, and could only give up.
        writes = connection.get_execution_options().get(_WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _see_file(url: URL, existing: bool) -> None:
    """See that the file is one, and make it for the owner only where there is none: its log takes on its mode."""
    path = Path(url.database or "")
    try:
        if path.is_dir():
            raise StoreError(f"the store {path} is a folder; name a file")
        if existing and not path.exists():
            raise StoreError(f"there is no store {path}; name the one that `sweep --store` writes to")
        if not path.parent.is_dir():
            raise StoreError(f"the store {path} can't be made: there is no folder {path.parent}; make it first")
        if path.exists() and not path.is_file():
            raise StoreError(f"the store {path} is something else than a file; name a file")
        if not path.exists():
            _make_file(path)
        elif 0 < path.stat().st_size < _SMALLEST:
            # SQLite would take it for an empty one.
            raise StoreError(f"the store {path} is not a store of readypair's; name another file")
    except OSError as error:
        raise StoreError(f"the store {path} can't be used: {error.strerror}; name another file") from None


def _make_file(path: Path) -> None:
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    except FileExistsError:
        # Another collector was faster.
        return
    try:
        # Whatever the umask took away, the owner needs.
        os.fchmod(handle, 0o600)
    finally:
        os.close(handle)


def _keep_a_log(engine: Engine) -> None:
    """Set SQLite's write-ahead log, with which readers and a writer don't wait for each other; it stays set."""
    for left in reversed(range(_TRIES)):
        try:
            with engine.connect() as connection:
                raw = connection.connection.cursor()
                if raw.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                    raw.execute("PRAGMA journal_mode = WAL")
                return
        except sqlite3.OperationalError as error:
            # SQLite doesn't wait here for another one that opens the same new file.
            if not left or error.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise
        time.sleep(0.05)


def _bring_up_to_date(engine: Engine, url: URL, existing: bool) -> None:
    with engine.connect() as connection:
        if _revision(connection, url, existing) == REVISION:
            return
    with writing(engine).begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _MIGRATING})
        # Another collector may have done it while this one waited.
        if _revision(connection, url, existing) != REVISION:
            _migrate(connection)


def _revision(connection: Connection, url: URL, existing: bool) -> str | None:
    """The step that the store is at, None for an empty database; StoreError for one that isn't to be touched."""
    tables = set(inspect(connection).get_table_names())
    if REVISION_TABLE not in tables:
        if tables:
            raise StoreError(
                f"the store {named(url)} holds tables of another program ({', '.join(sorted(tables)[:3])}); "
                "name a database of its own"
            )
        if existing:
            raise StoreError(f"there is no store in {named(url)}; name the one that `sweep --store` writes to")
        return None
    noted = [str(each) for each in connection.execute(select(_REVISIONS.c.version_num)).scalars()]
    if not noted and tables == {REVISION_TABLE}:
        return None
    if len(noted) != 1 or not _STEP.fullmatch(noted[0]):
        raise StoreError(
            f"the store {named(url)} doesn't tell which readypair it is of; put your last back-up in its place"
        )
    if noted[0] > REVISION:
        raise StoreError(f"the store {named(url)} was written by a later readypair; install that one here, too")
    return noted[0]


def _migrate(connection: Connection, revision: str = "head") -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, revision)
