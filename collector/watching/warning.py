"""What a poll gives reason to warn of. Each reason has an id and a subject, by which it is raised once and cleared.

A remedy is text for a person. Nothing here knows whether a warning is already up: that is following's.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from collector.plan.plan import STAGES
from collector.watching.course import remaining_p90
from collector.watching.hearing import is_gone
from collector.watching.returning import away_longer_than
from collector.watching.sighting import (
    Mark,
    SeenStage,
    Severity,
    Sighting,
    StageRun,
    WarningId,
    WatchState,
    place_of,
)
from collector.watching.wording import aps, clock, named, spoken, title

_ASK = (
    "That can drop clients: follow the vendor's procedure and your change process and, where lives depend on the "
    "network, decide together with the people who run the ward."
)
_LOOK = "Look at both controllers' consoles and logs."
_TURN_BACK = f"Decide whether to turn back while there is time. {_ASK}"
# Without a plan nobody stated how long these take: so long nobody is troubled.
_COLD_SECONDS = 30 * 60
_ROUND_SECONDS = 15 * 60
_STILL_POLLS = 3
_LAST_SECONDS = 10 * 60
_SPARE_SECONDS = 5 * 60
_MANY = 0.1
_NEW_SERVES: tuple[SeenStage, ...] = ("switch-over", "reload-other", "restart-aps", "validate", "commit", "done")
AWAY_IS_EXPECTED: tuple[SeenStage, ...] = ("reload-standby", "switch-over", "reload-other", "rolled-back")


@dataclass(frozen=True)
class Reason:
    """Why to warn: the clause that says it, what to do, and how bad it is. `lasts`: it is an event, never cleared."""

    id: WarningId
    subject: str
    statement: str
    remedy: str
    severity: Severity = "warning"
    lasts: bool = False


@dataclass(frozen=True)
class Reasons:
    """The reasons of a poll, and the ids of which it tells neither good nor bad."""

    given: tuple[Reason, ...]
    open: frozenset[WarningId] = field(default_factory=frozenset)


def reasons(state: WatchState, sighting: Sighting) -> Reasons:
    """What the newest sighting, folded into the state already, gives reason to warn of."""
    given = [*_overdue(state, sighting), *_timer(state, sighting)]
    silent: set[WarningId] = set()
    if sighting.stage == "unclear":
        silent |= {"aps-missing", "aps-stalled", "clients-missing", "standby-never-hot", "config-mismatch"}
        silent |= {"timer-too-short", "wrong-release", "member-away"}
        given += list(_crashed(sighting))
        given += list(_both_active(state, sighting))
        return Reasons(tuple(given), frozenset(silent))
    if sighting.mismatches is None:
        silent.add("config-mismatch")
    if sighting.aps is None:
        silent |= {"aps-missing", "aps-stalled"}
    if sighting.clients is None:
        silent.add("clients-missing")
    if sighting.timer is None:
        silent.add("timer-too-short")
    for each in (_mismatch, _access_points, _clients, _wrong_release, _both_active, _away):
        given += list(each(state, sighting))
    given += list(_crashed(sighting))
    return Reasons(tuple(given), frozenset(silent))


def _marks(sighting: Sighting, kind: str) -> list[Mark]:
    return [mark for mark in sighting.marks if mark.kind == kind]


def due(run: StageRun) -> datetime | None:
    """The moment after which a stage is certainly over its 90th percentile, from the poll that saw it first."""
    return None if run.p90_seconds is None else run.seen + timedelta(seconds=run.p90_seconds)


def _overdue(state: WatchState, sighting: Sighting) -> Iterator[Reason]:
    run = state.run
    if run is None or run.stage not in STAGES:
        return
    cold = [mark.about for mark in _marks(sighting, "standby-cold")]
    late, since = due(run), f"since {clock(run.seen)}{'' if run.after is not None else ' at least'}"
    if cold and run.stage in ("synchronise", "reload-other"):
        late = late or run.seen + timedelta(seconds=_COLD_SECONDS)
        if sighting.moment > late:
            state_word = sighting.member(cold[0]).state
            yield Reason(
                "standby-never-hot",
                run.stage,
                f"{cold[0]} doesn't become hot: it is {state_word} and the stage goes on {since}, longer than "
                f"{_than(run, _COLD_SECONDS)}.",
                "Don't switch over. Find out what it can't synchronise (its logs, the link between the two, the "
                f"configuration). {_TURN_BACK}",
                "failure",
            )
        return
    if any(each.key == ("standby-never-hot", run.stage) for each in state.warned):
        return
    if late is None or sighting.moment <= late or _waits(sighting):
        return
    seen = "" if sighting.answered else " Nobody answers this watch, so it can't see how far it is."
    yield Reason(
        "overdue",
        run.stage,
        f"{title(run.stage)} goes on {since}, longer than {_than(run, 0)}.{seen}",
        f"{_LOOK} {_TURN_BACK}",
    )


def _than(run: StageRun, without_plan: float) -> str:
    if run.p90_seconds is None:
        return f"{spoken(without_plan)}, and there is no plan to go by"
    return f"90 of 100 cases in the plan ({spoken(run.p90_seconds)})"


def _waits(sighting: Sighting) -> bool:
    """Whether the controllers are through with the stage and wait for a person."""
    if sighting.stage == "expand":
        return all("I" in (member.target or ()) for member in sighting.members)
    return False


def _timer(state: WatchState, sighting: Sighting) -> Iterator[Reason]:
    run, fires = state.run, state.timer_fires
    if fires is None or run is None or state.done is not None:
        return
    if sighting.stage == "rolled-back":
        return
    left = (fires - sighting.moment).total_seconds()
    if left <= 0:
        if not sighting.answered:
            yield Reason(
                "auto-abort",
                "",
                f"The auto-abort timer ran out at {clock(fires)} and nobody answers: unless somebody committed since "
                "the last poll, both controllers roll back to the old release.",
                f"Wait for them to come back, and find out from their consoles. {_ASK}",
            )
        return
    elapsed = (sighting.moment - run.seen).total_seconds()
    needed = remaining_p90(state.course, run.stage, elapsed)
    up = any(each.id == "timer-too-short" for each in state.warned)
    if needed is not None and needed + (_SPARE_SECONDS if up else 0) > left:
        yield Reason(
            "timer-too-short",
            "",
            f"The auto-abort timer runs out at {clock(fires)}, in {spoken(left)}; until validation has ended it takes "
            f"{spoken(needed)} in 90 of 100 cases.",
            "Shorten what lies before the commit, have the timer prolonged or stopped by the vendor's procedure, or "
            f"turn back by yourself before the controllers do. {_ASK}",
        )
    elif left < _LAST_SECONDS:
        yield Reason(
            "timer-too-short",
            "",
            f"The auto-abort timer runs out at {clock(fires)}, in {spoken(left)}, and nothing is committed.",
            "Commit if validation has passed, or have the timer prolonged by the vendor's procedure: otherwise both "
            f"controllers reload on the old release. {_ASK}",
        )


def _mismatch(state: WatchState, sighting: Sighting) -> Iterator[Reason]:
    if not sighting.mismatches or sighting.stage == "before":
        return
    switched = sighting.stage in _NEW_SERVES
    lines = "1 line" if sighting.mismatches == 1 else f"{sighting.mismatches} lines"
    when = " after the switchover" if switched else ""
    yield Reason(
        "config-mismatch",
        "",
        f"The configuration doesn't match{when}: {lines} on the list of what the standby didn't take.",
        "Don't commit and don't switch over. See which lines they are (`show redundancy config-sync failures mcl`) and "
        f"have them mended by the vendor's procedure. {_TURN_BACK}",
        "failure" if switched else "warning",
    )


def _access_points(state: WatchState, sighting: Sighting) -> Iterator[Reason]:
    now = state.aps
    if sighting.stage not in _NEW_SERVES or now.expected is None or now.joined is None or sighting.aps is None:
        return
    patience = state.course.round_p90_seconds or _ROUND_SECONDS
    if sighting.stage == "done" and now.joined < now.expected:
        # Nobody waits any longer: who isn't back now is missing.
        yield _missing_at_the_end(now.expected - now.joined, now.expected, now.missing or ())
        return
    late = away_longer_than(now, patience, sighting.moment)
    if late:
        severity: Severity = "failure" if len(late) >= _MANY * now.expected else "warning"
        yield Reason(
            "aps-missing",
            "",
            f"{aps(len(late))} of {now.expected:,} {'has' if len(late) == 1 else 'have'} been away for more than "
            f"{spoken(patience)}{_round(state)}: {named(late)}.",
            "Don't begin the next round of restarts. Look why they don't join (power, their switch, the join summary), "
            f"and where they hang. {_TURN_BACK}",
            severity,
        )
    still = (sighting.moment - now.moved).total_seconds() if now.moved is not None else 0.0
    if now.joined < now.expected and not late and now.still_polls >= _STILL_POLLS and still > patience:
        away = now.expected - now.joined
        yield Reason(
            "aps-stalled",
            "",
            f"No access point has come back since {clock(now.moved or sighting.moment)}: {now.joined:,} of "
            f"{now.expected:,} are joined.",
            f"Don't begin the next round of restarts, and look why they don't join. {_TURN_BACK}",
            "failure" if away >= _MANY * now.expected else "warning",
        )


def _missing_at_the_end(away: int, expected: int, names: tuple[str, ...]) -> Reason:
    return Reason(
        "aps-missing",
        "",
        f"{aps(away)} of {expected:,} {'is' if away == 1 else 'are'} not joined{f': {named(names)}' if names else ''}.",
        f"Look why they don't join (power, their switch, the join summary), and where they hang. {_ASK}",
        "failure" if away >= _MANY * expected else "warning",
    )


def _round(state: WatchState) -> str:
    return ", which 90 of 100 rounds of restarts don't take" if state.course.round_p90_seconds else ""


def _clients(state: WatchState, sighting: Sighting) -> Iterator[Reason]:
    before, now = state.baseline.clients, sighting.clients
    run = state.run
    if not before or now is None or run is None or sighting.stage not in ("validate", "done"):
        return
    settled = (sighting.moment - run.seen).total_seconds() > _ROUND_SECONDS
    if settled and 100 * now < state.clients_percent * before:
        yield Reason(
            "clients-missing",
            "",
            f"{now:,} clients are here; there were {before:,} before the window, and the policy wants "
            f"{state.clients_percent:g} % of them back.",
            "At this hour that may be natural: try the site's own devices and each way to sign in before you commit.",
        )


def _wrong_release(state: WatchState, sighting: Sighting) -> Iterator[Reason]:
    for mark in _marks(sighting, "wrong-release"):
        if _seen_before(state, mark):
            yield Reason(
                "wrong-release",
                mark.about,
                f"{mark.statement}: it came back on another release than the pair should run.",
                f"Don't go on. {_LOOK} Follow the vendor's procedure for a pair on two releases. {_ASK}",
                "failure",
            )


def _both_active(state: WatchState, sighting: Sighting) -> Iterator[Reason]:
    for mark in _marks(sighting, "both-active"):
        if _seen_before(state, mark):
            yield Reason(
                "both-active",
                "",
                "Both members say that they are active: two controllers answer for one network.",
                f"Follow the vendor's procedure for it at once, or call the vendor's support. {_ASK}",
                "failure",
            )


def _seen_before(state: WatchState, mark: Mark) -> bool:
    """Whether the poll before showed it, too: one alone may have fallen into the moment of a change."""
    return state.before is not None and any(m.kind == mark.kind and m.about == mark.about for m in state.before.marks)


def _away(state: WatchState, sighting: Sighting) -> Iterator[Reason]:
    if sighting.stage in AWAY_IS_EXPECTED or not sighting.answered:
        return
    for away in state.away:
        if away.polls < 2:
            continue
        member = sighting.member(away.name)
        sees = "its partner doesn't see it either" if is_gone(member) else f"its partner sees it as {member.state}"
        yield Reason(
            "member-away",
            away.name,
            f"{away.name} hasn't answered since {clock(away.since)}, though nothing should reload it now; {sees}.",
            f"{_LOOK} Don't go on to the next stage before both members answer.",
        )


def _crashed(sighting: Sighting) -> Iterator[Reason]:
    for mark in (*_marks(sighting, "active-lost"), *_marks(sighting, "crashed")):
        yield Reason(
            "active-crashed",
            mark.about,
            f"Unplanned: {mark.statement}.",
            f"Don't go on. {_LOOK} Save the crash files for the vendor's support, and see that the standby is hot "
            f"before anything else. {_TURN_BACK}",
            "failure",
            lasts=True,
        )


def is_later(stage: SeenStage, than: SeenStage) -> bool:
    """Whether a stage comes after another one in the order of the work."""
    first, second = place_of(than), place_of(stage)
    return first is not None and second is not None and second > first
