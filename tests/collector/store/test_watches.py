"""Watches in a store: each poll whole, taken up as they were left, and gone with retention except for their log."""

from __future__ import annotations

from datetime import timedelta

import pytest

from collector.capture import Ending
from collector.store.store import Store, TakenOver, opened
from collector.watching import keeping
from collector.watching.following import follow
from collector.watching.sighting import WatchState
from collector.watching.watch import Outcome
from tests.collector.playing_pair import BEGINS
from tests.collector.watching.polls import play, polled, snapshot, start, watched

HOUSE = "/etc/readypair"


def begun(store: Store, state: WatchState | None = None) -> keeping.Begun:
    return keeping.begun(store, state or start(), HOUSE, "north", BEGINS)


def kept(store: Store, watch: keeping.Begun, polls: int, first: int = 0) -> WatchState:
    """Keep polls a minute apart, from the first of the play on."""
    of, seen = polled(60)
    keeper, state = keeping.StoreKeeper(watch.writer), watch.state
    for sighting in seen[first : first + polls]:
        state, happened = follow(state, sighting)
        moment = (sighting.moment - BEGINS).total_seconds()
        keeper.keep(sighting, happened, snapshot(of, moment))
    assert keeper.problem is None
    return state


def test_a_watch_is_taken_up_as_it_was_left(store_url: str) -> None:
    with opened(store_url) as store:
        left = kept(store, begun(store), 20)
    with opened(store_url) as store:
        found, others = keeping.left_open(store, "quay", "17.12.4", HOUSE, BEGINS + timedelta(hours=1))
        assert found is not None
        assert (found.polls, found.latest, others) == (20, left.latest and left.latest.moment, ())
        again = keeping.taken_up(store, found)
        assert again is not None
        assert again.state == left
        assert again.log == tuple(watched(polled(60)[1][:20])[1]) == store.happenings(found.id)
        state = kept(store, again, 400, first=20)
        assert state.done is not None
        assert state == watched(polled(60)[1])[0]


def test_another_question_is_another_watch_and_an_old_one_is_left(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, begun(store), 2)
        soon, later = BEGINS + timedelta(hours=1), BEGINS + timedelta(hours=25)
        for pair, target, house in (
            ("pier", "17.12.4", HOUSE),
            ("quay", "17.9.5", HOUSE),
            ("quay", "17.12.4", "/elsewhere"),
        ):
            assert keeping.left_open(store, pair, target, house, soon) == (None, ())
        found, others = keeping.left_open(store, "quay", "17.12.4", HOUSE, later)
        assert (found, len(others)) == (None, 1)
        keeping.leave(store, others, later)
        assert keeping.left_open(store, "quay", "17.12.4", HOUSE, soon) == (None, ())
        assert [(watch.outcome, watch.ended) for watch in store.watches("quay")] == [("left", later)]


def test_who_takes_a_watch_up_is_the_only_one_who_goes_on_with_it(store_url: str) -> None:
    with opened(store_url) as store:
        first = begun(store)
        kept(store, first, 3)
        second = keeping.taken_up(store, store.watches("quay")[0])
        assert second is not None
        with pytest.raises(TakenOver, match="another readypair"):
            kept(store, first, 1, first=3)
        kept(store, second, 2, first=3)
        assert store.watches()[0].polls == 5


def test_a_poll_that_is_kept_already_is_left(store_url: str) -> None:
    with opened(store_url) as store:
        watch = begun(store)
        kept(store, watch, 3)
        kept(store, watch, 3)
        assert store.watches()[0].polls == 3


def test_captures_come_back_as_they_were(store_url: str) -> None:
    of = play()
    with opened(store_url) as store:
        watch = begun(store)
        kept(store, watch, 12)
        taken = snapshot(of, 11 * 60.0)
        back = store.poll_captures(watch.writer.id, 12)
        for member in taken.members:
            by_command = {capture.command: capture for capture in back[member.name]}
            assert by_command == dict(member.captures)
        assert {capture.ending for capture in back["quay-b"]} == {Ending.MISSING}


def test_the_durations_of_a_watch_that_saw_the_end_are_told_and_no_others(store_url: str) -> None:
    with opened(store_url) as store:
        for seconds, outcome in ((600.0, Outcome.DONE), (660.0, Outcome.DONE), (1.0, Outcome.INTERRUPTED)):
            watch = begun(store)
            keeping.StoreKeeper(watch.writer).finish(BEGINS, outcome, {"reload-standby": seconds})
        assert sorted(store.stage_durations()["reload-standby"]) == [600.0, 660.0]
        assert [watch.outcome for watch in store.watches()].count(None) == 1


def test_retention_takes_what_polls_saw_and_leaves_their_log_and_the_durations(store_url: str) -> None:
    with opened(store_url) as store:
        watch = begun(store)
        kept(store, watch, 60)
        keeping.StoreKeeper(watch.writer).finish(BEGINS, Outcome.DONE, {"expand": 300.0})
        log = store.happenings(watch.writer.id)
        # The night of the 6th goes on until noon.
        assert store.prune(BEGINS.date()).captures == 0
        pruned = store.prune(BEGINS.date() + timedelta(days=1))
        assert pruned.captures == 60 * 2 * len(play_commands())
        assert pruned.bytes > 0
        assert store.poll_captures(watch.writer.id, 1) == {}
        assert store.sightings(watch.writer.id) == ()
        assert store.happenings(watch.writer.id) == log
        assert store.stage_durations() == {"expand": (300.0,)}
        assert keeping.taken_up(store, store.watches()[0]) is None


def play_commands() -> list[str]:
    return list(snapshot(play(), 0.0).members[0].captures)


def test_polls_wait_while_the_store_fails(tmp_path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    from collector.store.store import StoreError
    from collector.store.watches import WatchWriter

    of, seen = polled(60)
    with opened(str(tmp_path / "watches.db")) as store:
        watch = begun(store)
        keeper = keeping.StoreKeeper(watch.writer)

        def fails(*_: object) -> None:
            raise StoreError("the disk is full")

        with monkeypatch.context() as full:
            full.setattr(WatchWriter, "keep", fails)
            for sighting in seen[:2]:
                keeper.keep(sighting, (), snapshot(of, (sighting.moment - BEGINS).total_seconds()))
            assert str(keeper.problem) == "the disk is full"
            with pytest.raises(StoreError, match="full"):
                keeper.finish(BEGINS, Outcome.DONE, {})
        keeper.keep(seen[2], (), snapshot(of, 120.0))
        assert keeper.problem is None
        assert store.sightings(watch.writer.id) == seen[:3]
