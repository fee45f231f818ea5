"""Our job and a plain one, on the same simulated controllers, which run in a process of their own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from collector import rules, ssh
from collector.credentials import Credentials
from collector.finding import Verdict
from collector.sweep import sweep
from inventory.opening import Fleet, open_inventory
from inventory.pairs import Pair
from parsers import catalogue
from tests.fleet import writing
from tests.fleet.making import healthy_pairs

POLICY = Path(__file__).parents[2] / "inventory" / "demo" / "policy.yaml"
LOGIN = {"READYPAIR_USERNAME": "duty", "READYPAIR_PASSWORD": "benchmark"}


@contextmanager
def healthy_fleet(count: int) -> Iterator[tuple[Fleet, Path]]:
    """As many healthy pairs as asked, their controllers running; the inventory leads to them. Also its folder."""
    with tempfile.TemporaryDirectory(prefix="readypair-benchmark-") as temporary:
        folder = Path(temporary)
        pairs = healthy_pairs(count)
        for pair in pairs:
            writing.write_pair(pair, folder / "captures")
        with _controllers(folder) as ports:
            hosts = {
                member.name: {"hostname": "127.0.0.1", "port": ports[member.name], "groups": [pair.name]}
                for pair in pairs
                for member in pair.members
            }
            # JSON is YAML.
            (folder / "hosts.yaml").write_text(json.dumps(hosts))
            (folder / "groups.yaml").write_text(writing.groups(pairs))
            (folder / "policy.yaml").write_text(POLICY.read_text())
            yield open_inventory(folder, rules.waivable()), folder


@contextmanager
def _controllers(folder: Path) -> Iterator[dict[str, int]]:
    command = [sys.executable, "-m", "collector.simulated", str(folder / "captures"), "--json"]
    command += ["--known-hosts", str(folder / "known_hosts")]
    # The plain job hangs up while the controller still says goodbye, which asyncio complains of on standard error.
    quiet, environment = subprocess.DEVNULL, {**os.environ, **LOGIN}
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=quiet, text=True, env=environment) as process:
        try:
            assert process.stdout
            yield json.loads(process.stdout.readline())
        finally:
            process.terminate()


def ours(fleet: Fleet, folder: Path, pairs: Sequence[Pair], workers: int) -> None:
    """Sweep: ask over SSH with strict host keys, parse, judge by all rules. AssertionError unless every pair is go."""
    credentials = Credentials(LOGIN["READYPAIR_USERNAME"], LOGIN["READYPAIR_PASSWORD"])
    members = dict.fromkeys((member.name for pair in pairs for member in pair.members), credentials)
    ssh.prepare(fleet.nornir, pairs, members, known_hosts=folder / "known_hosts")
    result = sweep(fleet, pairs, connection=ssh.CONNECTION, workers=workers)
    not_go = [pair for pair in result.pairs if pair.verdict is not Verdict.GO]
    for pair in not_go[:1]:
        for finding in pair.findings:
            print(f"  {pair.pair.name}: {finding.rule}: {finding.status}: {finding.statement}", file=sys.stderr)
    assert not not_go, f"{len(not_go)} healthy pairs are not go"


def plain(fleet: Fleet, pairs: Sequence[Pair], workers: int) -> None:
    """A plain Nornir job with nornir-netmiko: the same commands, the answers thrown away, host keys unchecked."""
    from nornir.core.task import Result, Task
    from nornir.plugins.runners import ThreadedRunner
    from nornir_netmiko.tasks import netmiko_send_command

    names = {member.name for pair in pairs for member in pair.members}
    hosts = fleet.nornir.filter(filter_func=lambda host, **_: host.name in names)
    for host in hosts.inventory.hosts.values():
        host.username, host.password = LOGIN["READYPAIR_USERNAME"], LOGIN["READYPAIR_PASSWORD"]

    def ask(task: Task) -> Result:
        for command in catalogue.asked():
            task.run(task=netmiko_send_command, command_string=command.text)
        return Result(task.host)

    members = hosts.with_runner(ThreadedRunner(num_workers=workers))
    failed = members.run(task=ask).failed_hosts
    assert not failed, f"the plain job failed on {sorted(failed)}"
    members.close_connections()


def timed(job: Callable[[], None]) -> float:
    """Seconds of wall time."""
    start = time.perf_counter()
    job()
    return time.perf_counter() - start
