from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.finding import Verdict
from collector.nights.night import Night, Source, night_of
from collector.nights.streak import ready_share, streak

HARBOUR = ZoneInfo("Europe/Oslo")
FIRST = date(2027, 1, 1)
_WORDS = {"g": Verdict.GO, "n": Verdict.NO_GO, "u": Verdict.UNDECIDED, "l": Verdict.GO}


def night(day: date, verdict: Verdict = Verdict.GO, *, in_time: bool = True) -> Night:
    judged = datetime(day.year, day.month, day.day, 22, tzinfo=HARBOUR)
    return Night(1, "quay", "Quay", day, Source.SWEEP, judged, judged, verdict, "17.12.4", in_time, state=1, aps=None)


def told(letters: str) -> tuple[list[Night], list[date]]:
    """Nights from the first one on: g(o), n(o-go), u(ndecided), l(ate), - the fleet without the pair, . no sweep.

    A capital is a word on the pair alone, on a night without a sweep of the whole fleet.
    """
    days = [FIRST + timedelta(days=number) for number in range(len(letters))]
    nights = [
        night(day, _WORDS[letter.lower()], in_time=letter.lower() != "l")
        for day, letter in zip(days, letters, strict=True)
        if letter.lower() in _WORDS
    ]
    return nights, [day for day, letter in zip(days, letters, strict=True) if letter in "gnul-"]


@pytest.mark.parametrize(
    ("letters", "row", "share"),
    [
        ("", 0, (0, 0)),
        ("----", 0, (0, 0)),
        ("g", 1, (1, 1)),
        ("nggg", 3, (3, 4)),
        ("gggn", 0, (3, 4)),
        ("gggu", 0, (3, 4)),
        ("gglg", 1, (3, 4)),
        ("gg-g", 1, (3, 4)),
        ("ggg-", 0, (3, 4)),
        ("gg.g", 3, (3, 3)),
        ("ggg.", 3, (3, 3)),
        ("ng....g", 2, (2, 3)),
        ("---gg", 2, (2, 2)),
        ("ggNgg", 2, (4, 5)),
        ("ggGgg", 5, (5, 5)),
        ("gggN", 0, (3, 4)),
        ("GGG", 3, (3, 3)),
        ("n" * 30 + "g" * 12, 12, (12, 30)),
        ("g" * 45, 45, (30, 30)),
        ("g" * 20 + "." * 20 + "g" * 5, 25, (10, 10)),
        ("n" + "g" * 29, 29, (29, 30)),
        ("n" + "g" * 30, 30, (30, 30)),
    ],
)
def test_the_row_and_the_share(letters: str, row: int, share: tuple[int, int]) -> None:
    nights, fleet = told(letters)
    assert (streak(nights, fleet), ready_share(nights, fleet)) == (row, share)
    # In whatever order they come.
    assert (streak(nights[::-1], fleet[::-1]), ready_share(nights[::-1], fleet[::-1])) == (row, share)


def test_a_share_may_be_asked_of_fewer_nights() -> None:
    assert ready_share(*told("gggngg"), last=4) == (3, 4)


@pytest.mark.parametrize("day", [date(2027, 3, 27), date(2027, 10, 30)], ids=["to summer time", "to winter time"])
def test_the_change_of_the_clocks_breaks_no_row(day: date) -> None:
    """Sweeps at 01:30, which comes twice in the autumn, at 02:30, which doesn't come in the spring, and at 03:30."""
    for hour in (1, 2, 3):
        moments = [
            datetime(day.year, day.month, day.day, hour, 30, tzinfo=HARBOUR) + timedelta(days=n) for n in range(4)
        ]
        nights = [night(night_of(moment)) for moment in moments]
        assert [each.night for each in nights] == [day + timedelta(days=n - 1) for n in range(4)]
        assert streak(nights, [each.night for each in nights]) == 4


def test_a_sweep_before_noon_belongs_to_the_evening_before() -> None:
    evening, late, noon = (datetime(2027, 2, 6, 22), datetime(2027, 2, 7, 11, 59), datetime(2027, 2, 7, 12))
    nights = {night_of(moment.replace(tzinfo=HARBOUR)): moment for moment in (evening, late)}
    assert streak([night(day) for day in nights], nights) == 1
    nights[night_of(noon.replace(tzinfo=HARBOUR))] = noon
    assert streak([night(day) for day in nights], nights) == 2


@given(st.text("gnul-.GNU", max_size=50))
def test_a_row_is_never_longer_than_what_was_ready(letters: str) -> None:
    nights, fleet = told(letters)
    ready, of = ready_share(nights, fleet, last=60)
    assert streak(nights, fleet) <= ready <= of <= len(letters)
    assert ready == sum(letter in "gG" for letter in letters)
