"""What a rule may know of earlier nights: a part of the snapshot, put there by whoever has a store."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from collector.nights.night import Night, night_of


@dataclass(frozen=True)
class Point:
    """Free flash in bytes at a moment that knows its offset, and the bytes that were needed then.

    `needed` is as in Room, so that staging the image, which takes from both alike, isn't taken for a loss of room.
    `night` is the night that the store keeps it under, None for one that isn't stored: a store gives its moments back
    in UTC, and by those another night would begin at noon in Greenwich.
    """

    moment: datetime
    free: int
    needed: int | None = None
    night: date | None = None

    @property
    def of_night(self) -> date:
        """The night that it belongs to: the stored one, else that of its moment's own offset."""
        return self.night if self.night is not None else night_of(self.moment)


@dataclass(frozen=True)
class Past:
    """A pair's earlier nights, oldest first, tonight's not among them; empty where there is no store.

    `flash` by member's name, one point a night at most.
    """

    flash: Mapping[str, tuple[Point, ...]] = field(default_factory=dict)


def past_of(nights: Iterable[Night]) -> Past:
    """A pair's nights, oldest first, as far as a rule may know of them; a night without a figure gives no point."""
    points: dict[str, list[Point]] = defaultdict(list)
    for night in nights:
        for room in night.rooms:
            if room.free is not None:
                points[room.member].append(Point(night.asked or night.judged, room.free, room.needed, night.night))
    return Past({member: tuple(own) for member, own in points.items()})
