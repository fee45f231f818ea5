"""Which judgements and which watch make a window's evidence."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from collector.evidence.choosing import Chosen, EvidenceError, choose
from collector.finding import Verdict
from collector.nights.night import Source, night_of
from collector.store.store import StoredJudgement, StoredWatch, WatchStart
from inventory.pairs import Window
from tests.collector.playing_pair import BEGINS
from tests.collector.watching import polls

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


def judged(
    number: int, source: Source, after: timedelta, *, kept: bool = True, in_time: bool = True
) -> StoredJudgement:
    moment = BEGINS + after
    night = night_of(moment)
    return StoredJudgement(number, source, night, moment, moment, Verdict.GO, "17.12.4", True, in_time, kept)


def watched(name: str, after: timedelta, lasts: timedelta = HOUR) -> StoredWatch:
    begin = BEGINS + after
    return StoredWatch(
        name, WatchStart("quay", "17.12.4", "/x", "north", begin, {}), begin + lasts, "done", 9, begin + lasts
    )


def numbers(found: Chosen) -> tuple[int | None, int | None, str | None]:
    return (
        found.before.number if found.before else None,
        found.after.number if found.after else None,
        found.watch.id if found.watch else None,
    )


NIGHT = (
    judged(1, Source.BASELINE, -30 * DAY),
    judged(2, Source.COMPARE, -30 * DAY + 5 * HOUR),
    judged(3, Source.BASELINE, -2 * HOUR),
    judged(4, Source.SWEEP, -HOUR),
    judged(5, Source.BASELINE, 3 * HOUR),
    judged(6, Source.COMPARE, 5 * HOUR),
    judged(7, Source.COMPARE, 6 * HOUR),
    judged(8, Source.SWEEP, DAY),
)


def test_the_latest_window() -> None:
    assert numbers(choose(polls.pair(), NIGHT, [watched("new", HOUR / 2), watched("old", -30 * DAY)])) == (3, 7, "new")
    assert numbers(choose(polls.pair(), NIGHT, [])) == (3, 7, None)


def test_a_baseline_between_the_watchs_begin_and_the_windows() -> None:
    late = (*NIGHT[:4], judged(9, Source.BASELINE, -HOUR / 4), *NIGHT[4:])
    assert numbers(choose(polls.pair(), late, [watched("early", -HOUR / 2)]))[0] == 9
    no_window = replace(polls.pair(), window=None)
    assert numbers(choose(no_window, late, [watched("early", -HOUR / 2)]))[0] == 3


def test_an_earlier_window_by_its_sides() -> None:
    watches = [watched("new", timedelta(0)), watched("old", -30 * DAY + HOUR)]
    assert numbers(choose(polls.pair(), NIGHT, watches, after=2)) == (1, 2, "old")
    assert numbers(choose(polls.pair(), NIGHT, watches, before=1, after=2)) == (1, 2, "old")


def test_a_night_is_its_last_judgement() -> None:
    assert numbers(choose(polls.pair(), NIGHT, [], after=BEGINS.date()))[1] == 7
    assert numbers(choose(polls.pair(), NIGHT, [], before=1, after=date(2027, 2, 7)))[1] == 8


def test_without_a_baseline_an_ordinary_night_but_never_what_came_after_a_window() -> None:
    others = [each for each in NIGHT if each.source is not Source.BASELINE]
    assert numbers(choose(polls.pair(), others, [watched("w", timedelta(0))])) == (4, 7, "w")
    assert numbers(choose(polls.pair(), [NIGHT[1]], [watched("w", timedelta(0))])) == (None, None, "w")


def test_without_a_comparison_the_first_look_after_the_end() -> None:
    plain = [each for each in NIGHT if each.source is not Source.COMPARE]
    during = judged(9, Source.SWEEP, HOUR / 2)
    found = sorted([*plain, during], key=lambda each: each.judged)
    assert numbers(choose(polls.pair(), found, [watched("w", timedelta(0))])) == (3, 8, "w")
    assert numbers(choose(polls.pair(), found, [])) == (3, 8, None)


def test_a_window_that_is_still_to_come() -> None:
    ahead = replace(polls.pair(), window=Window(BEGINS + 9 * DAY, 240))
    assert numbers(choose(ahead, NIGHT[:4], [])) == (3, None, None)


def test_the_inventory_names_the_next_window_by_now() -> None:
    """What was watched counts, not a baseline that was taken after it."""
    next_one = replace(polls.pair(), window=Window(BEGINS + 9 * DAY, 240))
    assert numbers(choose(next_one, NIGHT, [watched("w", timedelta(0))])) == (3, 7, "w")


def test_what_was_taken_away_or_never_asked_is_no_side() -> None:
    gone = [*NIGHT[:2], replace(NIGHT[2], kept=False), judged(9, Source.BASELINE, -HOUR / 2, in_time=False), *NIGHT[5:]]
    assert numbers(choose(polls.pair(), gone, []))[0] == 1
    with pytest.raises(EvidenceError, match="--before: the captures of the judgement 3 were taken out"):
        choose(polls.pair(), gone, [], before=3)
    with pytest.raises(EvidenceError, match=r"no judgement 9 of quay on which it was asked; the latest are 8 \(sweep"):
        choose(polls.pair(), gone, [], before=9)


def test_nothing_at_all() -> None:
    with pytest.raises(EvidenceError, match="readypair baseline quay"):
        choose(polls.pair(), [], [])
    with pytest.raises(EvidenceError, match="it holds none of that pair"):
        choose(polls.pair(), [], [], after=1)
    with pytest.raises(EvidenceError, match="turn"):
        choose(polls.pair(), NIGHT, [], before=6, after=3)


def test_undated_captures_count_by_when_they_were_judged() -> None:
    undated = [replace(each, asked=None) for each in NIGHT]
    assert isinstance(undated[0].judged, datetime)
    assert numbers(choose(polls.pair(), undated, [])) == (3, 7, None)
