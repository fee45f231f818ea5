"""How a watched window is worded in a few lines: where it stands, how old that is, and what to do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from collector.plan.plan import STAGES
from collector.report.plan_wording import span
from collector.watching.course import another_night
from collector.watching.sighting import MemberSighting, PlannedStage, Severity, Sighting, WatchState, place_of
from collector.watching.wording import clock, named, title

CAUTION = "It only reads: the vendor's procedure, the change process and people decide."

Remedies = Mapping[tuple[str, str], str]
"""What to do about a warning, by its id and what it is about."""


@dataclass(frozen=True)
class Row:
    """One line of the picture: its name, what stands there, and how bad it is."""

    label: str
    text: str
    severity: Severity = "note"


def rows(state: WatchState, remedies: Remedies) -> tuple[Row, ...]:
    """The picture after the latest poll, without its heading; none before the first one."""
    latest = state.latest
    if latest is None:
        return ()
    return (
        *_blind(state, latest),
        *_stage(state, latest),
        *(_member(state, member, latest) for member in latest.members),
        Row("APs", _access_points(state, latest)),
        Row("Clients", _clients(state, latest)),
        *_timer(state, latest),
        *_ways_back(state, latest),
        *_warnings(state, remedies),
    )


def _blind(state: WatchState, latest: Sighting) -> Iterable[Row]:
    if state.blind_since is not None:
        seen = f"; what stands below is older than {clock(state.blind_since)}" if state.clear is not None else ""
        text = f"nobody has answered since {clock(state.blind_since)}, {_for(state.blind_since, latest)}{seen}"
        yield Row("Blind", text, "warning")


def _stage(state: WatchState, latest: Sighting) -> Iterable[Row]:
    run = state.run
    if run is None:
        yield Row("Stage", latest.statement)
        return
    yield Row("Stage", f"{title(run.stage)} ({run.stage})")
    after = f"{clock(run.after)} and {clock(run.seen)}" if run.after is not None else ""
    began = f"between {after}" if after and clock(run.after or run.seen) != clock(run.seen) else f"at {clock(run.seen)}"
    began = began if run.after is not None else f"by {clock(run.seen)}, before this watch saw it"
    yield Row("", f"began {began}, {_for(run.seen, latest)} ago{_planned(run.p50_seconds, run.p90_seconds)}")
    if latest.stage == "unclear":
        yield Row("Last poll", latest.statement, "warning")


def _planned(p50: float | None, p90: float | None) -> str:
    if p50 is None or p90 is None:
        return "; no plan for it"
    return f"; P50 {span(p50)}, P90 {span(p90)}"


def _member(state: WatchState, member: MemberSighting, latest: Sighting) -> Row:
    away = next((away for away in state.away if away.name == member.name), None)
    if away is not None:
        text = f"nothing heard since {clock(away.since)}, {_for(away.since, latest)}: {member.why_not}"
        return Row(member.name, text, "warning")
    state_said = member.state or ""
    shown = "" if state_said.casefold() == member.role else state_said
    told = (member.role or "role not known", member.release or "release not known", shown)
    return Row(member.name, ", ".join(part for part in told if part))


def _access_points(state: WatchState, latest: Sighting) -> str:
    back = state.aps
    if back.joined is None:
        return "not known"
    of = f"{back.joined:,} of {back.expected:,} joined" if back.expected is not None else f"{back.joined:,} joined"
    missing = f"; missing: {named(back.missing)}" if back.missing else ""
    return f"{of}{missing}" if latest.aps is not None else f"not known now; before: {of}{missing}"


def _clients(state: WatchState, latest: Sighting) -> str:
    now = f"{latest.clients:,}" if latest.clients is not None else "not known now"
    before = state.baseline.clients
    return f"{now}; {before:,} before the window" if before is not None else now


def _timer(state: WatchState, latest: Sighting) -> Iterable[Row]:
    going_back = state.run is not None and state.run.stage == "rolled-back"
    if state.timer_fires is not None and state.done is None and not going_back:
        left = (state.timer_fires - latest.moment).total_seconds()
        when = f"rolls back at {clock(state.timer_fires)}, {_in(left)}"
        yield Row("Auto-abort", when if latest.timer_seconds is not None else f"{when}, by an earlier poll")
    elif latest.timer == "inactive":
        yield Row("Auto-abort", "the timer isn't running")
    else:
        yield Row("Auto-abort", "not known")


def _ways_back(state: WatchState, latest: Sighting) -> Iterable[Row]:
    """The last moments to turn back from this stage and from those to come; stages of one moment share a line."""
    stage = state.run.stage if state.run is not None else latest.stage
    if state.done is not None or stage not in ("before", *STAGES):
        return
    label = "Turn back"
    if other := another_night(state.course, latest.recall.since):
        yield Row(label, other, "warning")
        return
    here = place_of(stage) or 0
    for moment, stages in _by_moment(planned for planned in state.course.stages if (place_of(planned.id) or 0) >= here):
        left = (moment - latest.moment).total_seconds()
        yield Row(label, f"by {clock(moment)}, {_in(left)}: {', '.join(stages)}", "warning" if left < 0 else "note")
        label = ""


def _by_moment(planned: Iterable[PlannedStage]) -> Iterable[tuple[datetime, Sequence[str]]]:
    found: dict[str, tuple[datetime, list[str]]] = {}
    for stage in planned:
        if stage.last_moment is not None and not stage.skipped:
            found.setdefault(clock(stage.last_moment), (stage.last_moment, []))[1].append(stage.id)
    return found.values()


def _warnings(state: WatchState, remedies: Remedies) -> Iterable[Row]:
    for warned in state.warned:
        yield Row("Failure" if warned.severity == "failure" else "Warning", f"{warned.statement}", warned.severity)
        if remedy := remedies.get(warned.key):
            yield Row("", f"What to do: {remedy}")


def _for(since: datetime, latest: Sighting) -> str:
    return span((latest.moment - since).total_seconds())


def _in(seconds: float) -> str:
    return f"in {span(seconds)}" if seconds >= 0 else f"passed {span(-seconds)} ago"
