"""Whatever is wrong with a store is one sentence that names it and says what to do, never with a password."""

from __future__ import annotations

import os
import resource
import socket
import sqlite3
import tempfile
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote, quote_plus

import pytest
import zstandard
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError

from collector.store import contents, opening, telling, writing
from collector.store.database import Database
from collector.store.store import StoreError, opened
from tests.collector.store.judged import judged, kept, start
from tests.postgresql import Server


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "nights.db"


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "PATIENCE", 0)
    monkeypatch.setattr(opening, "_TRIES", 2)


@contextmanager
def refused(sentence: str) -> Iterator[None]:
    """See that it ends in a StoreError of this one line, and that nothing else hangs on to it."""
    with pytest.raises(StoreError) as raised:
        yield
    assert str(raised.value) == sentence
    assert "\n" not in sentence
    assert raised.value.__suppress_context__ or raised.value.__context__ is None


def test_a_folder(tmp_path: Path) -> None:
    with refused(f"the store {tmp_path} is a folder; name a file"), opened(str(tmp_path)):
        pass


def test_a_device() -> None:
    with refused("the store /dev/null is something else than a file; name a file"), opened("/dev/null"):
        pass


def test_no_folder(tmp_path: Path) -> None:
    there = tmp_path / "not" / "there"
    with (
        refused(f"the store {there} can't be made: there is no folder {there.parent}; make it first"),
        opened(str(there)),
    ):
        pass


def test_no_folder_where_a_store_is_to_be_read(tmp_path: Path) -> None:
    there = tmp_path / "not" / "there"
    sentence = f"there is no store {there}; name the one that `sweep --store` writes to"
    with refused(sentence), opened(str(there), existing=True):
        pass


def test_a_name_too_long(tmp_path: Path) -> None:
    there = tmp_path / ("n" * 300)
    with refused(f"the store {there} can't be used: File name too long; name another file"), opened(str(there)):
        pass


@pytest.mark.parametrize("content", [b"hosts: {}\n" * 200, b"SQLite format 3\0" + b"\1" * 4096, b"x"])
def test_another_file(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    with refused(f"the store {path} is not a store of readypair's; name another file"), opened(str(path)):
        pass
    assert path.read_bytes() == content


def test_a_damaged_file(path: Path) -> None:
    with opened(str(path)) as store:
        kept(store, judged())
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xff" * (len(content) - 4096)
    path.write_bytes(content)
    with pytest.raises(StoreError, match="is damaged; put your last back-up in its place"), opened(str(path)) as store:
        kept(store, judged())


@contextmanager
def another_account() -> Iterator[None]:
    """Go on without root's right to read and write anything, where it is root that runs the tests."""
    if os.geteuid() != 0:
        yield
        return
    os.setegid(65534)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        os.setegid(0)


@pytest.fixture
def shown() -> Iterator[Path]:
    """A store with a night in it, in a folder that another account may look into and not write to."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "nights.db"
        with opened(str(path)) as store:
            kept(store, judged())
        Path(folder).chmod(0o555)
        yield path
        Path(folder).chmod(0o755)


MAY_NOT_READ = "can't be opened; give this account the right to read and write the file and its folder"
MAY_NOT_WRITE = "can't be written to; give this account the right to write the file and its folder"


def test_a_file_that_may_not_be_written(shown: Path) -> None:
    shown.chmod(0o444)
    # Who only reads has to write, too: the log's index, in which readers and writers tell of each other.
    with another_account(), refused(f"the store {shown} {MAY_NOT_WRITE}"), opened(str(shown), existing=True):
        pass


def test_a_folder_that_may_not_be_written(shown: Path) -> None:
    shown.chmod(0o444)
    there = shown.with_name("new.db")
    sentence = f"the store {there} can't be used: Permission denied; name another file"
    with another_account(), refused(sentence), opened(str(there)):
        pass


def test_a_file_that_may_not_be_read(shown: Path) -> None:
    shown.chmod(0)
    with another_account(), refused(f"the store {shown} {MAY_NOT_READ}"), opened(str(shown)):
        pass


@pytest.mark.usefixtures("impatient")
def test_a_file_that_another_program_holds(path: Path) -> None:
    with opened(str(path)) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        sentence = (
            f"the store {path} is locked by another program for more than {telling.PATIENCE} seconds; "
            "see what holds it, or wait"
        )
        with refused(sentence):
            store.begin(start())
        # Who reads waits for nobody.
        assert store.pairs() == ()
        other.close()


@pytest.mark.usefixtures("impatient")
def test_a_new_file_that_another_program_holds(path: Path) -> None:
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(StoreError, match="is locked by another program"), opened(str(path)):
        pass
    other.close()


@pytest.mark.parametrize(
    "mangled",
    [
        "UPDATE judgements SET verdict = 'maybe'",
        "UPDATE judgements SET night = 'tonight'",
        "UPDATE judgements SET judged = 'late'",
        "UPDATE sweeps SET source = 'hearsay'",
        "PRAGMA foreign_keys = OFF; DELETE FROM contents",
    ],
)
def test_rows_that_nobody_wrote(path: Path, mangled: str) -> None:
    with opened(str(path)) as store:
        kept(store, judged())
        with sqlite3.connect(path) as other:
            other.executescript(mangled)
        with refused(f"the store {path} holds what no readypair wrote; put your last back-up in its place"):
            _ = [store.state(night.state) for night in store.nights("quay")]


@pytest.mark.parametrize("content", ["[]", "{}", '{"verdict": "maybe"}', "7", "null", "[" * 100_000, "{"])
def test_a_state_that_is_none(path: Path, content: str) -> None:
    of = contents.of_bytes(content.encode())
    with opened(str(path)) as store:
        kept(store, judged())
        (night,) = store.nights("quay")
        with sqlite3.connect(path) as other:
            row = contents._row(of)
            other.execute(
                "UPDATE contents SET digest = ?, size = ?, packed = ? WHERE id = ?",
                (row["digest"], row["size"], row["packed"], night.state),
            )
        with refused(f"the store {path} holds what no readypair wrote; put your last back-up in its place"):
            store.state(night.state)


@pytest.mark.parametrize("size", [10, 1 << 40])
def test_a_frame_that_would_fill_the_memory_is_not_unpacked(size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # A frame's header that promises a tebibyte: RFC 8878, 3.1.1.1; single segment, its size in eight bytes.
    frame = bytes.fromhex("28b52ffd" + "e0") + (1 << 40).to_bytes(8, "little") + bytes.fromhex("010000")
    assert zstandard.frame_content_size(frame) == 1 << 40
    monkeypatch.setattr(zstandard, "ZstdDecompressor", None)
    with pytest.raises(telling.Damaged):
        contents.unpacked(b"\0" * 32, size, frame)


def test_a_sweep_that_is_noted_twice_is_one(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    once = writing._once

    def twice(engine, work, pruning):  # type: ignore[no-untyped-def]
        # As if the answer to the first one had been lost.
        once(engine, work, pruning)
        return once(engine, work, pruning)

    monkeypatch.setattr(writing, "_once", twice)
    with opened(str(path)) as store:
        writer = store.begin(start())
        assert [each.id for each in store.sweeps(last=3)] == [writer.id]


def test_a_full_disk(path: Path) -> None:
    with opened(str(path)) as store:
        kept(store, judged())
        assert isinstance(store, Database)
        with store._reading.connect() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
            connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
        with refused(f"the store {path} can't grow: the disk is full; make room there, or shorten --keep-days"):
            kept(store, judged("saltmarsh"))
        assert store.pairs() == ("quay",)


def test_a_file_that_may_not_grow(path: Path) -> None:
    with opened(str(path)) as store:
        kept(store, judged())
        limits = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size // 2, limits[1]))
        try:
            with pytest.raises(StoreError, match="the disk"):
                kept(store, judged("saltmarsh"))
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        assert store.pairs() == ("quay",)
        kept(store, judged("saltmarsh"))
        assert store.pairs() == ("quay", "saltmarsh")


PASSWORDS = ["hunter2-of-the-night", "p@ss:w/rd%&=?#", "ä ö\\'\""]


@pytest.mark.parametrize("password", PASSWORDS)
@pytest.mark.parametrize("place", ["user", "query"])
def test_a_password_is_told_by_nobody(postgresql: Server, password: str, place: str) -> None:
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        port = closed.getsockname()[1]
        urls = [
            URL.create("postgresql", "owner", host="127.0.0.1", port=port, database="postgres"),
            URL.create("postgresql", "owner", database="postgres", query={"host": str(postgresql.folder)}),
            # A second @ is refused: see test_opening.
            URL.create(
                "postgresql", "owner", database=password.replace("@", ""), query={"host": str(postgresql.folder)}
            ),
            URL.create("postgresql", "owner", database="d", query={"hostt": password}),
            URL.create("postgresql", "owner", database="d", query={"sslmode": password}),
        ]
        for url in urls:
            whole = url.set(password=password) if place == "user" else url.update_query_dict({"password": password})
            with pytest.raises(StoreError) as raised, opened(whole.render_as_string(hide_password=False)):
                pass
            told = "".join(traceback.format_exception(raised.value))
            sentence = str(raised.value)
            assert sentence.startswith("the store postgresql://owner")
            if url.database != password:
                assert password not in told
                assert whole.set(query={}).password is None or "***" in sentence
            assert "\n" not in sentence


@pytest.mark.parametrize(
    "password", ["lead:hunter2/ä b", "hunter2\nof the night", " hunter2; ", "hunter2+\r\n%", "hunter2\udcff"]
)
@pytest.mark.parametrize("place", ["user", "query"])
def test_a_driver_that_quotes_a_password_in_any_form_is_not_quoted(password: str, place: str) -> None:
    url = URL.create("postgresql", "owner", host="h", database="d")
    url = url.set(password=password) if place == "user" else url.update_query_dict({"password": password})
    forms = [password, *(quote(password, safe, errors="replace") for safe in ("/", ""))]
    forms.append(quote_plus(password, errors="replace"))
    forms += [form.lower() for form in forms[1:]]
    for form in forms:
        for said in (f"bad value {form} at 3", f"bad value\n{form}", form):
            with pytest.raises(StoreError) as raised, telling.told(url):
                raise DBAPIError("SELECT", {}, ValueError(said))
            assert "can't be used: ValueError; see that the server runs" in str(raised.value)


def test_a_server_that_goes_away_is_told_and_found_again(postgresql: Server) -> None:
    name = postgresql.database()
    with opened(postgresql.url(name)) as store:
        kept(store, judged())
        ended = f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'"
        postgresql.do("postgres", ended)
        # A connection that was dropped between two questions is nobody's trouble.
        assert store.pairs() == ("quay",)
        postgresql.do("postgres", ended, f"ALTER DATABASE {name} ALLOW_CONNECTIONS false", ended)
        with pytest.raises(StoreError, match="is not currently accepting connections; see that the server runs"):
            store.pairs()


def test_a_role_without_the_right_is_told(postgresql: Server) -> None:
    name = postgresql.database()
    with opened(postgresql.url(name)) as store:
        kept(store, judged())
    postgresql.do(name, f"CREATE ROLE nobody_{name} LOGIN PASSWORD '{postgresql.password}'")
    with pytest.raises(StoreError, match="permission denied for table"), opened(postgresql.url(name, f"nobody_{name}")):
        pass
