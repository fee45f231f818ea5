from __future__ import annotations

from datetime import UTC, date, datetime

from collector.finding import Verdict
from collector.nights.night import Night, Room, Source
from collector.nights.past import Past, Point, past_of

DAY = date(2027, 1, 20)
ASKED, JUDGED = datetime(2027, 1, 20, 21, 0, tzinfo=UTC), datetime(2027, 1, 20, 21, 5, tzinfo=UTC)


def night(*rooms: Room, asked: datetime | None = ASKED) -> Night:
    return Night(1, "quay", "", DAY, Source.SWEEP, asked, JUDGED, Verdict.GO, "17.12.4", True, 1, None, rooms)


def test_every_figure_of_a_night_is_a_point() -> None:
    known = night(Room("quay-a", 5, 9, 7), Room("quay-b", 4, 9, None))
    half = night(Room("quay-a", None, None, None), Room("quay-b", 3, 9, 7), asked=None)
    assert past_of([known, half, night()]) == Past(
        {"quay-a": (Point(ASKED, 5, 7, DAY),), "quay-b": (Point(ASKED, 4, None, DAY), Point(JUDGED, 3, 7, DAY))}
    )
    assert past_of([]) == Past()
