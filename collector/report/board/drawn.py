"""What the pictures show, as data: nights in lanes, and free flash over time. The tables beside them hold the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from collector.nights.outlook import Forecast, Silence


class Standing(StrEnum):
    """How a pair stood on a night, the worst first: its verdict, or that nobody asked it or got to it in time."""

    NO_GO = "no-go"
    UNDECIDED = "undecided"
    NOT_ASKED = "not asked"
    GO = "go"


@dataclass(frozen=True)
class Span:
    """Nights one after the other, the first and the last included."""

    first: date
    last: date

    @property
    def nights(self) -> int:
        """How many there are."""
        return (self.last - self.first).days + 1


@dataclass(frozen=True)
class Stretch:
    """Nights one after the other on which a pair stood the same; `rules` are the ids of those that decided."""

    span: Span
    standing: Standing
    rules: tuple[str, ...]


@dataclass(frozen=True)
class Lane:
    """A line of the drawn history: how a pair stood, or a rule that kept it from being go, and on which nights."""

    name: str
    standing: Standing | None
    spans: tuple[Span, ...]

    @property
    def nights(self) -> int:
        """On how many nights."""
        return sum(span.nights for span in self.spans)


@dataclass(frozen=True)
class Reading:
    """A member's flash of one night, in bytes; None where it wasn't known."""

    night: date
    free: int | None
    needed: int | None


@dataclass(frozen=True)
class Trend:
    """A member's flash over time; `forecast` is None where tonight's free flash or what is needed of it isn't known."""

    member: str
    readings: tuple[Reading, ...]
    forecast: Forecast | Silence | None = None


def lanes(stretches: Sequence[Stretch], most: int = 6) -> tuple[Lane, ...]:
    """The lanes of the drawing: every way to stand that occurred, and the `most` rules that decided on most nights."""
    standings = [_lane(each.value, each, stretches) for each in reversed(Standing)]
    names = dict.fromkeys(rule for stretch in stretches for rule in stretch.rules)
    rules = sorted((_lane(name, None, stretches) for name in names), key=lambda lane: (-lane.nights, lane.name))
    return tuple(lane for lane in standings if lane.spans) + tuple(rules[:most])


def _lane(name: str, standing: Standing | None, stretches: Sequence[Stretch]) -> Lane:
    spans: list[Span] = []
    for stretch in stretches:
        if (name in stretch.rules) if standing is None else (stretch.standing is standing):
            if spans and (stretch.span.first - spans[-1].last).days == 1:
                spans[-1] = Span(spans[-1].first, stretch.span.last)
            else:
                spans.append(stretch.span)
    return Lane(name, standing, tuple(spans))
