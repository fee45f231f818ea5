"""Baselines in the store, and what retention leaves of them."""

from __future__ import annotations

from datetime import date, timedelta

from collector.demo import EVENING
from collector.nights.night import Source
from collector.store.store import Store, opened
from tests.collector.store.judged import judged, kept, silent

DAY = timedelta(days=1)
FIRST = date(2027, 2, 5)


def keep(store: Store, days: float, source: Source = Source.BASELINE, *, in_time: bool = True) -> None:
    moment = EVENING + days * DAY
    kept(store, judged(moment=moment, asked=moment), source=source, in_time=in_time)


def ages(store: Store) -> list[int]:
    """How many days after the first evening the baselines were taken."""
    return [(each.judged - EVENING).days for each in store.baselines("quay")]


def test_the_newest_baseline_comes_first_and_a_sweep_is_none(store_url: str) -> None:
    with opened(store_url) as store:
        for days in (2, 0, 1):
            keep(store, days)
        keep(store, 3, Source.SWEEP)
        keep(store, 4, Source.CHECK)
        keep(store, 5, in_time=False)
        assert ages(store) == [2, 1, 0]
        assert store.baselines("tidewater") == ()
        captures = store.captures(store.baselines("quay")[0].judgement)
        assert sorted(captures) == ["quay-a", "quay-b"]


def test_the_latest_baseline_outlives_retention_until_a_comparison_is_as_old(store_url: str) -> None:
    with opened(store_url) as store:
        keep(store, 0)
        keep(store, 1)
        keep(store, 1.5, Source.SWEEP)
        store.prune(FIRST + 300 * DAY)
        assert ages(store) == [1]
        keep(store, 300, Source.COMPARE)
        store.prune(FIRST + 300 * DAY)
        assert ages(store) == [1]
        store.prune(FIRST + 301 * DAY)
        assert ages(store) == []


def test_another_pairs_comparison_is_no_reason(store_url: str) -> None:
    with opened(store_url) as store:
        keep(store, 0)
        moment = EVENING + DAY
        kept(store, judged("tidewater", moment, asked=moment), source=Source.COMPARE)
        store.prune(FIRST + 300 * DAY)
        assert ages(store) == [0]


def test_a_baseline_is_a_night_as_a_check_is(store_url: str) -> None:
    with opened(store_url) as store:
        keep(store, 0, Source.SWEEP)
        keep(store, 0.01)
        (night,) = store.nights("quay")
        assert night.source is Source.BASELINE
        kept(store, judged(moment=EVENING + 0.02 * DAY, edit=silent), source=Source.SWEEP, in_time=False)
        assert store.nights("quay") == (night,)
