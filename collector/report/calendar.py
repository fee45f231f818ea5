"""`plan.ics`: windows and their hold points as an iCalendar file (RFC 5545), every moment in UTC."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Event

from collector.plan.plan import Plan
from collector.report import plan_wording as words
from collector.report.visible import visible


def calendar(plans: Sequence[Plan]) -> bytes | None:
    """The calendar of all windows; None where no plan has one, since a calendar without any event is none.

    An event keeps its identity while its pair and target stay the same: a window that moves moves in the calendar too.
    """
    events = [event for plan in plans for event in _events(plan)]
    if not events:
        return None
    found = Calendar()
    found.add("prodid", "-//readypair//plan//EN")
    found.add("version", "2.0")
    for event in events:
        found.add_component(event)
    return bytes(found.to_ical())


def _events(plan: Plan) -> Iterable[Event]:
    if plan.window_start is None or plan.window_end is None:
        return
    if plan.preparation is not None:
        told = ", ".join(plan.preparation.stages)
        title = f"begin to prepare ({told}) at the latest"
        yield _event(plan, "preparation", title, words.preparation(plan), plan.preparation.must_start)
    title = f"window, to {plan.pair.target_release}"
    yield _event(plan, "window", title, _about(plan), plan.window_start, plan.window_end, busy=True)
    for stage in words.in_window(plan):
        if stage.times is not None:
            about = words.hold_point(stage, words.clock(plan))
            # From the expected end on somebody looks; by the 90th percentile it should be over.
            yield _event(plan, stage.id, f"hold point after {stage.id}", about, stage.times.finish, stage.times.p90)


def _about(plan: Plan) -> list[str]:
    finish = [f"{label}: {told}" for label, told in words.finish(plan, words.clock(plan))]
    return [f"Window: {words.window(plan)}", *finish, plan.auto_abort.statement, *words.CAUTIONS]


def _event(
    plan: Plan,
    kind: str,
    title: str,
    about: Sequence[str],
    start: datetime,
    end: datetime | None = None,
    *,
    busy: bool = False,
) -> Event:
    event = Event()
    identity = f"readypair:{plan.pair.name}:{plan.pair.target_release}:{kind}"
    event.add("uid", str(uuid5(NAMESPACE_URL, visible(identity))))
    event.add("dtstamp", _utc(plan.made))
    event.add("dtstart", _utc(start))
    if end is not None and _utc(end) > _utc(start):
        event.add("dtend", _utc(end))
    event.add("summary", visible(f"{plan.pair.name}: {title}"))
    event.add("description", "\n".join(map(visible, about)))
    event.add("location", visible(plan.pair.site))
    event.add("transp", "OPAQUE" if busy else "TRANSPARENT")
    return event


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(microsecond=0)
