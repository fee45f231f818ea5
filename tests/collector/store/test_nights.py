"""Of each night the last word counts, of each inventory the last sweep."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from collector.finding import Verdict
from collector.nights.night import Source
from collector.store.store import Store, opened
from tests.collector.store.judged import EVENING, Judged, judged, kept, silent, start

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
BAD = "saltmarsh"


def verdicts(store: Store) -> list[Verdict]:
    return [night.verdict for night in store.nights("quay")]


def full(moment=EVENING, asked=None) -> Judged:  # type: ignore[no-untyped-def]
    """The pair quay with a flash that is too full on one member: no-go."""
    texts = {capture.command: capture for capture in judged(BAD).snapshot.members[1].captures.values()}
    return judged(
        moment=moment,
        asked=asked,
        edit=lambda capture: (
            capture
            if capture.command != "dir bootflash:"
            else type(capture)(capture.member, capture.command, texts[capture.command].text, started=asked)
        ),
    )


def test_the_last_word_of_a_night_counts(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, judged())
        assert verdicts(store) == [Verdict.GO]
        kept(store, full(EVENING + HOUR), source=Source.CHECK)
        (night,) = store.nights("quay")
        assert (night.verdict, night.source) == (Verdict.NO_GO, Source.CHECK)
        # One that was asked earlier but stored later is older all the same.
        kept(store, judged(moment=EVENING + 2 * HOUR, asked=EVENING - HOUR))
        assert verdicts(store) == [Verdict.NO_GO]


@pytest.mark.parametrize("source", [Source.SWEEP, Source.CHECK, Source.BASELINE, Source.COMPARE])
@pytest.mark.parametrize("asked", [None, EVENING + 2 * HOUR])
def test_what_is_played_hides_no_live_answer(store_url: str, source: Source, asked: datetime | None) -> None:
    with opened(store_url) as store:
        kept(store, full(EVENING, EVENING - HOUR), source=source)
        free = [night.rooms for night in store.nights("quay")]
        for played in (Source.REPLAY, Source.DEMO):
            kept(store, judged(moment=EVENING + 3 * HOUR, asked=asked), source=played)
            (night,) = store.nights("quay")
            assert (night.source, night.verdict) == (source, Verdict.NO_GO)
            assert [night.rooms] == free


def test_what_is_played_fills_a_night_on_which_nobody_was_asked(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, judged(moment=EVENING + HOUR, edit=silent), in_time=False)
        kept(store, full(EVENING + 2 * HOUR, EVENING), source=Source.REPLAY)
        assert verdicts(store) == [Verdict.NO_GO]


def test_an_undated_recording_hides_no_dated_one(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, full(EVENING, EVENING - HOUR), source=Source.REPLAY)
        kept(store, judged(moment=EVENING + HOUR), source=Source.REPLAY)
        assert verdicts(store) == [Verdict.NO_GO]


def test_of_one_recording_the_later_judgement_counts_whichever_was_stored_first(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, full(EVENING + 4 * HOUR, EVENING), source=Source.REPLAY)
        kept(store, judged(moment=EVENING + 3 * HOUR, asked=EVENING), source=Source.REPLAY)
        assert verdicts(store) == [Verdict.NO_GO]
        kept(store, judged(moment=EVENING + 5 * HOUR, asked=EVENING), source=Source.REPLAY)
        assert verdicts(store) == [Verdict.GO]


def test_the_demo_counts_only_where_nothing_else_stands(store_url: str) -> None:
    with opened(store_url) as store:
        sweep(store, EVENING + 90 * DAY, "saltmarsh", late="quay", source=Source.DEMO)
        assert store.pairs() == ("quay", "saltmarsh")
        assert len(store.nights("saltmarsh")) == 1
        assert store.fleet_nights() == (EVENING.date() + 90 * DAY,)
        assert store.missed("/etc/readypair", "north") == ("quay",)
        kept(store, judged(), source=Source.CHECK)
        assert store.pairs() == ("quay",)
        assert [night.night for night in store.nights("quay")] == [EVENING.date()]
        assert store.nights("saltmarsh") == ()
        assert store.fleet_nights() == ()
        assert store.missed("/etc/readypair", "north") == ()


def test_who_was_not_asked_in_time_hides_no_answer(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, judged(moment=EVENING + HOUR, edit=silent), in_time=False)
        assert [(night.verdict, night.in_time) for night in store.nights("quay")] == [(Verdict.UNDECIDED, False)]
        kept(store, judged())
        kept(store, judged(moment=EVENING + 2 * HOUR, edit=silent), in_time=False)
        assert [(night.verdict, night.in_time) for night in store.nights("quay")] == [(Verdict.GO, True)]
        # One that was asked and didn't answer is another matter.
        kept(store, judged(moment=EVENING + 3 * HOUR, edit=silent))
        assert verdicts(store) == [Verdict.UNDECIDED]


def test_a_question_about_another_target_makes_no_night(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, judged(target="17.9.5"), planned=False)
        assert store.nights("quay") == ()
        assert store.fleet_nights() == ()
        assert store.pairs() == ("quay",)
        kept(store, judged())
        kept(store, judged(moment=EVENING + HOUR, target="17.9.5"), planned=False)
        assert [night.target_release for night in store.nights("quay")] == ["17.12.4"]


def test_nights_come_in_order_and_from_when_to_when_they_are_asked_for(store_url: str) -> None:
    with opened(store_url) as store:
        for days in (3, 0, 2, 1):
            kept(store, judged(moment=EVENING + days * DAY))
            kept(store, judged("saltmarsh", EVENING + days * DAY))
        first = EVENING.date()
        assert [night.night for night in store.nights("quay")] == [first + days * DAY for days in range(4)]
        middle = store.nights("quay", since=first + DAY, until=first + 2 * DAY)
        assert [night.night for night in middle] == [first + DAY, first + 2 * DAY]
        assert dict(store.fleet(since=first + DAY, until=first + 2 * DAY))["quay"] == middle
        assert [pair for pair, _ in store.fleet()] == ["quay", "saltmarsh"]
        assert [room.member for night in store.nights("saltmarsh") for room in night.rooms] == [
            "saltmarsh-a",
            "saltmarsh-b",
        ] * 4
        assert store.nights("nobody") == ()


def test_the_fleets_nights_are_those_of_whole_sweeps(store_url: str) -> None:
    with opened(store_url) as store:
        for days, whole in ((2, True), (0, True), (1, False)):
            each = judged(moment=EVENING + days * DAY)
            store.begin(start(EVENING + days * DAY, whole=whole)).keep(each.snapshot, each.result)
        # One that was killed before its first pair makes no night.
        store.begin(start(EVENING + 5 * DAY))
        assert store.fleet_nights() == (date(2026, 11, 20), date(2026, 11, 22))


def sweep(  # type: ignore[no-untyped-def]
    store: Store, moment, *in_time: str, late: str = "", whole: bool = True, source=Source.SWEEP, collector="north"
) -> None:
    writer = store.begin(replace(start(moment, source, whole=whole), collector=collector))
    for name in filter(None, (*in_time, late)):
        each = judged(name, moment)
        writer.keep(each.snapshot, each.result, in_time=name != late)


def test_whom_the_last_sweep_left_is_first_in_line(store_url: str) -> None:
    with opened(store_url) as store:
        assert store.missed("/etc/readypair", "north") == ()
        sweep(store, EVENING, "quay", "saltmarsh", "fogbank")
        assert store.missed("/etc/readypair", "north") == ()
        # Killed after its first pair, and one that its deadline left.
        sweep(store, EVENING + DAY, "quay", late="fogbank")
        assert store.missed("/etc/readypair", "north") == ("fogbank", "saltmarsh")
        assert store.missed("/another", "north") == ()
        # A narrowed one reaches one of them; a check and a replay are no turn in the line.
        sweep(store, EVENING + 2 * DAY, "fogbank", whole=False)
        sweep(store, EVENING + 2 * DAY, "saltmarsh", source=Source.REPLAY)
        assert store.missed("/etc/readypair", "north") == ("saltmarsh",)
        sweep(store, EVENING + 3 * DAY, "quay", "saltmarsh", "fogbank")
        assert store.missed("/etc/readypair", "north") == ()


def test_collectors_whose_inventories_lie_at_one_path_have_lines_of_their_own(store_url: str) -> None:
    with opened(store_url) as store:
        sweep(store, EVENING, "quay", late="fogbank", collector="north")
        sweep(store, EVENING + HOUR, "saltmarsh", collector="south")
        assert store.missed("/etc/readypair", "north") == ("fogbank",)
        assert store.missed("/etc/readypair", "south") == ()


def test_a_pairs_fleet_nights_are_those_of_the_fleets_that_swept_it(store_url: str) -> None:
    with opened(store_url) as store:
        first = EVENING.date()
        sweep(store, EVENING, "quay", "fogbank")
        sweep(store, EVENING + DAY, "quay", "fogbank")
        sweep(store, EVENING + 2 * DAY, "saltmarsh", collector="south")
        # An inventory of one pair is whole whoever asks it, and what is played is no night where somebody sweeps.
        sweep(store, EVENING + 3 * DAY, "quay", source=Source.CHECK)
        sweep(store, EVENING + 4 * DAY, "quay", source=Source.REPLAY)
        assert store.fleet_nights() == (first, first + DAY, first + 2 * DAY)
        assert store.fleet_nights("quay") == (first, first + DAY)
        assert store.fleet_nights("saltmarsh") == (first + 2 * DAY,)
        assert store.fleet_nights("nobody") == ()
        swept = store.swept()
        assert {name: swept.of(name) for name in store.pairs()} == {
            name: store.fleet_nights(name) for name in store.pairs()
        }


def test_replays_are_the_fleets_nights_where_nobody_sweeps(store_url: str) -> None:
    with opened(store_url) as store:
        sweep(store, EVENING, "quay", source=Source.REPLAY)
        assert store.fleet_nights() == (EVENING.date(),)
