"""A sweep that is killed at any moment has stored whole every pair that it told of, and half of none."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from sqlalchemy import select

from collector.capture import Ending
from collector.store.database import Database
from collector.store.schema import JUDGEMENTS
from collector.store.store import Store, opened
from parsers import catalogue
from tests.collector.store.judged import fleet

ROOT = Path(__file__).parents[3]
PAIRS = 8
KILLS = 20


@contextmanager
def sweeper(url: str) -> Iterator[tuple[IO[str], IO[str]]]:
    """Its standard input and output."""
    command = [sys.executable, "-m", "tests.collector.store.sweeping", url, str(PAIRS)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        yield process.stdin, process.stdout
        process.stdin.close()
        assert process.wait(60) == 0


def swept(sweeping: tuple[IO[str], IO[str]], kill_after: tuple[int, float] | None) -> list[str]:
    """The pairs that one sweep told of; it is killed so many pairs and seconds after its beginning."""
    given, said = sweeping
    given.write("go\n")
    given.flush()
    told: list[str] = []
    child = None
    # The child's first lines may come before the one that names it.
    while (line := said.readline().strip()) != "gone":
        assert line, "the sweeping process ended by itself"
        if line.isdigit():
            child = int(line)
        else:
            told.append(line)
        if child is not None and kill_after is not None and len(told) >= kill_after[0]:
            time.sleep(kill_after[1])
            # On a quick machine it may have come to its end meanwhile.
            with suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
            kill_after = None
    return told


def stored(store: Store, sweep: str) -> dict[str, int]:
    """The judgements of a sweep by pair."""
    assert isinstance(store, Database)
    with store._reading.connect() as connection:
        rows = connection.execute(select(JUDGEMENTS.c.pair, JUDGEMENTS.c.id).where(JUDGEMENTS.c.sweep == sweep))
        return {row.pair: row.id for row in rows}


def whole(store: Store, pair: str, judgement: int) -> bool:
    captures = store.captures(judgement)
    report = store.report(judgement)
    members = {member.name for each in fleet().pairs if each.name == pair for member in each.members}
    return (
        report is not None
        and report["pair"] == pair
        and captures.keys() == members
        and all({each.command for each in own} == {c.text for c in catalogue.asked()} for own in captures.values())
        and all(each.text for own in captures.values() for each in own if each.ending is Ending.COMPLETE)
    )


def test_a_sweep_killed_at_any_moment_has_stored_what_it_told_of(store_url: str) -> None:
    seed = random.SystemRandom().randrange(2**32)
    print(f"seed {seed}")
    chance = random.Random(seed)
    cut_short = 0
    with sweeper(store_url) as sweeping:
        for _ in range(KILLS):
            # A sweep that is killed before it began has no number of its own.
            before = last_sweep(store_url)
            told = swept(sweeping, (chance.randrange(PAIRS), chance.uniform(0, 0.05)))
            assert "ended" not in told or len(told) == PAIRS + 1
            cut_short += "ended" not in told
            with opened(store_url) as store:
                sweep = last_sweep(store_url)
                kept = stored(store, sweep) if sweep and sweep != before else {}
                assert set(told) - {"ended"} <= set(kept)
                assert [pair for pair, judgement in kept.items() if not whole(store, pair, judgement)] == []
        told = swept(sweeping, None)
    assert cut_short >= KILLS // 4
    assert sorted(told) == sorted([*(pair.name for pair in fleet().pairs[:PAIRS]), "ended"])
    with opened(store_url) as store:
        (last,) = store.sweeps(last=1)
        assert last.finished is not None
        assert last.pairs == PAIRS
        assert all(store.nights(pair.name) for pair in fleet().pairs[:PAIRS])


def last_sweep(url: str) -> str | None:
    with opened(url) as store:
        sweeps = store.sweeps(last=1)
        return sweeps[0].id if sweeps else None
