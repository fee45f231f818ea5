"""Sweeps of 100 and of 1,000 healthy pairs by the command line, with a store and reports: time, CPU and memory.

The simulated controllers run in a process of their own, as the sweep does, so each has a core where there are two.
Memory is the sweep's own at its peak; that of 1,000 pairs may be 1.5 times that of 100. The last sweep is at a distance
of 40 ms, and says how many pairs one machine does in an hour.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.contest import LOGIN, healthy_fleet, timed

FEW, MANY, AWAY, AT_MOST = 100, 1000, 0.04, 1.5
# What the kernel tells of a child that ended counts what its parent had before; VmHWM is the program's own.
_SWEEP = """
import sys
from collector.cli import main
status = main(sys.argv[2:])
with open("/proc/self/status") as lines, open(sys.argv[1], "w") as told:
    told.write(next(line for line in lines if line.startswith("VmHWM:")).split()[1])
sys.exit(status)
"""


@dataclass(frozen=True)
class Spent:
    """What a sweep took: seconds of wall time, seconds of CPU, its own and the simulated controllers', megabytes."""

    wall: float
    own: float
    controllers: float
    megabytes: float


def main() -> int:
    """Print three sweeps, the ratio of their memory, and how many pairs an hour has; 1 where it is above the limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--few", type=int, default=FEW)
    parser.add_argument("--many", type=int, default=MANY)
    options = parser.parse_args()
    few, many, away = (
        _swept(count, seconds) for count, seconds in ((options.few, 0.0), (options.many, 0.0), (options.many, AWAY))
    )
    ratio = many.megabytes / few.megabytes
    print(f"memory of {options.many} pairs against {options.few}: {ratio:.2f} times; allowed {AT_MOST}")
    print(f"pairs in an hour at {AWAY * 1000:.0f} ms: {options.many / away.wall * 3600:,.0f}")
    return int(ratio > AT_MOST)


def _swept(count: int, away: float) -> Spent:
    before = _cpu()
    with healthy_fleet(count, away) as (_, folder):
        started = _cpu()
        wall = timed(lambda: _sweep(folder))
        own = _cpu() - started
        megabytes = int((folder / "memory").read_text()) / 1000
    # The controllers, and what delays them, are counted now that they have ended.
    spent = Spent(wall, own, _cpu() - before - own, megabytes)
    print(
        f"{count} pairs at {away * 1000:.0f} ms: {wall:.1f} s, {count / wall:.1f} pairs a second; CPU {own:.1f} s, "
        f"{own / count * 1000:.0f} ms a pair, and {spent.controllers:.1f} s the controllers; "
        f"memory {megabytes:.0f} MB at its peak",
        flush=True,
    )
    return spent


def _sweep(folder: Path) -> None:
    command = [sys.executable, "-c", _SWEEP, str(folder / "memory"), "sweep", "--inventory", str(folder), "--quiet"]
    command += ["--store", str(folder / "nights.db"), "--out", str(folder / "out")]
    environment = {
        **os.environ,
        **LOGIN,
        "READYPAIR_KNOWN_HOSTS": str(folder / "known_hosts"),
        "READYPAIR_STATE": str(folder),
    }
    ended = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=environment)
    assert ended.returncode == 0, ended.stderr


def _cpu() -> float:
    """Of all that this program started and that has ended."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return children.ru_utime + children.ru_stime


if __name__ == "__main__":
    sys.exit(main())
