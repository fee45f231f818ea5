"""Sweeps in processes of their own, of pairs whose controllers are simulated on loopback."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from collector import demo, simulated
from collector.simulated import ADDRESS, Behaviour

COMMAND = [sys.executable, "-c", "from collector.cli import run; run()"]
# The form that the README promises to monitors.
LAST_LINE = re.compile(
    r"readypair sweep: (?P<pairs>\d+) pairs, (?P<go>\d+) go, (?P<no_go>\d+) no-go, (?P<undecided>\d+) undecided, "
    r"(?P<late>\d+) not reached in time; ended (?P<ended>complete|deadline|interrupted|failed) after \d+ s; "
    r"exit (?P<exit>[0123])"
)
# What hangs hangs for ever, so that this is long enough for the slowest machine and still tells one from the other.
PATIENCE = 60.0
# An address of loopback to which the way leads by a jump host.
BY_JUMP = "127.0.0.2"


@dataclass(frozen=True)
class Service:
    """What a sweep in a process of its own needs around it."""

    folder: Path
    environment: Mapping[str, str]

    @property
    def inventory(self) -> Path:
        """The inventory's folder."""
        return self.folder / "inventory"

    def lead(self, ports: Mapping[str, int], addresses: Mapping[str, str] | None = None) -> None:
        """Write the inventory of these members (`<pair>-a` and `<pair>-b`), which listen at these ports."""
        pairs = dict.fromkeys(name.rpartition("-")[0] for name in ports)
        hosts = (
            f"{name}: {{hostname: {(addresses or {}).get(name, ADDRESS)}, port: {port}, "
            f"groups: [{name.rpartition('-')[0]}]}}\n"
            for name, port in ports.items()
        )
        groups = (
            f"{pair}: {{platform: ios, data: {{pair: {pair}, site: Harbour, target_release: 17.12.4, "
            "image: {file: wx-universal.17.12.04.bin, bytes: 1250000000}}}\n"
            for pair in pairs
        )
        (self.inventory / "hosts.yaml").write_text("".join(hosts))
        (self.inventory / "groups.yaml").write_text("".join(groups))

    def start(self, *arguments: str, **more: Any) -> subprocess.Popen[str]:
        """Start a command; `more` is given to Popen. Whoever started it waits for it."""
        streams = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        return subprocess.Popen([*COMMAND, *arguments], env=self.environment, text=True, **{**streams, **more})

    def run(self, *arguments: str, **more: Any) -> tuple[int, str, str]:
        """Run a command to its end; its exit status, and what it said on standard output and standard error."""
        with ending(self.start(*arguments, **more)) as process:
            out, err = process.communicate(timeout=PATIENCE)
        return process.returncode, out or "", err


@contextmanager
def service(folder: Path, running: simulated.Fleet) -> Iterator[Service]:
    """A service whose own files are in `folder`, and which these controllers let in."""
    for name in ("inventory", "home/.ssh"):
        (folder / name).mkdir(parents=True)
    shutil.copy(demo.inventory_folder() / "policy.yaml", folder / "inventory")
    (folder / "known_hosts").write_text(running.known_hosts_text())
    environment = {
        "PATH": os.environ["PATH"],
        "HOME": str(folder / "home"),
        "READYPAIR_INVENTORY": str(folder / "inventory"),
        "READYPAIR_USERNAME": running.credentials.username,
        "READYPAIR_PASSWORD": running.credentials.password,
        "READYPAIR_KNOWN_HOSTS": str(folder / "known_hosts"),
        "READYPAIR_STATE": str(folder / "state"),
    }
    made = Service(folder, environment)
    made.lead(running.ports)
    yield made


@contextmanager
def ending(process: subprocess.Popen[str]) -> Iterator[subprocess.Popen[str]]:
    """The process, which is killed at the end of the block if it still runs."""
    with process:
        try:
            yield process
        finally:
            process.kill()


def controllers(*pairs: str, **behaviours: Behaviour) -> Any:
    """Simulated controllers of these pairs, which answer as the demo's pair that is go, and of those by their name."""
    members = [f"{pair}-{member}" for pair in (*pairs, *behaviours) for member in "ab"]
    recordings = {name: demo.fixtures_folder() / f"quay-{name[-1]}" for name in members}
    own = {f"{pair}-{member}": behaviour for pair, behaviour in behaviours.items() for member in "ab"}
    return simulated.fleet(recordings, own, today=True)


@contextmanager
def deaf(*pairs: str, connecting: str = "") -> Iterator[dict[str, socket.socket]]:
    """Sockets for members of these pairs, which take connections and say nothing; those of `connecting` take none."""
    with ExitStack() as held:
        made: dict[str, socket.socket] = {}
        for name in (f"{pair}-{member}" for pair in (*pairs, *([connecting] if connecting else [])) for member in "ab"):
            made[name] = held.enter_context(socket.socket())
            made[name].bind((ADDRESS, 0))
            made[name].listen(0 if name[:-2] == connecting else 16)
            made[name].settimeout(PATIENCE)
            for _ in range(4 if name[:-2] == connecting else 0):
                # Whoever comes behind those that fill the queue waits for ever.
                waiting = held.enter_context(socket.socket())
                waiting.setblocking(False)
                waiting.connect_ex(made[name].getsockname())
        yield made


def ports(running: simulated.Fleet, sockets: Mapping[str, socket.socket]) -> dict[str, int]:
    """Where all members listen, in this order."""
    return {**running.ports, **{name: own.getsockname()[1] for name, own in sockets.items()}}


def read_to(stream: IO[str] | None, wanted: str) -> str:
    """The lines up to the one that begins so; what was said so far, if it never comes."""
    assert stream is not None
    said = ""
    for line in stream:
        said += line
        if line.startswith(wanted):
            return said
    raise AssertionError(f"{wanted!r} never came: {said}")


def last_line(said: str, status: int) -> dict[str, str]:
    """What the last line on standard error says; it is there once, and says how the command ended."""
    lines = said.splitlines()
    assert [line for line in lines if line.startswith("readypair sweep: ")] == lines[-1:], said
    found = LAST_LINE.fullmatch(lines[-1])
    assert found, lines[-1]
    assert found["exit"] == str(status)
    return found.groupdict()
