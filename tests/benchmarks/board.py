"""The board of 1,000 pairs with a year of nights: what writing it takes, and how fast its first page opens.

The store is filled beforehand. The board is written by the command itself; its memory is the greatest sum of what all
of its processes had resident at one moment, with what they share counted in each. The page is opened from the disk by a
headless Chromium, up to the load event and on to the first answer of its filter.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import sync_playwright

from collector.store import opening
from tests.collector.report.conftest import ARGUMENTS, chromium
from tests.year import bulk
from tests.year.bulk import Size

SECONDS, MEGABYTES, PAGE_BYTES, OPEN_SECONDS = 60, 500, 2_000_000, 2.0
_PAGE = os.sysconf("SC_PAGE_SIZE")


@dataclass(frozen=True)
class Taken:
    """What a run took: seconds, seconds of CPU, megabytes."""

    wall: float
    cpu: float
    memory: float


def main() -> None:
    """Print all figures beside what is allowed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=1000)
    parser.add_argument("--nights", type=int, default=365)
    parser.add_argument("--keep", type=Path, help="keep the store and the board in this folder")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="readypair-benchmark-") as temporary:
        folder = options.keep or Path(temporary)
        store, out = folder / "nights.db", folder / "board"
        if not store.exists():
            _fill(store, Size(options.pairs, options.nights, kept=2))
        for what in ("first", "again"):
            taken = _written(store, out)
            print(
                f"board of {options.pairs} pairs, {options.nights} nights, {what}: {taken.wall:.1f} s "
                f"(allowed {SECONDS}), CPU {taken.cpu:.1f} s, memory {taken.memory:.0f} MB (allowed {MEGABYTES})"
            )
        size = (out / "index.html").stat().st_size
        print(f"start page: {size:,} bytes (allowed {PAGE_BYTES:,})")
        _open(out / "index.html")


def _fill(store: Path, size: Size) -> None:
    engine = opening.engine_of(opening.url_of(str(store)), existing=False)
    bulk.fill([opening.writing(engine)], size)
    engine.dispose()


def _written(store: Path, out: Path) -> Taken:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    command = [sys.executable, "-c", "from collector.cli import run; run()"]
    process = subprocess.Popen([*command, "board", "--store", str(store), "--out", str(out)], stdout=subprocess.DEVNULL)
    peak = 0
    while process.poll() is None:
        peak = max(peak, sum(map(_resident, _family(process.pid))))
        time.sleep(0.1)
    wall = time.perf_counter() - start
    if process.returncode:
        sys.exit(f"the board ended with {process.returncode}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Taken(wall, cpu, peak / 1e6)


def _family(pid: int) -> list[int]:
    """The process and all that it started."""
    found, waiting = [], [pid]
    while waiting:
        each = waiting.pop()
        found.append(each)
        try:
            for thread in Path(f"/proc/{each}/task").iterdir():
                waiting += map(int, (thread / "children").read_text().split())
        except OSError:
            continue
    return found


def _resident(pid: int) -> int:
    try:
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * _PAGE
    except OSError:
        return 0


def _open(index: Path) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        for _ in range(3):
            tab = browser.new_page()
            start = time.perf_counter()
            tab.goto(index.as_uri())
            loaded = time.perf_counter() - start
            tab.fill("#by-text", "flash")
            tab.wait_for_function("!document.getElementById('shown').textContent.startsWith('0 ')")
            usable = time.perf_counter() - start
            print(f"start page loaded in {loaded:.2f} s, usable in {usable:.2f} s (allowed {OPEN_SECONDS})")
            tab.close()
        browser.close()


if __name__ == "__main__":
    main()
