"""Where things lie in the drawn timeline: shares of the width in per cent, and heights in pixels."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from collector.plan.plan import Plan, Stage
from collector.report import plan_wording as words

_MARGIN = 0.03
_NEAR = 6
_HEAD, _ROW = 44, 44
_MOST_HOURS = 6
_STEPS = tuple(timedelta(minutes=minutes) for minutes in (15, 30, 60, 120, 180, 360, 720, 1440, 2880))


@dataclass(frozen=True)
class Tick:
    """A clock time on the axis; near an edge its label stands inside."""

    at: float
    label: str

    @property
    def anchor(self) -> str:
        """Which part of the label stands at the tick."""
        return "start" if self.at < _NEAR else "end" if self.at > 100 - _NEAR else "middle"


@dataclass(frozen=True)
class Bar:
    """A stage: from its start to the median of its end, on to the 90th percentile, and the last moment to turn back.

    `turn` is None where there is none or it lies outside the drawing. `label` stands on the side with more room.
    """

    stage: Stage
    top: int
    start: float
    half: float
    most: float
    turn: float | None
    label: str
    label_at: float
    label_anchor: str


@dataclass(frozen=True)
class Drawing:
    """The whole timeline."""

    height: int
    opens: float
    closes: float
    opens_label: str
    closes_label: str
    hours: tuple[Tick, ...]
    bars: tuple[Bar, ...]
    summary: str


def draw(plan: Plan) -> Drawing | None:
    """The drawing of a plan; None where it has no window or no stage with times."""
    timed = [(stage, stage.times) for stage in words.in_window(plan) if stage.times is not None]
    if plan.window_start is None or plan.window_end is None or not timed:
        return None
    first = min(plan.window_start, *(times.start for _, times in timed))
    last = max(plan.window_end, *(times.p90 for _, times in timed))
    margin = (last - first) * _MARGIN
    scale = _Scale(first - margin, last + margin)
    clock = words.clock(plan)
    bars = tuple(_bar(stage, number, scale, clock) for number, (stage, _) in enumerate(timed))
    return Drawing(
        height=_HEAD + _ROW * len(bars) + 8,
        opens=scale.at(plan.window_start),
        closes=scale.at(plan.window_end),
        opens_label=f"opens {clock.at(plan.window_start)}",
        closes_label=f"closes {clock.at(plan.window_end)}",
        hours=tuple(Tick(scale.at(moment), clock.at(moment)) for moment in _hours(plan, first, last)),
        bars=bars,
        summary=_summary(plan),
    )


@dataclass(frozen=True)
class _Scale:
    start: datetime
    end: datetime

    def at(self, moment: datetime) -> float:
        return round(100 * ((moment - self.start) / (self.end - self.start)), 3)

    def holds(self, moment: datetime) -> bool:
        return self.start <= moment <= self.end


def _bar(stage: Stage, number: int, scale: _Scale, clock: words.Clock) -> Bar:
    times = stage.times
    assert times is not None
    start, most = scale.at(times.start), scale.at(times.p90)
    last = stage.turn_back.last_moment if stage.turn_back.possible else None
    on_the_right = 100 - start >= most
    return Bar(
        stage=stage,
        top=_HEAD + _ROW * number,
        start=start,
        half=scale.at(times.p50),
        most=most,
        turn=scale.at(last) if last is not None and scale.holds(last) else None,
        label=f"{clock.at(times.start)} to {clock.at(times.p90)}",
        label_at=start if on_the_right else most,
        label_anchor="start" if on_the_right else "end",
    )


def _hours(plan: Plan, first: datetime, last: datetime) -> Iterable[datetime]:
    """Full clock times between two moments, few enough to be written beside each other."""
    most = _MOST_HOURS if not words.clock(plan).offsets else _MOST_HOURS // 2
    step = next((step for step in _STEPS if (last - first) / step <= most), _STEPS[-1])
    zone = words.zone(plan)
    # The step goes by elapsed time: an hour that the clocks repeat is drawn twice, one that they skip not at all.
    moment = first.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    while moment <= last:
        shown = words.fixed(moment.astimezone(zone))
        since_midnight = timedelta(hours=shown.hour, minutes=shown.minute)
        if moment >= first and not since_midnight % min(step, timedelta(days=1)):
            yield shown
        moment += timedelta(minutes=15)


def _summary(plan: Plan) -> str:
    """What the drawing shows, for those who don't see it; the table below has every figure."""
    told = "; ".join(f"{label}: {text}" for label, text in words.finish(plan, words.clock(plan)))
    return f"The window's stages one after the other. {told}."
