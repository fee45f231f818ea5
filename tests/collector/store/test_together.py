"""Several collectors at once: nothing is doubled, nothing is lost, nothing is half there."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from sqlalchemy import func, select

from collector.store.database import Database
from collector.store.schema import CONTENTS, JUDGEMENTS, SWEEPS
from collector.store.store import opened
from tests.collector.store.judged import EVENING, fleet, start
from tests.collector.store.test_killed import whole
from tests.collector.store.test_pruning import unused

ROOT = Path(__file__).parents[3]
COLLECTORS = 3
PAIRS = 9

# Its arguments: the store, a sweep to go on with (or nothing), the pairs, how often, whether it prunes.
COLLECT = """
import json, sys
from datetime import date, timedelta
from tests.collector.store.judged import EVENING, judged, start
from collector.store.store import opened
from collector.store.writing import Writer
url, sweep, pairs, times, prunes = json.loads(sys.argv[1])
ready = [judged(pair, EVENING + timedelta(days=days)) for days in range(times) for pair in pairs]
with opened(url) as store:
    print("ready", flush=True)
    sys.stdin.readline()
    writer = Writer(store._writing, sweep) if sweep else store.begin(start())
    for number, each in enumerate(ready):
        if number and number % len(pairs) == 0:
            writer = store.begin(start(each.snapshot.moment))
        writer.keep(each.snapshot, each.result, rooms=each.rooms)
        if prunes:
            # What it has just stored goes at once, and with it each text that no other collector has stored meanwhile.
            store.prune(date(2100, 1, 1))
    writer.finish(EVENING)
print("ended")
"""


def collect(*arguments: object) -> None:
    """Run a collector for each, all at once, and see that each comes to its end without a word of trouble."""
    pipe = subprocess.PIPE
    running = [
        subprocess.Popen(
            [sys.executable, "-c", COLLECT, json.dumps(each)], stdin=pipe, stdout=pipe, stderr=pipe, text=True, cwd=ROOT
        )
        for each in arguments
    ]
    for each in running:
        assert each.stdout is not None
        assert each.stdout.readline() == "ready\n", each.communicate()
    for each in running:
        assert each.stdin is not None
        each.stdin.write("go\n")
        each.stdin.flush()
    assert [(*each.communicate(timeout=300), each.returncode) for each in running] == [("ended\n", "", 0)] * len(
        running
    )


def whole_ones(store: Database) -> dict[str, int]:
    """How many judgements of each pair there are, after seeing that each is whole."""
    with store._reading.connect() as connection:
        rows = connection.execute(select(JUDGEMENTS.c.id, JUDGEMENTS.c.pair)).all()
    counts: dict[str, int] = {}
    for row in rows:
        assert whole(store, row.pair, row.id)
        counts[row.pair] = counts.get(row.pair, 0) + 1
    return counts


def test_collectors_store_the_same_pairs_at_once(store_url: str) -> None:
    names = [pair.name for pair in fleet().pairs[:PAIRS]]
    collect(*[(store_url, None, names, 1, False)] * COLLECTORS)
    with opened(store_url) as store:
        assert isinstance(store, Database)
        assert whole_ones(store) == dict.fromkeys(names, COLLECTORS)
        assert all(len(store.nights(name)) == 1 for name in names)
        assert unused(store) == 0


def test_collectors_store_pairs_of_their_own_at_once(store_url: str) -> None:
    names = [pair.name for pair in fleet().pairs[:PAIRS]]
    shares = [names[number::COLLECTORS] for number in range(COLLECTORS)]
    collect(*[(store_url, None, share, 2, False) for share in shares])
    with opened(store_url) as store:
        assert isinstance(store, Database)
        assert whole_ones(store) == dict.fromkeys(names, 2)
        assert store.pairs() == tuple(sorted(names))


def test_one_sweep_stores_a_pair_once_whoever_tries_at_once(store_url: str) -> None:
    names = [pair.name for pair in fleet().pairs[:PAIRS]]
    with opened(store_url) as store:
        sweep = store.begin(start(EVENING)).id
    collect(*[(store_url, sweep, names, 1, False)] * COLLECTORS)
    with opened(store_url) as store:
        assert isinstance(store, Database)
        assert whole_ones(store) == dict.fromkeys(names, 1)
        assert unused(store) == 0
        with store._reading.connect() as connection:
            assert connection.execute(select(func.count()).select_from(SWEEPS)).scalar() == 1


def test_retention_takes_no_text_that_another_collector_has_just_found_there(store_url: str) -> None:
    names = [pair.name for pair in fleet().pairs[: PAIRS // 2]]
    with opened(store_url):
        pass
    collect((store_url, None, names, 3, False), (store_url, None, names, 3, False), (store_url, None, names, 3, True))
    with opened(store_url) as store:
        assert isinstance(store, Database)
        with store._reading.connect() as connection:
            kept = connection.execute(select(JUDGEMENTS.c.id, JUDGEMENTS.c.pair, JUDGEMENTS.c.report)).all()
            texts = connection.execute(select(func.count()).select_from(CONTENTS)).scalar_one()
        assert len(kept) == 3 * 3 * len(names)
        for row in kept:
            assert row.report is None or whole(store, row.pair, row.id)
            store.report(row.id)
        assert unused(store) == 0
        assert texts
