"""Simulated controllers: an SSH server on loopback that serves recorded captures, one port a member.

`python -m collector.simulated DIR` serves every member of a folder of captures until it is interrupted; it is the way
to try a new template without a device.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import secrets
import signal
import socket
import sys
import threading
from collections.abc import Callable, Coroutine, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TextIO

import asyncssh

from collector import recording
from collector.simulated_shell import (
    LIMITED_SHELL,
    PIECE,
    Answering,
    Answers,
    Behaviour,
    Drop,
    Hangup,
    Shell,
    Switched,
    Terminal,
)

__all__ = ["LIMITED_SHELL", "WIRE_LOG", "Behaviour", "Credentials", "Fleet", "Received", "fleet", "recordings"]

ADDRESS = "127.0.0.1"
WIRE_LOG = "READYPAIR_WIRE_LOG"
"""The variable of the environment that names a file for what all simulated controllers receive, in every process."""
_PAGE = 24
_Socket = socket.socket


@dataclass(frozen=True)
class Credentials:
    """What a simulated controller lets in; `public_key` is one line in OpenSSH's format, `secret` that of `enable`."""

    username: str
    password: str = field(repr=False)
    secret: str | None = field(default=None, repr=False)
    public_key: str | None = None

    @classmethod
    def random(cls) -> Credentials:
        """Credentials for one run, enable secret included."""
        return cls("demo", secrets.token_urlsafe(18), secrets.token_urlsafe(18))


@dataclass(frozen=True)
class Received:
    """One line that a member received, and when; a secret is shown as asterisks."""

    member: str
    at: datetime
    line: str


class Fleet:
    """Simulated controllers that are running; made by `fleet`."""

    def __init__(
        self, members: Mapping[str, _Member], credentials: Credentials, log: Log, loop: asyncio.AbstractEventLoop
    ) -> None:
        self._members = members
        self._log = log
        self._loop = loop
        self.credentials = credentials
        self.ports: dict[str, int] = {name: member.port for name, member in members.items()}

    def known_hosts_text(self) -> str:
        """The members' host keys as lines of a known_hosts file in OpenSSH's format."""
        lines = [f"[{ADDRESS}]:{member.port} {member.public_host_key}" for member in self._members.values()]
        return "".join(line + "\n" for line in lines)

    def received(self, member: str) -> list[str]:
        """The lines that a member received, in order, of all its sessions."""
        return [entry.line for entry in self._log.entries(member)]

    def leave(self, member: str, *, silent: bool = False) -> None:
        """Drop the member's sessions and refuse connections, or (`silent`) take them and say nothing, until it returns.

        Only a member that was given answers of its own may leave. Returns when it has.
        """
        self._run(self._members[member].leave(silent))

    def come_back(self, member: str) -> None:
        """Let the member listen again, at the port that it had."""
        self._run(self._members[member].come_back())

    def drop_sessions(self, member: str) -> None:
        """Drop the member's sessions without a farewell."""
        self._run(self._members[member].drop_sessions())

    def _run(self, step: Coroutine[Any, Any, None]) -> None:
        asyncio.run_coroutine_threadsafe(step, self._loop).result()

    @property
    def log(self) -> list[Received]:
        """The lines that all members received, in order."""
        return self._log.entries()


class Log:
    """Every line received, in memory and, where files are given, in them as one JSON object a line."""

    def __init__(self, *files: TextIO) -> None:
        self._entries: list[Received] = []
        self._files = files
        self._lock = threading.Lock()

    def add(self, member: str, line: str) -> None:
        """Note a line that a member received just now."""
        entry = Received(member, datetime.now(UTC), line)
        with self._lock:
            self._entries.append(entry)
            for file in self._files:
                row = {"at": entry.at.isoformat(), "member": member, "line": line, "process": os.getpid()}
                file.write(json.dumps(row) + "\n")
                file.flush()

    def entries(self, member: str | None = None) -> list[Received]:
        """What was received, by one member or by all."""
        with self._lock:
            return [entry for entry in self._entries if member in (None, entry.member)]


@dataclass
class _Member:
    """One controller: its socket, its host key, and what is left of its behaviour.

    The socket listens itself; where the member may leave and return, it only keeps the port for those that do.
    """

    name: str
    answers: Answering
    behaviour: Behaviour
    credentials: Credentials
    log: Log
    socket: _Socket
    may_leave: bool = False
    host_key: asyncssh.SSHKey = field(default_factory=lambda: asyncssh.generate_private_key("ssh-ed25519"))
    cuts_left: int = field(init=False)
    switched: Switched = field(default_factory=Switched)
    connections: set[asyncssh.SSHServerConnection] = field(default_factory=set)
    _acceptor: asyncssh.SSHAcceptor | None = None
    _deaf: _Socket | None = None
    _away: bool = False

    def __post_init__(self) -> None:
        self.cuts_left = self.behaviour.cuts
        self.port: int = self.socket.getsockname()[1]

    @property
    def public_host_key(self) -> str:
        """The host key that it is known by, in OpenSSH's format, without a comment."""
        strange = self.behaviour.strange_host_key
        known = asyncssh.generate_private_key("ssh-ed25519") if strange else self.host_key
        return " ".join(known.export_public_key().decode("ascii").split()[:2])

    async def listen(self) -> None:
        """Listen, unless the member is to be unreachable: then its port stays taken and closed."""
        if self.behaviour.unreachable:
            return
        if self.behaviour.deaf:
            self.socket.listen()
            return
        self._acceptor = await asyncssh.create_server(
            lambda: _Door(self.credentials, self.behaviour, self.connections, lambda: not self._away),
            sock=_bound(self.port, shared=True) if self.may_leave else self.socket,
            server_host_keys=[self.host_key],
            process_factory=self.talk,
            encoding=None,
            line_editor=False,
            agent_forwarding=False,
            gss_host=None,
            keepalive_interval=0,
        )

    async def leave(self, silent: bool) -> None:
        """Stop listening and drop the sessions; where it is to be `silent`, connections are made and then ignored."""
        assert self.may_leave, f"{self.name} has only one socket"
        self._away = True
        self.close()
        await self.drop_sessions()
        if silent:
            self._deaf = _bound(self.port, shared=True)
            self._deaf.listen()

    async def come_back(self) -> None:
        """Listen again after `leave`."""
        self._away = False
        self.close()
        await self.listen()

    async def drop_sessions(self) -> None:
        """Drop the sessions without a farewell."""
        for connection in list(self.connections):
            connection.abort()

    def close(self) -> None:
        """Stop listening."""
        if self._acceptor is not None:
            self._acceptor.close()
        if self._deaf is not None:
            self._deaf.close()
        self._acceptor = self._deaf = None

    async def talk(self, process: asyncssh.SSHServerProcess[bytes]) -> None:
        """One session, from the shell's opening to its end."""
        connection: asyncssh.SSHServerConnection = process.get_extra_info("connection")
        paged = self.behaviour.paging or self.behaviour.stubborn_pager
        terminal = Terminal(_Wire(process), _PAGE if paged else 0, 1 if self.behaviour.one_byte else PIECE)
        try:
            if process.subsystem:
                raise Hangup
            shell = Shell(
                self.name,
                self.answers,
                self.behaviour,
                self.credentials.secret,
                self._heard,
                self._cut,
                terminal,
                switched=self.switched,
            )
            if process.command is None:
                await shell.run()
            else:
                terminal.page = 0
                self._heard(process.command)
                await shell.obey(process.command)
        except Drop:
            connection.abort()
            return
        except (Hangup, asyncssh.Error, OSError):
            pass
        with suppress(asyncssh.Error, OSError):
            await terminal.flush()
            process.exit(0)
            connection.close()

    def _heard(self, line: str) -> None:
        self.log.add(self.name, line)

    def _cut(self, command: str) -> bool:
        wanted = self.behaviour.cut_command
        if not self.cuts_left or (wanted is not None and command.lower() != wanted.lower()):
            return False
        self.cuts_left -= 1
        return True


class _Door(asyncssh.SSHServer):
    """Lets in who has the credentials."""

    def __init__(
        self,
        credentials: Credentials,
        behaviour: Behaviour,
        connections: set[asyncssh.SSHServerConnection],
        is_open: Callable[[], bool],
    ) -> None:
        self._credentials = credentials
        self._behaviour = behaviour
        self._connections = connections
        self._is_open = is_open
        self._own: asyncssh.SSHServerConnection | None = None
        self._lost = asyncio.Event()

    def connection_made(self, conn: asyncssh.SSHServerConnection) -> None:
        self._own = conn
        self._connections.add(conn)
        # It was accepted before the member left, and is heard of only now.
        if not self._is_open():
            conn.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        self._lost.set()
        if self._own:
            self._connections.discard(self._own)

    async def begin_auth(self, username: str) -> bool:
        if self._behaviour.silent_at_login:
            await self._lost.wait()
        if self._behaviour.locked and self._own:
            self._own.send_auth_banner(self._behaviour.locked + "\r\n")
        return True

    def password_auth_supported(self) -> bool:
        return True

    def validate_password(self, username: str, password: str) -> bool:
        if self._behaviour.locked and self._own:
            self._own.disconnect(asyncssh.DISC_NO_MORE_AUTH_METHODS_AVAILABLE, self._behaviour.locked)
            return False
        right = secrets.compare_digest(password.encode(), self._credentials.password.encode())
        return right and self._admits(username)

    def public_key_auth_supported(self) -> bool:
        return self._credentials.public_key is not None

    def validate_public_key(self, username: str, key: asyncssh.SSHKey) -> bool:
        expected = asyncssh.import_public_key(self._credentials.public_key or "")
        return key.public_data == expected.public_data and self._admits(username)

    def _admits(self, username: str) -> bool:
        return username == self._credentials.username and not self._behaviour.refuse_authentication


class _Wire:
    """A session's bytes; signals and changes of the window's size are of no interest to a controller."""

    def __init__(self, process: asyncssh.SSHServerProcess[bytes]) -> None:
        self._process = process

    async def receive(self) -> bytes:
        while True:
            try:
                return await self._process.stdin.read(4096)
            except (asyncssh.BreakReceived, asyncssh.SignalReceived, asyncssh.TerminalSizeChanged):
                continue

    async def send(self, data: bytes) -> None:
        self._process.stdout.write(data)
        await self._process.stdout.drain()


@contextmanager
def fleet(
    recordings: Mapping[str, Path],
    behaviours: Mapping[str, Behaviour] | None = None,
    credentials: Credentials | None = None,
    port_base: int = 0,
    log_file: Path | None = None,
    answers: Mapping[str, Answering] | None = None,
    today: bool = False,
) -> Iterator[Fleet]:
    """Serve each member's recording (the folder that holds its `<slug>.txt`) until the block ends.

    Members get the ports from `port_base` on, in the mapping's order, or any free ones (0). Raises OSError where a
    port is taken. Without credentials every run has random ones: `fleet.credentials`. Who is in `answers` answers by
    them instead of its recording, and may leave and come back. `today` the recorded clocks show this day. What is
    received also goes to the file that the environment's READYPAIR_WIRE_LOG names, with that of all other processes.
    """
    credentials = credentials or Credentials.random()
    with ExitStack() as stack:
        files = (log_file, os.environ.get(WIRE_LOG))
        log = Log(*(stack.enter_context(_owners_file(Path(file))) for file in files if file))
        members: dict[str, _Member] = {}
        for at, (name, folder) in enumerate(recordings.items()):
            behaviour = (behaviours or {}).get(name, Behaviour())
            own = (answers or {}).get(name)
            port = port_base + at if port_base else 0
            # A named port is to be had again right after the last run; one that stays closed is nobody else's.
            shared = own is not None or (port != 0 and not behaviour.unreachable)
            bound = stack.enter_context(_bound(port, shared=shared))
            answering = Answers(Path(folder), today=today) if own is None else own
            members[name] = _Member(name, answering, behaviour, credentials, log, bound, may_leave=own is not None)
        loop, end = _serve_in_background(members)
        stack.callback(end)
        yield Fleet(members, credentials, log, loop)


def recordings(folder: Path) -> dict[str, Path]:
    """Every member's recording in a folder of captures; RecordingError where it can't be read."""
    found = recording.find(folder)
    return {name: found / name for name in recording.members(found)}


def _serve_in_background(members: Mapping[str, _Member]) -> tuple[asyncio.AbstractEventLoop, Callable[[], None]]:
    """Start serving in a thread of its own; returns its loop, and what ends it."""
    loop = asyncio.new_event_loop()
    over = asyncio.Event()
    ready = threading.Event()
    failures: list[BaseException] = []

    async def serve() -> None:
        try:
            for member in members.values():
                await member.listen()
        except BaseException as error:
            failures.append(error)
            raise
        finally:
            ready.set()
        await over.wait()
        for member in members.values():
            member.close()
        for connection in [one for member in members.values() for one in member.connections]:
            connection.abort()

    def run() -> None:
        with asyncio.Runner(loop_factory=lambda: loop) as runner, suppress(Exception):
            runner.run(serve())

    thread = threading.Thread(target=run, name="simulated controllers", daemon=True)
    thread.start()
    ready.wait()

    def end() -> None:
        with suppress(RuntimeError):
            loop.call_soon_threadsafe(over.set)
        thread.join()

    if failures:
        end()
        raise failures[0]
    return loop, end


def _bound(port: int, *, shared: bool) -> socket.socket:
    """A socket at a port (0: any free one); `shared` with others of the kind, of which one at a time may listen."""
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if shared:
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind((ADDRESS, port))
    except OSError:
        bound.close()
        raise
    return bound


def _owners_file(path: Path) -> TextIO:
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "a", encoding="ascii")


def main(arguments: list[str] | None = None) -> int:
    """Serve a folder of captures until interrupted; prints where each member listens."""
    options = _parser().parse_args(arguments)
    given = given_credentials()
    credentials = given or Credentials.random()
    over = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: over.set())
    try:
        served = recordings(options.folder)
        with fleet(
            served, credentials=credentials, port_base=options.port_base, log_file=options.log, today=True
        ) as running:
            if options.known_hosts:
                options.known_hosts.write_text(running.known_hosts_text(), encoding="ascii")
            print(json.dumps(running.ports) if options.json else hosts(running), flush=True)
            if given is None:
                tell_credentials(credentials)
            over.wait()
    except (recording.RecordingError, OSError) as error:
        print(f"simulated: {error}", file=sys.stderr)
        return 2
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m collector.simulated",
        description="Serves recorded captures over SSH on loopback, one port a member, until interrupted.",
        epilog="Lets in READYPAIR_USERNAME with READYPAIR_PASSWORD; without these, makes up credentials for this run.",
    )
    parser.add_argument("folder", type=Path, metavar="DIR", help="captures: DIR/<member>/<slug>.txt")
    parser.add_argument(
        "--port-base", type=int, default=0, metavar="N", help="ports from N on (default: any free ones)"
    )
    parser.add_argument("--json", action="store_true", help="print member and port as JSON instead of hosts.yaml")
    parser.add_argument("--known-hosts", type=Path, metavar="FILE", help="write the host keys in OpenSSH's format")
    parser.add_argument("--log", type=Path, metavar="FILE", help="append every line received, as JSON")
    return parser


def given_credentials() -> Credentials | None:
    """Those that the environment names; None where it doesn't name both a user and a password."""
    names = ("READYPAIR_USERNAME", "READYPAIR_PASSWORD", "READYPAIR_SECRET")
    username, password, secret = (os.environ.get(name) for name in names)
    return Credentials(username, password, secret) if username and password else None


def hosts(running: Fleet) -> str:
    """The members as a part of Nornir's hosts.yaml; JSON strings are YAML."""
    return "\n".join(
        f"{json.dumps(name)}: {{hostname: {ADDRESS}, port: {port}}}" for name, port in running.ports.items()
    )


def tell_credentials(credentials: Credentials) -> None:
    """Random ones must be told to whoever is to log in; they end with this run."""
    print("# credentials of this run only", file=sys.stderr)
    print(f"export READYPAIR_USERNAME={credentials.username}", file=sys.stderr)
    print(f"export READYPAIR_PASSWORD={credentials.password}", file=sys.stderr)
    print(f"export READYPAIR_SECRET={credentials.secret}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
