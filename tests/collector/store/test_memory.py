"""A sweep with a store: what it remembers, and what becomes of it where the store fails on the way."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from collector import demo, job
from collector.finding import Verdict
from collector.nights.night import night_of
from collector.nights.outlook import LOOK_BACK
from collector.nights.past import Past, Point
from collector.result import PairResult, Result
from collector.snapshot import Snapshot
from collector.store.memory import StoreMemory
from collector.store.store import Store, StoreError, opened
from collector.store.writing import Writer
from collector.sweep import Listeners, sweep
from tests.collector.store.judged import EVENING, fleet, judged, kept, pair, silent, start
from tests.postgresql import Server

DAY = timedelta(days=1)
NAMES = [each.name for each in fleet().pairs[:6]]


class Watched(Writer):
    """A writer that does something before each pair, such as failing."""

    def __init__(self, inner: Writer, before: Callable[[str], None]) -> None:
        super().__init__(inner._engine, inner.id)
        self.before = before

    def keep(self, snapshot: Snapshot, result: PairResult, **options: object) -> None:
        self.before(result.pair.name)
        super().keep(snapshot, result, **options)  # type: ignore[arg-type]


@contextmanager
def memory(store: Store, before: Callable[[str], None] = lambda name: None) -> Iterator[StoreMemory]:
    writer = store.begin(start())
    assert isinstance(writer, Writer)
    yield StoreMemory(store, Watched(writer, before), fleet())


def swept(remembers: StoreMemory, told: list[str] | None = None) -> Result:
    """One pair after the other, so that it is known which one comes when."""
    pairs = fleet().pairs[: len(NAMES)]
    job.prepare_recorded(fleet().nornir, pairs, demo.fixtures_folder())
    listeners = Listeners(judged=lambda result: told.append(result.pair.name) if told is not None else None)
    return sweep(fleet(), pairs, connection=job.RECORDED, workers=1, memory=remembers, listeners=listeners)


def test_a_pair_is_stored_before_anybody_is_told_of_it(tmp_path: Path) -> None:
    with opened(str(tmp_path / "nights.db")) as store, memory(store) as remembers:
        pairs = fleet().pairs[:3]
        job.prepare_recorded(fleet().nornir, pairs, demo.fixtures_folder())
        stored: list[bool] = []

        def told(result: PairResult) -> None:
            stored.append(result.pair.name in store.pairs())

        sweep(fleet(), pairs, connection=job.RECORDED, workers=2, memory=remembers, listeners=Listeners(judged=told))
        assert stored == [True] * 3
        assert remembers.problem is None


def test_a_rule_is_handed_the_nights_before_this_one(store_url: str) -> None:
    with opened(store_url) as store, memory(store) as remembers:
        assert remembers.past(judged().snapshot) == Past()
        for days in (0, 1, 2, LOOK_BACK + 1):
            kept(store, judged(moment=EVENING + days * DAY, asked=EVENING + days * DAY - timedelta(minutes=5)))
        kept(store, judged(moment=EVENING + 3 * DAY, edit=silent))
        tonight = judged(moment=EVENING + (LOOK_BACK + 1) * DAY + timedelta(hours=3)).snapshot
        (room, other) = judged().rooms
        # Tonight's own and what was too long ago are left out, and a night on which nobody knew has no point.
        asked = [EVENING + days * DAY - timedelta(minutes=5) for days in (1, 2)]
        assert room.free is not None
        assert other.free is not None
        assert remembers.past(tonight) == Past(
            {
                each.member: tuple(
                    Point(moment, each.free, each.needed, night_of(moment)) for moment in asked if each.free
                )
                for each in (room, other)
            }
        )
        # A replay of captures of the second night knows of the first one only.
        replayed = judged(moment=EVENING + 50 * DAY, asked=EVENING + DAY).snapshot
        assert [len(points) for points in remembers.past(replayed).flash.values()] == [1, 1]


def test_another_target_than_the_inventorys_is_not_planned(store_url: str) -> None:
    with opened(store_url) as store, memory(store) as remembers:
        other = judged(target="17.9.5")
        remembers.keep(other.snapshot, other.result, in_time=True)
        assert store.nights("quay") == ()
    with opened(store_url) as store, memory(store) as remembers:
        remembers.keep(judged().snapshot, judged().result, in_time=True)
        assert [night.rooms for night in store.nights("quay")] == [judged().rooms]


def failing(*names: str) -> Callable[[str], None]:
    def before(name: str) -> None:
        if name in names:
            raise StoreError(f"the store can't grow for {name}")

    return before


def test_a_store_that_fails_once_costs_that_pair_and_no_verdict(tmp_path: Path) -> None:
    told: list[str] = []
    with opened(str(tmp_path / "nights.db")) as store, memory(store, failing(NAMES[1])) as remembers:
        result = swept(remembers, told)
        assert [each.pair.name for each in result.pairs] == NAMES
        assert result.pairs[1].verdict is Verdict.GO
        assert told == NAMES
        assert store.pairs() == tuple(sorted({*NAMES} - {NAMES[1]}))
        assert remembers.problem == f"the store can't grow for {NAMES[1]}; {NAMES[1]} was not stored"


def test_a_store_that_fails_again_is_left_alone(tmp_path: Path) -> None:
    tried: list[str] = []

    def before(name: str) -> None:
        tried.append(name)
        failing(*NAMES)(name)

    with opened(str(tmp_path / "nights.db")) as store, memory(store, before) as remembers:
        remembers.past(judged().snapshot)
        assert len(swept(remembers).pairs) == len(NAMES)
        remembers.finish(EVENING)
        remembers.prune(EVENING.date())
        assert tried == NAMES[:2]
        shown = ", ".join(NAMES[:5])
        assert remembers.problem == f"the store can't grow for {NAMES[0]}; 6 pairs were not stored: {shown} and others"
        assert [sweep.finished for sweep in store.sweeps(last=1)] == [None]


def test_a_store_that_is_well_again_is_used_again(tmp_path: Path) -> None:
    with opened(str(tmp_path / "nights.db")) as store, memory(store, failing(NAMES[0], NAMES[2])) as remembers:
        swept(remembers)
        assert store.pairs() == tuple(sorted({*NAMES} - {NAMES[0], NAMES[2]}))
        sentence = f"the store can't grow for {NAMES[0]}; 2 pairs were not stored: {NAMES[0]}, {NAMES[2]}"
        assert remembers.problem == sentence


def test_a_server_that_goes_away_costs_no_verdict(postgresql: Server) -> None:
    name = postgresql.database()

    def gone(pair: str) -> None:
        if pair == NAMES[2]:
            postgresql.do(
                "postgres",
                f"ALTER DATABASE {name} ALLOW_CONNECTIONS false",
                f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'",
            )

    with opened(postgresql.url(name)) as store, memory(store, gone) as remembers:
        result = swept(remembers)
        assert [each.pair.name for each in result.pairs] == NAMES
        assert remembers.problem is not None
        assert postgresql.password not in remembers.problem
        assert remembers.problem.endswith(f"; 4 pairs were not stored: {', '.join(NAMES[2:])}")
        postgresql.do("postgres", f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")
        assert store.pairs() == tuple(sorted(NAMES[:2]))


def test_an_interrupted_sweep_stores_whom_it_left_as_not_asked_in_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gather = job.gather

    def interrupted(nornir, pairs, **options):  # type: ignore[no-untyped-def]
        gather(nornir, pairs[:2], **options)
        raise job.Interrupted(pairs[:2])

    monkeypatch.setattr(job, "gather", interrupted)
    with opened(str(tmp_path / "nights.db")) as store, memory(store) as remembers:
        swept(remembers)
        in_time = {name: night.in_time for name, (night,) in store.fleet()}
    assert in_time == {name: name in NAMES[:2] for name in NAMES}


def test_a_pair_that_left_the_inventory_is_no_reason_to_fail(tmp_path: Path) -> None:
    stranger = replace(pair(), name="stranger")
    with opened(str(tmp_path / "nights.db")) as store, memory(store) as remembers:
        each = judged()
        remembers.keep(replace(each.snapshot, pair=stranger), replace(each.result, pair=stranger), in_time=True)
        assert remembers.problem is None
        assert store.pairs() == ("stranger",)
