"""A PostgreSQL server of the tests' own: made in a temporary folder, asked through a socket in it, gone at the end.

The server's programs are those on the path, or Debian's. They refuse to run as root: as root they run as `postgres`.
"""

from __future__ import annotations

import os
import secrets
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import pytest
from sqlalchemy.engine import URL

_NUMBERS = count(1)
_AS_POSTGRES = {"user": "postgres", "group": "postgres", "extra_groups": []} if os.geteuid() == 0 else {}


@dataclass(frozen=True)
class Server:
    """A running server; every role has the same password, and `owner` may do anything."""

    folder: Path
    password: str

    def url(self, database: str, role: str = "owner") -> str:
        """The URL of a database for a role."""
        parts = URL.create("postgresql", role, self.password, database=database, query={"host": str(self.folder)})
        return parts.render_as_string(hide_password=False)

    def database(self) -> str:
        """Make an empty database and return its name."""
        name = f"night{next(_NUMBERS)}"
        self.do("postgres", f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'")
        return name

    def drop(self, database: str) -> None:
        """Take a database away, whoever still asks it."""
        self.do("postgres", f"DROP DATABASE {database} WITH (FORCE)")

    def do(self, database: str, *statements: str) -> None:
        """Have the owner do these statements, each by itself."""
        import psycopg

        with psycopg.connect(self.url(database), autocommit=True) as connection:
            for statement in statements:
                connection.execute(statement.encode())

    def stop(self) -> None:
        """End the server at once, as a machine that loses its power does."""
        _run("pg_ctl", "stop", "-D", str(self.folder / "data"), "-m", "immediate", "-w")


def started() -> Server:
    """Make a cluster in a new folder and start its server."""
    folder = Path(tempfile.mkdtemp(prefix="readypair-postgresql-"))
    if _AS_POSTGRES:
        shutil.chown(folder, "postgres", "postgres")
    server = Server(folder, secrets.token_hex(16))
    secret = folder / "password"
    secret.write_text(server.password)
    secret.chmod(0o644)
    data = str(folder / "data")
    options = ("--auth=scram-sha-256", f"--pwfile={secret}", "--username=owner", "--encoding=UTF8", "--no-sync")
    _run("initdb", "-D", data, *options)
    settings = {"listen_addresses": "", "unix_socket_directories": folder, "fsync": "off", "max_connections": 50}
    given = " ".join(f"-c {name}='{value}'" for name, value in settings.items())
    _run("pg_ctl", "start", "-D", data, "-w", "-l", str(folder / "log"), "-o", given)
    return server


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """The server for all tests of a session."""
    server = started()
    try:
        yield server
    finally:
        server.stop()
        shutil.rmtree(server.folder)


@pytest.fixture(params=["sqlite", "postgresql"])
def store_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Where a store may be made: a file that isn't there yet, then an empty database."""
    if request.param == "sqlite":
        yield str(tmp_path / "nights.db")
        return
    server: Server = request.getfixturevalue("postgresql")
    database = server.database()
    yield server.url(database)
    server.drop(database)


def _run(program: str, *arguments: str) -> None:
    command = [_found(program), *arguments]
    # What the server prints later would keep a pipe open for as long as it runs.
    with tempfile.TemporaryFile() as said:
        ended = subprocess.run(command, stdout=said, stderr=said, cwd="/", **_AS_POSTGRES)  # type: ignore[call-overload]
        if ended.returncode:
            said.seek(0)
            raise RuntimeError(f"{command}: {said.read().decode(errors='replace')}")


def _found(program: str) -> str:
    debian = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{program}"), key=lambda path: float(path.parts[4]))
    found = shutil.which(program) or next((str(path) for path in reversed(debian)), None)
    if found is None:
        raise RuntimeError(f"the tests of the store need PostgreSQL's {program}; install the server's package")
    return found
