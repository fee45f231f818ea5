"""Adding a night of 1,000 pairs to a store that holds 365 nights of them, against an empty one; both in one run.

Two figures for SQLite and for PostgreSQL, each the best of a few rounds: storing alone (the pairs were judged
beforehand, and ten of them at a time go into either store), and a whole `readypair replay --store`, which reads each
pair's past besides. The big store holds verdicts, states and figures of all nights, reports and captures of the last
30 (`--keep-days 30`), no two of them alike. SQLite waits for the disk after each pair, as it always does; the server of
PostgreSQL, our own, doesn't.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import NamedTuple, Protocol

from sqlalchemy.engine import make_url

from collector.capture import Capture
from collector.nights.night import Room, Source
from collector.result import PairResult
from collector.snapshot import Snapshot
from collector.store import opening
from collector.store.store import Start, SweepWriter, opened
from parsers import catalogue
from tests import postgresql
from tests.demo_fleet import INVENTORY
from tests.fleet import writing
from tests.year import bulk
from tests.year.bulk import NEXT, Size

AT_MOST, AT_ONCE = 1.3, 10
Judged = tuple[Snapshot, PairResult, tuple[Room, ...]]


class Backend(Protocol):
    """Where stores are made: a big one once, and copies of it and empty ones for each round."""

    name: str
    big: str

    def copy(self) -> str:
        """The URL of a copy of the big store."""

    def empty(self) -> str:
        """The URL of an empty one."""

    def size(self, url: str) -> int:
        """How many bytes it takes."""

    def drop(self, url: str) -> None:
        """Take it away."""


class Files:
    """SQLite."""

    name = "SQLite"

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._made = 0
        self.big = self.empty()

    def copy(self) -> str:
        """A copy of the file."""
        made = self.empty()
        shutil.copy(self.big, made)
        return made

    def empty(self) -> str:
        """A file's name that isn't there yet."""
        self._made += 1
        return str(self._folder / f"nights-{self._made}.db")

    def size(self, url: str) -> int:
        """Of the file and its log."""
        return sum(path.stat().st_size for path in self._folder.glob(f"{Path(url).name}*"))

    def drop(self, url: str) -> None:
        """With its log."""
        for path in self._folder.glob(f"{Path(url).name}*"):
            path.unlink()


class Databases:
    """PostgreSQL, with a server of our own."""

    name = "PostgreSQL"

    def __init__(self, server: postgresql.Server) -> None:
        self._server = server
        self._copies = 0
        self.big = self.empty()

    def copy(self) -> str:
        """A database made from the big one."""
        self._copies += 1
        name = f"copy{self._copies}"
        self._server.do("postgres", f"CREATE DATABASE {name} TEMPLATE {_database(self.big)}")
        return self._server.url(name)

    def empty(self) -> str:
        """A new database."""
        return self._server.url(self._server.database())

    def size(self, url: str) -> int:
        """Of the database."""
        import psycopg

        with psycopg.connect(url) as connection:
            row = connection.execute("SELECT pg_database_size(current_database())").fetchone()
            assert row is not None
            return int(row[0])

    def drop(self, url: str) -> None:
        """The database."""
        self._server.do("postgres", f"DROP DATABASE {_database(url)}")


class Seconds(NamedTuple):
    """What something took: by the clock on the wall, and of our own program's CPU, the database server's aside."""

    wall: float
    cpu: float


@dataclass(frozen=True)
class Part:
    """What the same part of the work took on the empty store and on the big one."""

    empty: Seconds
    big: Seconds


def main() -> None:
    """Fill the stores, and print what they take and the ratios."""
    options = _options()
    size = Size(options.pairs, options.nights, options.kept)
    with _backends() as backends:
        _fill(backends, size)
        for backend in backends:
            megabytes = backend.size(backend.big) / 1e6
            what = f"{size.pairs} pairs, {size.nights} nights, texts of the last {size.kept}"
            print(f"{backend.name}: {what}: {megabytes:,.0f} MB")
        _storing(backends, size.pairs, options.rounds)
        _replaying(backends, size.pairs, options.replays)


def _storing(backends: Sequence[Backend], pairs: int, rounds: int) -> None:
    night = [_judged(number) for number in range(pairs)]
    for backend in backends:
        parts = [_stored(backend, night, number) for number in range(rounds)]
        _tell(f"{backend.name}, storing {pairs} judged pairs (allowed {AT_MOST})", parts)


def _replaying(backends: Sequence[Backend], pairs: int, rounds: int) -> None:
    with tempfile.TemporaryDirectory(prefix="readypair-benchmark-") as temporary:
        folder = Path(temporary)
        _write_fleet(folder, pairs)
        for backend in backends:
            parts = [_replayed(backend, folder, number) for number in range(rounds)]
            _tell(f"{backend.name}, a replay of {pairs} pairs into the store", parts)
    megabytes = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1000
    print(f"memory of the replay at its peak: {megabytes:.0f} MB")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=1000)
    parser.add_argument("--nights", type=int, default=365)
    parser.add_argument("--kept", type=int, default=30, help="nights of which the big store holds reports and captures")
    parser.add_argument("--rounds", type=int, default=4)
    parser.add_argument("--replays", type=int, default=2)
    return parser.parse_args()


@contextmanager
def _backends() -> Iterator[Sequence[Backend]]:
    server = postgresql.started()
    try:
        with tempfile.TemporaryDirectory(prefix="readypair-benchmark-") as folder:
            yield Files(Path(folder)), Databases(server)
    finally:
        server.stop()
        shutil.rmtree(server.folder)


def _fill(backends: Sequence[Backend], size: Size) -> None:
    engines = [opening.engine_of(opening.url_of(backend.big), existing=False) for backend in backends]
    start = time.perf_counter()
    bulk.fill([opening.writing(engine) for engine in engines], size)
    for engine in engines:
        engine.dispose()
    print(f"filled in {time.perf_counter() - start:.0f} s", file=sys.stderr)


def _judged(number: int) -> Judged:
    return bulk.judged(bulk.described(number), bulk.answers(number, NEXT), bulk.policy())


def _stored(backend: Backend, night: Sequence[Judged], number: int) -> list[Part]:
    """A round of storing all pairs, some by turns in the empty store and the big one, so that both have the same luck.

    `number` is the round's: every other one begins with the big store.
    """
    urls = (backend.empty(), backend.copy())
    _settle()
    with ExitStack() as stack:
        stores = [stack.enter_context(opened(url)) for url in urls]
        start = Start(Source.SWEEP, "north", "/srv/readypair/north", True, night[0][0].moment)
        writers = [store.begin(start) for store in stores]
        parts = [
            _part(
                [partial(_keep, writer, night[first : first + AT_ONCE]) for writer in writers],
                first // AT_ONCE + number,
            )
            for first in range(0, len(night), AT_ONCE)
        ]
        for writer in writers:
            writer.finish(night[-1][0].moment)
    for url in urls:
        backend.drop(url)
    return parts


def _keep(writer: SweepWriter, night: Sequence[Judged]) -> None:
    for snapshot, result, rooms in night:
        writer.keep(snapshot, result, rooms=rooms)


def _replayed(backend: Backend, folder: Path, number: int) -> list[Part]:
    """A round of replaying by the command line, once into either store."""
    urls = (backend.empty(), backend.copy())
    part = _part([partial(_replay, url, folder) for url in urls], number)
    for url in urls:
        backend.drop(url)
    return [part]


def _replay(url: str, folder: Path) -> None:
    command = [sys.executable, "-c", "from collector.cli import run; run()", "replay", str(folder / "captures")]
    command += ["--inventory", str(folder), "--quiet"]
    environment = {**os.environ, "READYPAIR_STORE": url}
    ended = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=environment)
    assert ended.returncode in (0, 1), ended.stderr


def _part(works: Sequence[Callable[[], None]], number: int) -> Part:
    """What each of the two takes; of an odd number the other one goes first."""
    seconds = [_seconds(work) for work in (works if number % 2 == 0 else reversed(works))]
    return Part(*(seconds if number % 2 == 0 else reversed(seconds)))


def _seconds(work: Callable[[], None]) -> Seconds:
    wall, cpu = time.perf_counter(), _cpu()
    work()
    return Seconds(time.perf_counter() - wall, _cpu() - cpu)


def _settle() -> None:
    """Have written what copying left to be written, lest the first to flush wait for it."""
    subprocess.run(["sync"], check=True)


def _cpu() -> float:
    """Of this program and those that it ran."""
    own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime + others.ru_utime + others.ru_stime


def _tell(what: str, rounds: Sequence[Sequence[Part]]) -> None:
    """Each part's best, summed."""
    print(f"{what}, best of {len(rounds)}:")
    for clock in Seconds._fields:
        empty, big = (
            sum(min(getattr(getattr(part, store), clock) for part in same) for same in zip(*rounds, strict=True))
            for store in ("empty", "big")
        )
        print(f"  {clock}: {empty:.2f} s when empty, {big:.2f} s when big, ratio {big / empty:.2f}")


def _write_fleet(folder: Path, pairs: int) -> None:
    """The recordings of the night and the inventory of the pairs."""
    described = [bulk.described(number) for number in range(pairs)]
    for number in range(pairs):
        for member, own in bulk.answers(number, NEXT).items():
            _write_member(folder / "captures" / member, own)
    (folder / "hosts.yaml").write_text(writing.hosts(described))
    (folder / "groups.yaml").write_text(writing.groups(described))
    (folder / "policy.yaml").write_text((INVENTORY / "policy.yaml").read_text())


def _write_member(folder: Path, own: Sequence[Capture]) -> None:
    """As a sweep writes it, without waiting for the disk after each of 60,000 files."""
    folder.mkdir(parents=True)
    entries = {}
    for capture in own:
        file, content = f"{catalogue.slug(capture.command)}.txt", capture.text.encode()
        (folder / file).write_bytes(content)
        assert capture.started is not None
        entries[capture.command] = {
            "file": file,
            "sha256": hashlib.sha256(content).hexdigest(),
            "started": capture.started.isoformat(),
            "seconds": capture.seconds,
            "ending": capture.ending.value,
        }
    (folder / "manifest.json").write_text(json.dumps({"captures": entries}))


def _database(url: str) -> str:
    name = make_url(url).database
    assert name is not None
    return name


if __name__ == "__main__":
    main()
