"""Our job and a plain one, on the same simulated controllers, which run in a process of their own.

The controllers may be as far away as one likes: see tests.benchmarks.delay, whose relay stands before all of them, for
both contestants alike.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from collector import rules, ssh
from collector.credentials import Credentials
from collector.finding import Verdict
from collector.sweep import sweep
from inventory.opening import Fleet, open_inventory
from inventory.pairs import Pair
from parsers import catalogue
from tests.benchmarks.delay import delayed, round_trip
from tests.fleet import writing
from tests.fleet.making import healthy_pairs

POLICY = Path(__file__).parents[2] / "inventory" / "demo" / "policy.yaml"
PROMPT_TOLD = {"expect_string": r"#\s*$"}
"""What somebody adds who knows that each command would cost a second round trip otherwise."""
LOGIN = {"READYPAIR_USERNAME": "duty", "READYPAIR_PASSWORD": "benchmark"}


@contextmanager
def healthy_fleet(count: int, away: float = 0.0) -> Iterator[tuple[Fleet, Path]]:
    """As many healthy pairs as asked, their controllers running; the inventory leads to them. Also its folder.

    `away` is how far that is, in seconds of a round trip: then a relay delays what is said.
    """
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="readypair-benchmark-")))
        pairs = healthy_pairs(count)
        for pair in pairs:
            writing.write_pair(pair, folder / "captures")
        own, keys = stack.enter_context(_controllers(folder))
        ports = stack.enter_context(delayed(own.values(), away / 2)) if away else {}
        hosts = {
            member.name: {
                "hostname": "127.0.0.1",
                "port": ports.get(own[member.name], own[member.name]),
                "groups": [pair.name],
            }
            for pair in pairs
            for member in pair.members
        }
        # JSON is YAML.
        (folder / "hosts.yaml").write_text(json.dumps(hosts))
        (folder / "groups.yaml").write_text(writing.groups(pairs))
        (folder / "policy.yaml").write_text(POLICY.read_text())
        known = (f"[127.0.0.1]:{hosts[member]['port']} {key}\n" for member, key in keys.items())
        (folder / "known_hosts").write_text("".join(known))
        yield open_inventory(folder, rules.waivable()), folder


@contextmanager
def _controllers(folder: Path) -> Iterator[tuple[dict[str, int], dict[str, str]]]:
    """Each member's port, and its host key as it stands behind the address in a file of known hosts."""
    known_hosts = folder / "simulated_known_hosts"
    command = [sys.executable, "-m", "collector.simulated", str(folder / "captures"), "--json"]
    command += ["--known-hosts", str(known_hosts)]
    # The plain job hangs up while the controller still says goodbye, which asyncio complains of on standard error.
    quiet, environment = subprocess.DEVNULL, {**os.environ, **LOGIN}
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=quiet, text=True, env=environment) as process:
        try:
            assert process.stdout
            ports = json.loads(process.stdout.readline())
            keys = [line.split(" ", 1)[1] for line in known_hosts.read_text().splitlines()]
            yield ports, dict(zip(ports, keys, strict=True))
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


def plain(fleet: Fleet, pairs: Sequence[Pair], workers: int, **asking: str) -> None:
    """A plain Nornir job with nornir-netmiko: the same commands, the answers thrown away, host keys unchecked.

    By nornir-netmiko's defaults, which look for the prompt before each command, unless `asking` (PROMPT_TOLD) tells it.
    """
    from nornir.core.task import Result, Task
    from nornir.plugins.runners import ThreadedRunner
    from nornir_netmiko.tasks import netmiko_send_command

    names = {member.name for pair in pairs for member in pair.members}
    hosts = fleet.nornir.filter(filter_func=lambda host, **_: host.name in names)
    for host in hosts.inventory.hosts.values():
        host.username, host.password = LOGIN["READYPAIR_USERNAME"], LOGIN["READYPAIR_PASSWORD"]

    def ask(task: Task) -> Result:
        for command in catalogue.asked():
            task.run(task=netmiko_send_command, command_string=command.text, **asking)
        return Result(task.host)

    members = hosts.with_runner(ThreadedRunner(num_workers=workers))
    failed = members.run(task=ask).failed_hosts
    assert not failed, f"the plain job failed on {sorted(failed)}"
    members.close_connections()


def far_away() -> Iterator[float]:
    """The round trips to measure at, in seconds: none, and 40 ms; says of each what it is in truth."""
    for seconds in (0.0, 0.04):
        print(
            f"a round trip of {seconds * 1000:.0f} ms (measured: {round_trip(seconds / 2) * 1000:.1f} ms)", flush=True
        )
        yield seconds


def timed(job: Callable[[], None]) -> float:
    """Seconds of wall time."""
    start = time.perf_counter()
    job()
    return time.perf_counter() - start
