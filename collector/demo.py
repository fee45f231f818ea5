"""The demo: where its inventory and its fixtures lie, and the simulated controllers of its fleet."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING

import inventory
from collector import recording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from collector.simulated import Credentials
    from inventory.opening import Fleet
    from inventory.pairs import Pair


# The evening that the demo's fixtures were "recorded": what they tell of times is told as of then.
EVENING = datetime(2027, 2, 5, 22, 0, tzinfo=timezone(timedelta(hours=1)))


@dataclass(frozen=True)
class Controllers:
    """The simulated controllers while they run: each member's port on `address`, what lets in, whom to recognise."""

    address: str
    ports: Mapping[str, int]
    credentials: Credentials
    known_hosts: Path


def fixtures_folder() -> Path:
    """The demo's recordings: inside the package where it was installed, beside it in a checkout."""
    package = Path(__file__).parent
    installed = package / "demo_fixtures"
    return installed if installed.is_dir() else package.parent / "fixtures" / "demo"


def inventory_folder() -> Path:
    """The demo's inventory."""
    return Path(inventory.__file__).parent / "demo"


@contextmanager
def controllers(fleet: Fleet, recordings: Path | None = None) -> Iterator[Controllers]:
    """Run a simulated controller for every member, and lead Nornir's hosts to them until the block ends.

    `recordings` is the folder of the members' captures (default: the demo's). Where it holds none of a member's,
    nothing listens on that member's port.
    """
    from collector import simulated

    folder = recording.find(recordings or fixtures_folder())
    own = {member.name: folder / member.name for pair in fleet.pairs for member in pair.members}
    unreachable = simulated.Behaviour(unreachable=True)
    behaviours = {name: unreachable for name, path in own.items() if not any(path.glob("*.txt"))}
    with (
        tempfile.TemporaryDirectory(prefix="readypair-demo-") as temporary,
        simulated.fleet(own, behaviours) as running,
        led(fleet, running.ports, simulated.ADDRESS),
    ):
        known_hosts = Path(temporary) / "known_hosts"
        known_hosts.write_text(running.known_hosts_text(), encoding="ascii")
        yield Controllers(simulated.ADDRESS, running.ports, running.credentials, known_hosts)


def prepare(fleet: Fleet, pairs: Sequence[Pair], running: Controllers) -> None:
    """Give the sessions what lets them into the simulated controllers, and nothing of the user's own."""
    from collector import ssh
    from collector.credentials import Credentials

    fleet.nornir.config.ssh.config_file = os.devnull
    own = Credentials(running.credentials.username, running.credentials.password)
    found = {member.name: own for pair in pairs for member in pair.members}
    ssh.prepare(fleet.nornir, pairs, found, known_hosts=running.known_hosts)


@contextmanager
def led(fleet: Fleet, ports: Mapping[str, int], address: str) -> Iterator[None]:
    """Lead Nornir's hosts of these names to ports at an address until the block ends."""
    hosts = fleet.nornir.inventory.hosts
    before = {name: (hosts[name].hostname, hosts[name].port) for name in ports}
    try:
        for name, port in ports.items():
            hosts[name].hostname, hosts[name].port = address, port
        yield
    finally:
        for name, (hostname, old_port) in before.items():
            hosts[name].hostname, hosts[name].port = hostname, old_port
