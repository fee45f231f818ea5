"""A store is made where there is none, brought up to date where it is old, and left alone where it isn't one."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from collector.store import opening
from collector.store.database import Database
from collector.store.schema import METADATA, REVISION, REVISION_TABLE
from collector.store.store import StoreError, opened
from tests.collector.store.judged import judged, kept, start
from tests.postgresql import Server

STEPS = ScriptDirectory(str(opening._MIGRATIONS))
REVISIONS = sorted(step.revision for step in STEPS.walk_revisions())


def at(url: str, revision: str) -> None:
    """Make a store as an earlier readypair did, with a night in it."""
    with opening.writing(made(url)).begin() as connection:
        opening._migrate(connection, revision)
        connection.execute(
            text(
                "INSERT INTO sweeps (id, source, collector, inventory, whole, started)"
                " VALUES ('old', 'sweep', 'north', '/etc/readypair', :yes, '2026-01-01 22:00:00')"
            ),
            {"yes": True},
        )


def made(url: str):  # type: ignore[no-untyped-def]
    """An engine to a database without any tables."""
    parsed = opening.url_of(url)
    on_file = parsed.get_backend_name() == "sqlite"
    return opening._file_engine(parsed) if on_file else opening._server_engine(parsed)


def inside(store: object) -> Connection:
    assert isinstance(store, Database)
    return store._reading.connect()


def test_the_last_step_is_the_one_that_the_code_is_written_for() -> None:
    assert STEPS.get_heads() == [REVISION]
    # A store of a later readypair is known by its number.
    assert [f"{number:04}" for number in range(1, len(REVISIONS) + 1)] == REVISIONS


def test_a_new_store_has_the_tables_that_the_code_knows_and_a_second_opening_changes_nothing(store_url: str) -> None:
    for _ in range(2):
        with opened(store_url) as store, inside(store) as connection:
            context = MigrationContext.configure(connection, opts={"version_table": REVISION_TABLE})
            assert compare_metadata(context, METADATA) == []
            assert context.get_current_revision() == REVISION


def test_the_steps_name_what_they_make_as_the_code_names_it(store_url: str) -> None:
    # alembic's own comparison looks at no name of a key.
    with opened(store_url) as store, inside(store) as connection:
        inspector = inspect(connection)
        for table in METADATA.tables.values():
            assert inspector.get_pk_constraint(table.name)["name"] == table.primary_key.name
            made = {key["name"] for key in inspector.get_foreign_keys(table.name)}
            assert made == {key.name for key in table.foreign_key_constraints}


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_store_of_any_earlier_step_is_brought_up_to_date_and_keeps_what_it_holds(
    store_url: str, revision: str
) -> None:
    at(store_url, revision)
    with opened(store_url) as store:
        assert [(sweep.id, sweep.start.collector) for sweep in store.sweeps(last=2)] == [("old", "north")]
        kept(store, judged())
        with inside(store) as connection:
            context = MigrationContext.configure(connection, opts={"version_table": REVISION_TABLE})
            assert compare_metadata(context, METADATA) == []


def test_a_step_that_fails_leaves_the_store_as_it_was(store_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from alembic import command

    whole = command.upgrade

    def failing(config: Config, revision: str) -> None:
        whole(config, revision)
        raise RuntimeError("the machine went down")

    with monkeypatch.context() as patched:
        patched.setattr(command, "upgrade", failing)
        with pytest.raises(RuntimeError, match="the machine went down"), opened(store_url):
            pass
    engine = made(store_url)
    with engine.connect() as connection:
        assert inspect(connection).get_table_names() == []
    engine.dispose()
    with opened(store_url) as store:
        kept(store, judged())


def test_a_store_of_a_later_readypair_is_refused(store_url: str) -> None:
    with opened(store_url) as store:
        store.begin(start())
    with opening.writing(made(store_url)).begin() as connection:
        connection.execute(text(f"UPDATE {REVISION_TABLE} SET version_num = '0999'"))
    with (
        pytest.raises(StoreError, match="was written by a later readypair; install that one here, too"),
        opened(store_url),
    ):
        pass


@pytest.mark.parametrize(
    "mangled", ["DELETE FROM {}", "UPDATE {} SET version_num = 'zz'", "INSERT INTO {} VALUES ('0001')"]
)
def test_a_store_that_has_lost_its_step_is_refused(store_url: str, mangled: str) -> None:
    with opened(store_url) as store:
        kept(store, judged())
    with opening.writing(made(store_url)).begin() as connection:
        connection.execute(text(mangled.format(REVISION_TABLE)))
    for existing in (True, False):
        sentence = "doesn't tell which readypair it is of; put your last back-up in its place$"
        with pytest.raises(StoreError, match=sentence), opened(store_url, existing=existing):
            pass


def test_a_database_of_another_program_is_not_touched(store_url: str) -> None:
    with opening.writing(made(store_url)).begin() as connection:
        connection.execute(text("CREATE TABLE orders (id INTEGER)"))
    sentence = r"holds tables of another program \(orders\); name a database of its own"
    with pytest.raises(StoreError, match=sentence), opened(store_url):
        pass
    with made(store_url).connect() as connection:
        assert inspect(connection).get_table_names() == ["orders"]


def test_who_only_reads_makes_no_store(store_url: str) -> None:
    with pytest.raises(StoreError, match="there is no store "), opened(store_url, existing=True):
        pass
    if "://" not in store_url:
        assert not Path(store_url).exists()


OPEN = """
import sys
from collector.store.store import opened
print("ready", flush=True)
sys.stdin.readline()
with opened(sys.argv[1]) as store:
    print(len(store.pairs()))
"""


def test_first_openings_at_once_do_not_clash(store_url: str) -> None:
    command = [sys.executable, "-c", OPEN, store_url]
    pipe = subprocess.PIPE
    openings = [subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True) for _ in range(4)]
    for each in openings:
        assert each.stdout is not None
        assert each.stdout.readline() == "ready\n"
    for each in openings:
        assert each.stdin is not None
        each.stdin.write("go\n")
        each.stdin.flush()
    assert [(*each.communicate(), each.returncode) for each in openings] == [("0\n", "", 0)] * 4


@pytest.mark.parametrize("mask", [0o000, 0o277, 0o777])
def test_the_file_and_its_log_are_the_owners_only(tmp_path: Path, mask: int) -> None:
    path = tmp_path / "nights.db"
    before = os.umask(mask)
    try:
        with opened(str(path)) as store:
            kept(store, judged())
            modes = {file.name: stat.S_IMODE(file.stat().st_mode) for file in tmp_path.iterdir()}
    finally:
        os.umask(before)
    assert modes == {"nights.db": 0o600, "nights.db-wal": 0o600, "nights.db-shm": 0o600}


def test_a_file_is_written_through_to_the_disk_with_a_log(tmp_path: Path) -> None:
    with opened(str(tmp_path / "nights.db")) as store, inside(store) as connection:
        values = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in ("journal_mode", "synchronous")
        }
        assert values == {"journal_mode": "wal", "synchronous": 2}
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


@pytest.mark.parametrize(
    "given", ["sqlite:///{}/my nights.db", "sqlite+pysqlite:///{}/my nights.db", "{}/my nights?#.db"]
)
def test_a_file_is_named_by_its_path_or_a_url(tmp_path: Path, given: str) -> None:
    with opened(given.format(tmp_path)) as store:
        kept(store, judged())
    with opened(str(tmp_path / given.rpartition("/")[2]), existing=True) as store:
        assert store.pairs() == ("quay",)


@pytest.mark.parametrize("scheme", ["postgresql", "postgres", "postgresql+psycopg"])
def test_a_server_is_named_by_any_of_its_schemes(postgresql: Server, scheme: str) -> None:
    url = postgresql.url(postgresql.database()).replace("postgresql", scheme, 1)
    with opened(url) as store:
        kept(store, judged())
        assert store.pairs() == ("quay",)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ("mysql://u:hunter2@h/d", "a store is a file of SQLite's or a database on PostgreSQL"),
        ("postgresql+psycopg2://u:hunter2@h/d", "a store is a file of SQLite's or a database on PostgreSQL"),
        ("postgresql://u:hunter2@h:port/d", "the store's URL can't be read; write postgresql://USER@HOST/DATABASE"),
        ("://u:hunter2@h", "the store's URL can't be read"),
        ("sqlite://", "a store in SQLite is a file"),
        ("sqlite:///:memory:", "a store in SQLite is a file"),
        ("sqlite:///x.db?mode=memory", "a store in SQLite is a file"),
        ("sqlite://hunter2/x.db", "a store in SQLite is a file"),
    ],
)
def test_what_is_no_store_is_told_without_its_password(given: str, sentence: str) -> None:
    with pytest.raises(StoreError) as raised, opened(given):
        pass
    assert str(raised.value).startswith(sentence)
    assert "hunter2" not in str(raised.value)


@pytest.mark.parametrize("host", ["@h", "@h:5432", "@", "@h,g", "#w@h", "/w@h", "?w@h", "?w=1&w@h"])
def test_an_at_sign_in_a_password_is_refused_before_what_follows_it_is_taken_for_a_host(host: str) -> None:
    with pytest.raises(StoreError) as raised, opened(f"postgresql://u:P@hunter2{host}/d"):
        pass
    assert str(raised.value) == "the store's URL has more than one @; write @ in a user's name or password as %40"


@pytest.mark.parametrize("given", ["u%40h:P%40w@h/d", "u:p/w?@h/d", "u:p@h/d?options=a@b", "u@h/d@e", "h/d"])
def test_an_at_sign_elsewhere_is_fine(given: str) -> None:
    opening.url_of(f"postgresql://{given}")


@pytest.mark.parametrize(
    "given",
    [
        "host=db.example.org user=sweep password=hunter2 dbname=nights",
        " dbname = nights password = 'hunter2'",
        "password=hunter2",
        "passfile=/x user=hunter2",
        "postgresql:/sweep:hunter2@db/nights",
        "postgresql+psycopg:/sweep:hunter2@db/nights",
        "Postgres:/sweep:hunter2@db/nights",
        "sqlite:/hunter2.db",
        "postgresql:sweep:hunter2@db/nights",
        "postgresql//sweep:hunter2@db/nights",
        "sweep:hunter2@db/nights",
    ],
)
@pytest.mark.parametrize("existing", [True, False])
def test_what_is_neither_a_url_nor_a_file_is_not_made_and_not_quoted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, given: str, existing: bool
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(StoreError) as raised, opened(given, existing=existing):
        pass
    assert str(raised.value) == ("the store's URL can't be read; write postgresql://USER@HOST/DATABASE, or name a file")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "name",
    ["a=b.db", "./user=.db", "./fore:aft@bow.db", "my a=b.db", "fore:aft.db", "bow@stern.db", "C:", "night 1=2.db"],
)
def test_a_file_may_have_an_odd_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.chdir(tmp_path)
    with opened(name):
        pass
    assert [each.name for each in tmp_path.iterdir()] == [Path(name).name]


def test_a_missing_driver_is_told_with_how_to_install_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with (
        pytest.raises(StoreError, match=r"install it with: pip install '\.\[postgresql\]'"),
        opened("postgresql://h/d"),
    ):
        pass


def test_alembic_is_loaded_for_a_store_only_that_needs_a_step(tmp_path: Path) -> None:
    path = str(tmp_path / "nights.db")
    with opened(path):
        pass
    code = "import sys; from collector.store.store import opened\nwith opened(sys.argv[1]): print(*sys.modules)"
    said = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True, check=True)
    assert not {"alembic", "psycopg"} & set(said.stdout.split())
