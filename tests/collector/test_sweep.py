from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from collector import demo, job, recording
from collector.budget import Budget
from collector.finding import Verdict
from collector.result import Ended, PairResult, Result
from collector.rules import CATALOGUE
from collector.snapshot import Snapshot
from collector.sweep import Listeners, NoMemory, sweep
from inventory.opening import Fleet, open_inventory
from parsers import catalogue


def opened() -> Fleet:
    return open_inventory(demo.inventory_folder(), {rule.id: rule.waivable for rule in CATALOGUE})


def replayed(fleet: Fleet, **options: object) -> Result:
    job.prepare_recorded(fleet.nornir, fleet.pairs, demo.fixtures_folder())
    return sweep(fleet, fleet.pairs, connection=job.RECORDED, workers=3, **options)  # type: ignore[arg-type]


def test_results_stand_in_the_inventorys_order_whoever_answers_first() -> None:
    fleet = opened()
    told: list[str] = []
    result = replayed(fleet, listeners=Listeners(judged=lambda pair: told.append(pair.pair.name)))
    assert [pair.pair.name for pair in result.pairs] == [pair.name for pair in fleet.pairs]
    assert sorted(told) == sorted(pair.name for pair in fleet.pairs)


def test_an_interrupted_sweep_keeps_what_was_heard_and_leaves_the_rest_undecided(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet = opened()
    gather = job.gather

    def interrupted(nornir, pairs, **options):  # type: ignore[no-untyped-def]
        gather(nornir, pairs[:2], **options)
        raise job.Interrupted(pairs[:2])

    monkeypatch.setattr(job, "gather", interrupted)
    result = replayed(fleet, keep=tmp_path)
    assert [pair.verdict for pair in result.pairs[:2]] == [Verdict.GO, Verdict.GO]
    assert Verdict.GO not in {pair.verdict for pair in result.pairs[2:]}
    name = fleet.pairs[5].members[0].name
    (capture,) = recording.load(tmp_path, name, catalogue.asked()[:1])
    assert capture.reason == "the sweep was interrupted before it was asked"


@pytest.mark.parametrize(
    ("ended", "came"),
    [(Ended.DEADLINE, "the sweep's deadline of 45 min came"), (Ended.INTERRUPTED, "the sweep was interrupted")],
)
def test_of_a_pair_that_was_not_reached_in_time_it_is_told_what_came_and_when(
    ended: Ended, came: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet = opened()
    gather = job.gather
    kept: dict[str, bool] = {}

    class Kept(NoMemory):
        def keep(self, snapshot: Snapshot, result: PairResult, *, in_time: bool) -> None:
            kept[result.pair.name] = in_time

    def early(nornir, pairs, **options):  # type: ignore[no-untyped-def]
        gather(nornir, pairs[:2], **{**options, "budget": None})
        raise job.Interrupted(pairs[:2], pairs[2:3], ended)

    monkeypatch.setattr(job, "gather", early)
    result = replayed(fleet, budget=Budget(2700), memory=Kept())
    assert result.ended is ended
    assert [pair.in_time for pair in result.pairs] == list(kept.values()) == [True] * 2 + [False] * 30
    said = [{member.unreached_because for member in pair.members} for pair in result.pairs[2:4]]
    assert said == [{f"{came} while it was being asked"}, {f"{came} before it was asked"}]
    assert Verdict.GO not in {pair.verdict for pair in result.pairs[2:]}


def test_who_was_missed_is_asked_first_and_stands_where_it_always_does() -> None:
    fleet = opened()
    names = [pair.name for pair in fleet.pairs]
    told: list[str] = []
    job.prepare_recorded(fleet.nornir, fleet.pairs, demo.fixtures_folder())
    listeners = Listeners(judged=lambda pair: told.append(pair.pair.name))
    missed = {names[3], names[20], "gone-since"}
    result = sweep(fleet, fleet.pairs, connection=job.RECORDED, workers=1, listeners=listeners, first=missed)
    assert told == [names[3], names[20], *(name for name in names if name not in missed)]
    assert [pair.pair.name for pair in result.pairs] == names
    assert result.ended is Ended.COMPLETE


def test_a_shift_moves_every_time(tmp_path: Path) -> None:
    fleet = opened()
    with demo.controllers(fleet) as running:
        demo.prepare(fleet, fleet.pairs[:1], running)
        shift = timedelta(days=1000)
        before = sweep(fleet, fleet.pairs[:1], connection="ssh", workers=1)
        after = sweep(fleet, fleet.pairs[:1], connection="ssh", workers=1, keep=tmp_path, shift=shift)
    assert timedelta(0) < after.started - before.started - shift < timedelta(minutes=1)
    (capture,) = recording.load(tmp_path, fleet.pairs[0].members[0].name, catalogue.asked()[:1])
    assert capture.started is not None
    assert after.started <= capture.started <= after.finished
