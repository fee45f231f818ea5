from __future__ import annotations

from datetime import date, timedelta

from collector.report.board.drawn import Lane, Span, Standing, Stretch, lanes

FIRST = date(2027, 1, 1)


def span(first: int, last: int) -> Span:
    return Span(FIRST + timedelta(days=first), FIRST + timedelta(days=last))


NIGHTS = (
    Stretch(span(0, 3), Standing.NO_GO, ("flash-space",)),
    Stretch(span(4, 4), Standing.NO_GO, ("flash-space", "clock")),
    Stretch(span(5, 6), Standing.NOT_ASKED, ()),
    Stretch(span(7, 9), Standing.GO, ()),
    Stretch(span(12, 12), Standing.GO, ()),
)


def test_what_lies_next_to_each_other_in_a_lane_is_one_bar() -> None:
    assert lanes(NIGHTS) == (
        Lane("go", Standing.GO, (span(7, 9), span(12, 12))),
        Lane("not asked", Standing.NOT_ASKED, (span(5, 6),)),
        Lane("no-go", Standing.NO_GO, (span(0, 4),)),
        Lane("flash-space", None, (span(0, 4),)),
        Lane("clock", None, (span(4, 4),)),
    )


def test_the_rules_that_decided_most_often_are_drawn() -> None:
    assert [lane.name for lane in lanes(NIGHTS, most=1)][3:] == ["flash-space"]
    assert lanes(NIGHTS)[0].nights == 4


def test_nothing_is_drawn_of_nothing() -> None:
    assert lanes(()) == ()
