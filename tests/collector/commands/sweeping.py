"""Sweeps in processes of their own, of pairs whose controllers are simulated on loopback."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from collector import demo, simulated

COMMAND = [sys.executable, "-c", "from collector.cli import run; run()"]
# The form that the README promises to monitors.
LAST_LINE = re.compile(
    r"readypair sweep: (?P<pairs>\d+) pairs, (?P<go>\d+) go, (?P<no_go>\d+) no-go, (?P<undecided>\d+) undecided, "
    r"(?P<late>\d+) not reached in time; ended (?P<ended>complete|deadline|interrupted|failed) after \d+ s; "
    r"exit (?P<exit>[0123])"
)
# Long enough for any machine: what hangs, hangs for ever.
PATIENCE = 60.0


@dataclass(frozen=True)
class Service:
    """An inventory whose members listen at these ports of loopback, and what a sweep of it needs around it."""

    folder: Path
    ports: Mapping[str, int]
    credentials: simulated.Credentials
    known_hosts: str
    environment: dict[str, str] = field(default_factory=dict)

    @property
    def inventory(self) -> Path:
        return self.folder / "inventory"

    def prepare(self) -> None:
        """Write the inventory, and say in the environment what a sweep needs."""
        self.inventory.mkdir(exist_ok=True)
        pairs = dict.fromkeys(name.rpartition("-")[0] for name in self.ports)
        hosts = (
            f"{name}: {{hostname: 127.0.0.1, port: {port}, groups: [{name.rpartition('-')[0]}]}}\n"
            for name, port in self.ports.items()
        )
        groups = (
            f"{pair}: {{platform: ios, data: {{pair: {pair}, site: Harbour, target_release: 17.12.4, "
            "image: {file: wx-universal.17.12.04.bin, bytes: 1250000000}}}\n"
            for pair in pairs
        )
        (self.inventory / "hosts.yaml").write_text("".join(hosts))
        (self.inventory / "groups.yaml").write_text("".join(groups))
        shutil.copy(demo.inventory_folder() / "policy.yaml", self.inventory)
        (self.folder / "known_hosts").write_text(self.known_hosts)
        (self.folder / "home").mkdir(exist_ok=True)
        self.environment.update(
            PATH=os.environ["PATH"],
            HOME=str(self.folder / "home"),
            READYPAIR_INVENTORY=str(self.inventory),
            READYPAIR_USERNAME=self.credentials.username,
            READYPAIR_PASSWORD=self.credentials.password,
            READYPAIR_KNOWN_HOSTS=str(self.folder / "known_hosts"),
            READYPAIR_STATE=str(self.folder / "state"),
        )

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        """Start a command; whoever started it waits for it or ends it."""
        return subprocess.Popen(
            [*COMMAND, *arguments],
            env=self.environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command to its end."""
        return subprocess.run(
            [*COMMAND, *arguments],
            env=self.environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE,
        )


def last_line(said: str, status: int) -> dict[str, str]:
    """What the last line on standard error says; it is there once, and says how the command ended."""
    lines = said.splitlines()
    assert [line for line in lines if line.startswith("readypair sweep: ")] == lines[-1:]
    found = LAST_LINE.fullmatch(lines[-1])
    assert found, lines[-1]
    assert found["exit"] == str(status)
    return found.groupdict()
