"""Fuzzes `parsers.read` for one command: `python -m tests.fuzzing --command "show ap summary" --corpus DIR`.

Needs atheris, which nothing else does: `pip install "readypair[fuzz]"`. The last line says what was done. An input on
which `read` raised anything but its documented exceptions, or took longer than its length allows, is kept in the folder
of failures. A run goes on after a failure, and is begun anew where the fuzzer itself ended, until the time is up.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import re
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from parsers import catalogue
from tests.fuzzing.seeds import seeds

_LONGEST = 20_000
_PROGRESS = re.compile(r"#(\d+)\s.*cov: (\d+) ft: (\d+)")
_LAST = re.compile(r"stat::number_of_executed_units:\s*(\d+)|Done (\d+) runs")


@dataclass(frozen=True)
class Round:
    """One run of the fuzzer until it ended: executions, edges and features reached, CPU seconds, kept bad inputs."""

    executions: int
    edges: int
    features: int
    cpu: float


def main() -> None:
    """Run it."""
    options = _options()
    slug = catalogue.slug(options.command)
    corpus, failures = options.corpus / slug, options.failures or options.corpus / "failures"
    for folder in (corpus, failures):
        folder.mkdir(parents=True, exist_ok=True)
    _plant(options.command, corpus)
    started = time.monotonic()
    rounds = []
    while (left := options.seconds - (time.monotonic() - started)) >= 1:
        rounds.append(_round(options.command, corpus, failures, int(left)))
    found = sorted(path.name for path in failures.iterdir() if path.name.startswith(f"{slug}-"))
    print(
        f"{options.command}: {time.monotonic() - started:.0f} s wall, {sum(each.cpu for each in rounds):.0f} s CPU,"
        f" {sum(each.executions for each in rounds):,} executions, {max(each.edges for each in rounds):,} edges,"
        f" {max(each.features for each in rounds):,} features, {len(rounds)} rounds, failures: {len(found)}",
        *found,
    )


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzzing", description=__doc__)
    parser.add_argument("--command", required=True, metavar="TEXT", help="a command of the catalogue")
    parser.add_argument("--seconds", type=int, default=600, metavar="N", help="how long, by the wall clock")
    parser.add_argument("--corpus", type=Path, required=True, metavar="DIR", help="where the inputs are kept")
    parser.add_argument("--failures", type=Path, metavar="DIR", help="where the failing inputs are kept")
    options = parser.parse_args()
    if catalogue.find(options.command) is None:
        parser.error(f"{options.command!r} is not in the catalogue of commands")
    return options


def _plant(command: str, corpus: Path) -> None:
    for text in seeds(command):
        content = text.encode("utf-8", "surrogateescape")
        if len(content) <= _LONGEST:
            (corpus / hashlib.sha1(content, usedforsecurity=False).hexdigest()).write_bytes(content)


def _round(command: str, corpus: Path, failures: Path, seconds: int) -> Round:
    slug = catalogue.slug(command)
    flags = (
        f"-max_total_time={seconds}",
        f"-max_len={_LONGEST}",
        "-timeout=60",
        "-rss_limit_mb=1500",
        "-print_final_stats=1",
        f"-artifact_prefix={failures}/{slug}-fuzzer-",
        str(corpus),
    )
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.fuzzing.guided", command, str(failures), *flags],
        stderr=subprocess.PIPE,
        text=True,
        errors="replace",
    )
    assert process.stderr is not None
    executions = edges = features = 0
    for line in process.stderr:
        sys.stderr.write(line)
        if progress := _PROGRESS.match(line):
            executions, edges, features = (int(each) for each in progress.groups())
        elif last := _LAST.match(line):
            executions = int(last[1] or last[2])
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return Round(executions, edges, features, usage.ru_utime + usage.ru_stime)


if __name__ == "__main__":
    main()
