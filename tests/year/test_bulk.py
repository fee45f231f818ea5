"""What the benchmarks' stores are filled with is what the store itself would have kept."""

from __future__ import annotations

from datetime import timedelta

from collector.finding import Verdict
from collector.judging import judge_snapshot, snapshot_of
from collector.nights.night import Source
from collector.store import opening
from collector.store.store import Start, opened
from tests.year import bulk, captures
from tests.year.bulk import NEXT, Size

_SIZE = Size(pairs=5, nights=40, kept=3)
_LAST = NEXT - timedelta(days=1)


def test_a_filled_store_reads_as_one_that_sweeps_filled(store_url: str) -> None:
    _fill(store_url)
    with opened(store_url, existing=True) as store:
        pairs = dict(store.fleet())
        assert list(pairs) == [f"berth-{number:04d}" for number in range(5)]
        assert len(store.fleet_nights()) == 40
        for number, (pair, nights) in enumerate(pairs.items()):
            assert [night.night for night in nights] == list(store.fleet_nights())
            state = store.state(nights[-1].state)
            assert set(state.members) == {f"{pair}-a", f"{pair}-b"}
            assert {night.verdict for night in nights} <= {Verdict.GO, Verdict.NO_GO}
            assert all(room.free and room.total and room.needed for night in nights for room in night.rooms)
            assert all(pair in name for name in store.ap_set(nights[-1].aps or 0))
            told = store.report(nights[-1].id)
            assert told is not None
            assert told["pair"] == pair
            assert store.captures(nights[-1].id) == {
                member: sorted(own, key=lambda each: each.command)
                for member, own in bulk.answers(number, _LAST).items()
            }
            assert store.report(nights[-4].id) is None
            assert store.captures(nights[-4].id) == {}


def test_what_was_kept_of_a_healthy_pair_is_what_judging_its_captures_gives(store_url: str) -> None:
    _fill(store_url)
    with opened(store_url, existing=True) as store:
        well = [night for _, nights in store.fleet() for night in nights[-3:] if night.verdict is Verdict.GO]
        assert well
        for night in well[:3]:
            pair = captures.pair_of(bulk.described(int(night.pair.removeprefix("berth-"))))
            again = judge_snapshot(snapshot_of(pair, store.captures(night.id), night.judged), bulk.policy())
            rules = store.state(night.state).rules
            assert {finding.rule: finding.status for finding in again.findings if finding.rule != "ap-joined"} == {
                id: rule.status for id, rule in rules.items() if id != "ap-joined"
            }


def test_the_next_night_goes_on_where_a_filled_store_ends(store_url: str) -> None:
    _fill(store_url)
    pair = bulk.described(3)
    snapshot, result, rooms = bulk.judged(pair, bulk.answers(3, NEXT), bulk.policy())
    with opened(store_url) as store:
        writer = store.begin(Start(Source.SWEEP, "north", "/srv/readypair/north", True, snapshot.moment))
        writer.keep(snapshot, result, rooms=rooms)
        writer.finish(snapshot.moment)
        nights = store.nights(pair.name)
        assert [night.night for night in nights[-2:]] == [_LAST, NEXT]
        assert nights[-1].rooms == rooms
        # The two last of the nights whose texts were filled in stay beside it.
        assert store.prune(_LAST - timedelta(days=1)).reports == 5
        assert store.report(nights[-1].id) is not None


def test_states_and_access_points_change_now_and_then_only(store_url: str) -> None:
    _fill(store_url, Size(pairs=4, nights=365, kept=0))
    with opened(store_url, existing=True) as store:
        nights = [night for _, nights in store.fleet() for night in nights]
        verdicts = [night.verdict for night in nights]
        assert 0 < verdicts.count(Verdict.NO_GO) < len(nights) / 4
        assert 4 < len({night.state for night in nights}) < 20
        assert 4 < len({night.aps for night in nights}) < 60
        assert len({room.free for night in nights for room in night.rooms}) > len(nights)


def _fill(url: str, size: Size = _SIZE) -> None:
    engine = opening.engine_of(opening.url_of(url), existing=False)
    bulk.fill([opening.writing(engine)], size)
    engine.dispose()
