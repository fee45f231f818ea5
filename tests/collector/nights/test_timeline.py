"""A pair's story has every night in one place, and the fleet's nights add up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from collector.finding import Verdict
from collector.nights.change import Change, Kind
from collector.nights.night import Night, PairState
from collector.nights.swept import Swept
from collector.nights.timeline import (
    FleetNight,
    Missed,
    Moved,
    Moves,
    Silence,
    Story,
    Stretch,
    about,
    fleet_story,
    moves,
    story,
    worst_first,
)
from tests.collector.nights.states import BLOCK, FIRST, PASS, night

GO = PairState(Verdict.GO, "17.12.4", {"flash-space": PASS}, {})
NO_GO = PairState(Verdict.NO_GO, "17.12.4", {"flash-space": BLOCK}, {})
STATES = (GO, NO_GO)
VERDICTS = (Verdict.GO, Verdict.NO_GO)


def day(number: int) -> date:
    return FIRST + timedelta(days=number)


def nights(*seen: int | str | None, pair: str = "quay") -> list[Night]:
    """One night after the other: the number of its state, `late` where nobody asked in time, None for no night."""
    return [
        night(number, 0, in_time=False, verdict=Verdict.UNDECIDED, pair=pair)
        if said == "late"
        else night(number, int(said), verdict=VERDICTS[int(said)], pair=pair)
        for number, said in enumerate(seen)
        if said is not None
    ]


def told(seen: Sequence[Night], swept: Iterable[int], since: date | None = None) -> Story:
    return story(seen, [day(number) for number in swept], STATES.__getitem__, lambda _: (), since=since)


def test_nights_like_the_one_before_take_one_line() -> None:
    entries = told(nights(*[0] * 14, 1, 1, 0), range(17)).entries
    assert [each for each in entries if not isinstance(each, Moved)] == [
        Stretch(Verdict.GO, day(0), day(13), 14),
        Stretch(Verdict.NO_GO, day(14), day(15), 2),
        Stretch(Verdict.GO, day(16), day(16), 1),
    ]
    moved = [each for each in entries if isinstance(each, Moved)]
    assert [entries.index(each) for each in moved] == [1, 3]
    assert [(each.night, [change.kind for change in each.changes]) for each in moved] == [
        (day(14), [Kind.VERDICT, Kind.FINDING]),
        (day(16), [Kind.VERDICT, Kind.FINDING]),
    ]


def test_nights_that_were_missed_are_told_with_why() -> None:
    entries = told(nights(0, None, None, "late", 0, None), range(6)).entries
    assert entries == (
        Stretch(Verdict.GO, day(0), day(0), 1),
        Missed(Silence.NOT_SWEPT, day(1), day(2), 2),
        Missed(Silence.NOT_IN_TIME, day(3), day(3), 1),
        Stretch(Verdict.GO, day(4), day(4), 1),
        Missed(Silence.NOT_SWEPT, day(5), day(5), 1),
    )


def test_a_night_on_which_nobody_swept_breaks_nothing() -> None:
    assert told(nights(0, 0, None, None, 0), (0, 1, 4)).entries == (Stretch(Verdict.GO, day(0), day(4), 3),)


def test_a_night_of_the_fleet_before_the_pair_was_there_is_none_that_it_missed() -> None:
    assert told(nights(None, None, 0), range(3)).entries == (Stretch(Verdict.GO, day(2), day(2), 1),)


def test_a_change_is_told_where_the_nights_before_it_are_not() -> None:
    found = told(nights(0, 0, 1, 1), range(4), since=day(2))
    assert [type(each) for each in found.entries] == [Moved, Stretch]
    assert [each.night for each in found.nights] == [day(2), day(3)]


@given(st.lists(st.sampled_from((0, 1, "late", None)), max_size=30), st.integers(0, 10))
def test_every_night_is_in_one_place_and_in_order(seen: list[int | str | None], since: int) -> None:
    asked = [0, *seen]
    swept = [number for number in range(len(asked)) if number % 5]
    found = told(nights(*asked), swept, since=day(since))
    spans = [each for each in found.entries if not isinstance(each, Moved)]
    counted = sum(each.nights for each in spans)
    expected = {day(n) for n, said in enumerate(asked) if n >= since and (said is not None or n in swept)}
    assert counted == len(expected)
    edges = [edge for each in spans for edge in (each.first, each.last)]
    assert edges == sorted(edges)
    assert set(edges) <= expected
    asked_in_time = sum(each.nights for each in spans if isinstance(each, Stretch))
    assert asked_in_time == sum(1 for n, said in enumerate(asked) if n >= since and said in (0, 1))


def fleet(*pairs: Sequence[Night], swept: Iterable[int], since: date | None = None) -> list[FleetNight]:
    named = [(seen[0].pair, seen) for seen in pairs]
    own = ("north", "/etc/readypair")
    days = Swept({own: tuple(day(number) for number in swept)}, {name: frozenset({own}) for name, _ in named})
    return fleet_story(named, days, STATES.__getitem__, lambda _: (), since=since)


def test_the_fleets_nights_add_up() -> None:
    quay, lantern = nights(0, 0, 1, 0), nights(0, "late", None, 1, pair="lantern")
    found = fleet(quay, lantern, swept=range(4))
    assert [(each.night, each.silent, dict(each.verdicts)) for each in found] == [
        (day(0), 0, {Verdict.GO: 2}),
        (day(1), 1, {Verdict.GO: 1}),
        (day(2), 1, {Verdict.NO_GO: 1}),
        (day(3), 0, {Verdict.GO: 1, Verdict.NO_GO: 1}),
    ]
    assert [dict(each.moved) for each in found] == [{}, {}, {"quay": 2}, {"quay": 2, "lantern": 2}]
    assert found[3].subjects == Counter({(Kind.VERDICT, ""): 2, (Kind.FINDING, "flash-space"): 2})


def test_a_pair_is_not_missed_on_the_nights_of_another_fleet() -> None:
    north, south = ("north", "/etc/readypair"), ("south", "/etc/readypair")
    days = Swept(
        {north: (day(0), day(1), day(2)), south: (day(0), day(2))},
        {"quay": frozenset({north}), "lantern": frozenset({south})},
    )
    named = [("quay", nights(0, None, 0)), ("lantern", nights(0, None, 0, pair="lantern"))]
    found = fleet_story(named, days, STATES.__getitem__, lambda _: ())
    assert [(each.night, each.silent) for each in found] == [(day(0), 0), (day(1), 1), (day(2), 0)]


def test_a_pair_that_was_taken_out_of_the_fleet_is_not_missed_for_ever() -> None:
    found = fleet(nights(0), nights(*[0] * 20, pair="lantern"), swept=range(20))
    assert [each.silent for each in found] == [0, *[1] * 7, *[0] * 12]


def test_a_pair_that_came_to_the_fleet_later_was_not_missed_before() -> None:
    found = fleet(nights(None, None, 0, None), nights(*[0] * 4, pair="lantern"), swept=range(4))
    assert [each.silent for each in found] == [0, 0, 0, 1]


def test_the_fleets_nights_before_those_asked_about_only_tell_what_was_known() -> None:
    found = fleet(nights(0, 1, 1), swept=range(3), since=day(1))
    assert [(each.night, dict(each.moved)) for each in found] == [(day(1), {"quay": 2}), (day(2), {})]


def moved(*seen: int | str | None, pair: str = "quay", since: date | None = None) -> Moves | None:
    return moves(nights(*seen, pair=pair), STATES.__getitem__, lambda _: (), since=since)


def test_what_changed_is_told_with_the_verdict_before_and_the_last_one() -> None:
    found = moved(0, 0, 1, "late", 1, since=day(1))
    assert found is not None
    assert (found.was, found.now, found.number) == (Verdict.GO, Verdict.NO_GO, 2)
    assert [each.night for each in found.nights] == [day(2)]
    at_once = moved(0, 1, since=day(1))
    assert at_once is not None
    assert (at_once.was, at_once.now) == (Verdict.GO, Verdict.NO_GO)
    # Without a night before, the first one is what it was like before.
    whole = moved(1, 0)
    assert whole is not None
    assert (whole.was, whole.now, whole.number) == (Verdict.NO_GO, Verdict.GO, 2)


def test_a_change_before_the_nights_asked_about_is_not_told() -> None:
    found = moved(0, 1, 1, since=day(2))
    assert found is not None
    assert (found.was, found.now, found.nights) == (Verdict.NO_GO, Verdict.NO_GO, ())


def test_a_pair_that_was_not_asked_on_the_nights_asked_about_has_no_verdict() -> None:
    assert moved(0, "late", since=day(1)) is None
    assert moved("late") is None


def test_the_pairs_that_are_worse_come_first_and_those_without_a_change_not_at_all() -> None:
    fleet = (("b", (1, 0)), ("c", (0, 1)), ("d", (0, 0)), ("a", (0, 1, 0)), ("z", (0, 1)))
    found = [each for name, seen in fleet if (each := moved(*seen, pair=name))]
    assert [each.pair for each in worst_first(found)] == ["c", "z", "a", "b"]


def test_members_facts_of_either_member_are_one_subject() -> None:
    of_a = Change("quay", day(1), day(0), Kind.RELEASE, "quay-a", "17.9.4a", "17.12.4")
    assert about(of_a) == about(replace(of_a, subject="quay-b")) == (Kind.RELEASE, "")
    assert about(replace(of_a, kind=Kind.FINDING, subject="flash-space")) == (Kind.FINDING, "flash-space")
