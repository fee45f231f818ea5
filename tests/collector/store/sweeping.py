"""A process that sweeps the demo's recordings into a store as often as it is told to, each time in a child of its own.

`python -m tests.collector.store.sweeping URL PAIRS` loads everything once. For every line on standard input it forks a
child and prints its number; the child prints the name of each pair that it is told is judged, and `ended` at its end.
"""

from __future__ import annotations

import os
import sys
from datetime import datetime

import alembic.command  # noqa: F401 - loaded here, not in each child
import psycopg  # noqa: F401

from collector import demo, job
from collector.nights.night import Source
from collector.store import database  # noqa: F401
from collector.store.memory import StoreMemory
from collector.store.store import opened
from collector.sweep import Listeners, sweep
from tests.collector.store.judged import fleet, start


def swept(url: str, pairs: int) -> None:
    """Sweep the first pairs of the demo, judged now."""
    demo_fleet = fleet()
    chosen = demo_fleet.pairs[:pairs]
    job.prepare_recorded(demo_fleet.nornir, chosen, demo.fixtures_folder())
    with opened(url) as store:
        writer = store.begin(start(datetime.now().astimezone(), Source.SWEEP))
        memory = StoreMemory(store, writer, demo_fleet)
        sweep(
            demo_fleet,
            chosen,
            connection=job.RECORDED,
            workers=2,
            memory=memory,
            listeners=Listeners(judged=lambda result: print(result.pair.name, flush=True)),
        )
        memory.finish(datetime.now().astimezone())
        print(memory.problem or "ended", flush=True)


def main() -> None:
    """Sweep once for every line."""
    fleet()
    print("ready", flush=True)
    for _ in sys.stdin:
        child = os.fork()
        if child == 0:
            status = 1
            try:
                swept(sys.argv[1], int(sys.argv[2]))
                status = 0
            finally:
                os._exit(status)
        print(child, flush=True)
        os.waitpid(child, 0)
        print("gone", flush=True)


if __name__ == "__main__":
    main()
