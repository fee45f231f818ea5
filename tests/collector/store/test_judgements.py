"""Every judgement of a pair, whichever command made it."""

from __future__ import annotations

from datetime import timedelta

from collector.finding import Verdict
from collector.nights.night import Source
from collector.store.store import opened
from tests.collector.store.judged import EVENING, judged, kept, silent


def test_in_the_order_in_which_it_was_asked(store_url: str) -> None:
    hour = timedelta(hours=1)
    with opened(store_url) as store:
        kept(store, judged(moment=EVENING + 3 * hour, asked=EVENING + 2 * hour), source=Source.COMPARE)
        kept(store, judged(moment=EVENING, asked=EVENING - hour), source=Source.BASELINE)
        kept(store, judged("lantern"), source=Source.SWEEP)
        kept(store, judged(target="17.9.5", edit=silent), source=Source.CHECK, planned=False, in_time=False)
        found = store.judgements("quay")
        assert store.judgements("nobody") == ()
    assert [each.source for each in found] == [Source.BASELINE, Source.CHECK, Source.COMPARE]
    assert [each.asked for each in found] == [EVENING - hour, None, EVENING + 2 * hour]
    assert [(each.planned, each.in_time, each.kept) for each in found] == [
        (True, True, True),
        (False, False, True),
        (True, True, True),
    ]
    assert [each.verdict for each in found][1] is Verdict.UNDECIDED
    assert found[1].target_release == "17.9.5"


def test_what_was_taken_away_is_still_listed(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, judged(asked=EVENING))
        store.prune(EVENING.date() + timedelta(days=1))
        [found] = store.judgements("quay")
    assert (found.kept, found.night) == (False, EVENING.date())
