"""A watch of played upgrades: what it tells of a good one, which failure it names when, and that it can be resumed."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.notify import Tone
from collector.played_upgrade import FAILURES, Failure, Pace
from collector.report.watch_last_line import WatchLastLine
from collector.report.watch_message import of_poll
from collector.report.watch_wording import rows
from collector.watching import stage_log
from collector.watching.course import remaining_p90
from collector.watching.following import follow, replay
from collector.watching.opening import opening_state
from collector.watching.recognising import sight
from collector.watching.sighting import (
    Course,
    Happening,
    Mark,
    Sighting,
    WarningId,
    plain,
    restored_sighting,
    restored_state,
)
from collector.watching.watch import Outcome
from collector.watching.wording import spoken
from tests.collector.playing_pair import BEGINS
from tests.collector.watching.polls import (
    TARGET,
    after,
    baseline,
    every,
    missing,
    nobody,
    plan,
    play,
    polled,
    raised,
    sightings,
    snapshot,
    start,
    watched,
)
from tests.demo_fleet import fleet

INTERVALS = (30, 60, 180, 300)
ROUND_P90 = start().course.round_p90_seconds or 0.0


def first(happened: list[Happening], id: WarningId, kind: str = "failed") -> float:
    """When a warning was first told, in seconds of the play."""
    return next(after(each) for each in happened if each.id == id and each.kind == kind)


@pytest.mark.parametrize("seconds", INTERVALS)
@pytest.mark.parametrize("planned", [True, False])
def test_a_good_upgrade_ends_done_without_a_warning(seconds: float, planned: bool) -> None:
    of, seen = polled(seconds)
    state, happened = watched(seen, planned=planned, based=planned)
    assert raised(happened) == []
    assert [after(each) >= of.acts["commit"] + 60 for each in happened if each.kind == "done"] == [True]
    assert (state.failures, state.warned, state.done is not None) == ((), (), True)
    order = [run.stage for run in state.runs]
    assert order[0] == "before"
    assert order[-1] == "done"
    assert len(set(order)) == len(order)
    # Between two rounds of restarts all access points are joined, and yet no validation begins.
    begun = [each.subject for each in happened if each.kind == "stage-began"]
    assert begun == [stage for stage in order if stage not in ("before", "done")]


@pytest.mark.parametrize("seconds", INTERVALS)
def test_a_stage_began_and_ended_within_its_bounds(seconds: float) -> None:
    of, seen = polled(seconds)
    state, _ = watched(seen)
    truth = {str(act): BEGINS + timedelta(seconds=at) for act, at in of.acts.items()}
    # The standby is hot somewhat before the restarts, the access points are back before the validation, and the
    # commit is over somewhat before its time.
    truth["restart-aps"] = BEGINS + timedelta(seconds=of.acts["reload-other"] + 0.9 * 1080)
    truth["validate"] = BEGINS + timedelta(seconds=of.acts["validate"] - 0.4 * 240)
    truth["done"] = BEGINS + timedelta(seconds=of.acts["commit"] + 60)
    for run in state.runs:
        if run.after is not None:
            assert run.after < truth[run.stage] <= run.seen, run.stage
    for run, then in pairwise(state.runs):
        assert run.ended == then.seen
        assert run.last == then.after
    if seconds <= 60:
        assert set(truth) - {"after"} == {run.stage for run in state.runs} | ({"commit"} if seconds > 59 else set())


@pytest.mark.parametrize("seconds", INTERVALS)
def test_a_standby_that_never_gets_hot_is_named_within_two_polls(seconds: float) -> None:
    of, seen = polled(seconds, "standby-never-hot")
    state, happened = watched(seen)
    synchronise = state.course.stage("synchronise")
    assert synchronise is not None
    # It can be known once the stage has gone on, since the first poll that saw it, for longer than the plan's P90.
    threshold = of.acts["synchronise"] + (synchronise.p90_seconds or 0)
    assert threshold < first(happened, "standby-never-hot") <= threshold + 2 * seconds
    assert state.failures == ("standby-never-hot", "auto-abort")
    assert not [each for each in happened if each.id == "overdue"]


def test_without_a_plan_a_cold_standby_is_named_after_half_an_hour() -> None:
    of, seen = polled(60, "standby-never-hot")
    _, happened = watched(seen, planned=False)
    assert of.acts["synchronise"] + 1800 < first(happened, "standby-never-hot") <= of.acts["synchronise"] + 1800 + 120


@pytest.mark.parametrize("seconds", INTERVALS)
def test_a_mismatch_of_the_configuration_is_named_within_two_polls(seconds: float) -> None:
    of, seen = polled(seconds, "config-mismatch")
    _, happened = watched(seen)
    shown = of.acts["reload-other"] + 0.6 * 1080
    assert shown <= first(happened, "config-mismatch") <= shown + 2 * seconds
    assert len([each for each in happened if each.id == "config-mismatch"]) == 1


@pytest.mark.parametrize("seconds", INTERVALS)
def test_access_points_that_do_not_return_are_named_within_two_polls(seconds: float) -> None:
    of, seen = polled(seconds, "aps-missing")
    state, happened = watched(seen)
    # A restart takes no longer than the plan's P90 of a round: who is away for longer is late.
    threshold = of.acts["restart-aps"] + ROUND_P90
    warned = min(first(happened, "aps-missing", kind) for kind in {e.kind for e in happened if e.id == "aps-missing"})
    assert threshold < warned <= threshold + 2 * seconds
    last_batch = of.acts["restart-aps"] + 2 * 240 + ROUND_P90
    assert first(happened, "aps-missing") <= last_batch + 2 * seconds
    assert "aps-missing" in state.failures
    named = next(each for each in happened if each.id == "aps-missing")
    assert "quay-" in named.statement


def test_without_names_a_return_that_stalls_is_told() -> None:
    of, seen = polled(60, "aps-missing")
    state, happened = watched([replace(each, ap_names=None) for each in seen], based=False)
    stalled = of.acts["restart-aps"] + 2 * 240 + 0.6 * 240 + ROUND_P90
    assert stalled < first(happened, "aps-stalled") <= stalled + 120
    assert "aps-stalled" in state.failures


@pytest.mark.parametrize("seconds", INTERVALS)
@pytest.mark.parametrize("failure", ["auto-abort", "config-mismatch", "standby-never-hot"])
def test_a_timer_that_fires_is_named_within_two_polls(seconds: float, failure: Failure) -> None:
    of, seen = polled(seconds, failure)
    state, happened = watched(seen)
    fires = of.acts["reload-standby"] + 7200
    told = [after(each) for each in happened if each.id == "auto-abort"]
    assert fires <= told[0] <= fires + 2 * seconds
    assert "auto-abort" in state.failures
    assert state.runs[-1].stage == "rolled-back"
    assert [e.statement for e in happened if e.kind == "rolled-back"][-1].startswith("The way back is over.")
    assert state.done is None


@pytest.mark.parametrize("seconds", INTERVALS)
def test_a_crash_of_the_active_one_is_named_within_two_polls(seconds: float) -> None:
    of, seen = polled(seconds, "active-crashes")
    _, happened = watched(seen)
    crash = of.acts["restart-aps"] + 0.5 * 720
    assert crash <= first(happened, "active-crashed") <= crash + 2 * seconds
    assert [each.subject for each in happened if each.id == "active-crashed"] == ["quay-b"]


@pytest.mark.parametrize("seconds", INTERVALS)
def test_a_crash_without_a_standby_is_named_when_somebody_answers_again(seconds: float) -> None:
    of, seen = polled(seconds, "active-crashes", alone=True)
    _, happened = watched(seen)
    assert first(happened, "active-crashed") <= of.acts["synchronise"] + 2 * seconds
    blind = [after(each) for each in happened if each.kind == "watcher-blind"]
    if seconds <= 60:
        assert blind[0] <= of.acts["reload-standby"] + 330 + 2 * seconds


def test_a_silence_of_twenty_minutes_during_a_reload_is_no_alarm_before_the_plan_has_it_over() -> None:
    of = play()
    moments = every(60, of)
    begin, end = of.acts["reload-other"] + 60, of.acts["reload-other"] + 60 + 20 * 60
    lost = {number for number, moment in enumerate(moments, 1) if begin <= moment < end}
    state, happened = watched(sightings(of, moments, lost))
    assert "unclear" not in {run.stage for run in state.runs}
    reload_other = start().course.stage("reload-other")
    assert (reload_other.p90_seconds if reload_other else 0) or end - of.acts["reload-other"] < 0
    assert raised(happened) == []
    blind = [each for each in happened if each.kind == "watcher-blind"]
    assert [each.severity for each in blind] == ["note"]
    assert "this watch can't see" in blind[0].statement


def test_a_silence_beyond_the_plan_is_told_as_what_it_is() -> None:
    of = play()
    moments = every(60, of)
    lost = {number for number, moment in enumerate(moments, 1) if moment >= of.acts["reload-standby"] + 60}
    _, happened = watched(sightings(of, moments, lost)[:40])
    overdue = next(each for each in happened if each.id == "overdue")
    assert overdue.subject == "reload-standby"
    assert overdue.statement.endswith("Nobody answers this watch, so it can't see how far it is.")
    assert not [each for each in happened if each.kind == "failed"]


def test_a_stage_that_lasts_too_long_is_told_once_and_cleared() -> None:
    of = play(pace=Pace(reload_standby=2400))
    _, happened = watched(sightings(of, every(60, of)))
    told = [(each.kind, each.subject) for each in happened if each.id == "overdue"]
    assert told == [("warning", "reload-standby"), ("cleared", "reload-standby")]
    p90 = start().course.stage("reload-standby")
    assert p90 is not None
    threshold = of.acts["reload-standby"] + (p90.p90_seconds or 0)
    assert threshold < first(happened, "overdue", "warning") <= threshold + 120


def test_deadlines_move_with_the_actual_start() -> None:
    of = play(pace=Pace(before=7200))
    _, happened = watched(sightings(of, every(120, of)))
    assert not [each for each in happened if each.id == "overdue"]


@pytest.mark.parametrize(("percent", "share", "missed"), [(70, 0.65, True), (60, 0.65, False), (70, 0.71, False)])
def test_clients_are_missed_by_the_policys_share(percent: float, share: float, missed: bool) -> None:
    _, seen = polled(60)
    counted = baseline().clients
    assert counted is not None
    state = replace(start(), clients_percent=percent)
    _, happened = replay(state, [replace(each, clients=round(share * counted)) for each in seen])
    told = [each.statement for each in happened if each.id == "clients-missing" and each.kind == "warning"]
    assert len(told) == missed
    assert all(f"the policy wants {percent} % of them back" in each for each in told)


def test_a_watch_takes_the_share_of_clients_from_the_policy() -> None:
    ours = fleet()
    limits = ours.policy.after_window.model_copy(update={"clients_percent": 85})
    policy = ours.policy.model_copy(update={"after_window": limits})
    opened = opening_state(snapshot(play(), 0.0), replace(ours, policy=policy), {})
    assert opened.clients_percent == 85
    assert restored_state(json.loads(json.dumps(plain(opened)))) == opened


@pytest.mark.parametrize(("id", "about"), [("wrong-release", "quay-b"), ("both-active", "")])
def test_two_polls_in_a_row_make_a_sign_a_failure(id: Literal["wrong-release", "both-active"], about: str) -> None:
    """One alone may have fallen into the moment of a change."""
    of, seen = polled(60)
    number = next(each.number for each in seen if after_of(each) > of.moment("restart-aps", 0.5))
    marked = Mark(id, about, f"{about or 'each member'} says so")

    def told(*polls: int) -> list[tuple[str, str, str]]:
        signs = [replace(each, marks=(marked,)) if each.number in polls else each for each in seen]
        return [each for each in raised(watched(signs)[1]) if each[1] == id]

    assert told(number) == told(number, number + 2) == []
    assert told(number, number + 1) == [("failed", id, about)]


def after_of(sighting: Sighting) -> float:
    """The play's second of a poll."""
    return (sighting.moment - BEGINS).total_seconds()


def test_a_timer_that_fires_before_validation_ends_is_told_and_corrected() -> None:
    of = play(pace=Pace(auto_abort=4200))
    _, happened = watched(sightings(of, every(60, of)))
    told = [each for each in happened if each.id == "timer-too-short"]
    assert after(told[0]) == of.acts["reload-standby"]
    assert "The auto-abort timer runs out at 00:18, in 1 hour 10 minutes" in told[0].statement
    needed = remaining_p90(start().course, "reload-standby", 0)
    assert needed is not None
    assert f"it takes {spoken(needed)} in 90 of 100 cases" in told[0].statement
    _, happened = watched(sightings(play(), every(60, play())))
    assert not [each for each in happened if each.id == "timer-too-short"]


def test_each_point_of_no_return_is_said_once_before_and_once_after() -> None:
    of, seen = polled(60)
    state = start()
    last = BEGINS + timedelta(seconds=of.acts["validate"] + 600)
    stages = tuple(replace(each, last_moment=last if each.id == "validate" else None) for each in state.course.stages)
    _, happened = replay(replace(state, course=replace(state.course, stages=stages)), seen)
    told = [(each.id, each.subject) for each in happened if each.kind == "turn-back"]
    assert told == [("turn-back-near", "validate"), ("turn-back-passed", "validate")]
    assert [each.last_moment for each in state.course.stages] == [each.turn_back.last_moment for each in plan().stages]


def test_lost_sight_and_lost_members_are_told_apart() -> None:
    of = play()
    moments = every(60, of, end=110)
    quiet = [snapshot(of, moment) for moment in moments]
    alone = snapshot(of, 120.0, damage=lambda c: missing(c.member, c.command) if c.member == "quay-b" else c)
    before = sightings(of, moments)[-1]
    seen = [*sightings(of, moments)]
    for number in range(3):
        poll = replace(alone, moment=quiet[-1].moment + timedelta(seconds=60 * (number + 1)))
        seen.append(sight(before.number + number + 1, poll, TARGET, seen[-1]))
    _, happened = watched(seen)
    lost = [each for each in happened if each.kind == "member-lost"]
    assert [each.statement for each in lost] == ["quay-b doesn't answer (the connection was refused)."]
    assert [each.subject for each in happened if each.id == "member-away"] == ["quay-b"]
    assert not [each for each in happened if each.kind == "watcher-blind"]


def test_done_is_taken_back_by_what_contradicts_it_and_only_by_that() -> None:
    of, seen = polled(60)
    state, _ = watched(seen)
    number = seen[-1].number
    silent = sight(number + 1, nobody(6000), TARGET, seen[-1])
    state, happened = follow(state, silent)
    assert state.done is not None
    assert [each.kind for each in happened] == []
    half = snapshot(
        of, 6060, damage=lambda c: missing(c.member, c.command) if c.command == "show install summary" else c
    )
    state, happened = follow(state, sight(number + 2, half, TARGET, silent))
    assert (state.done is not None, [each.kind for each in happened]) == (True, [])
    other = sight(number + 3, snapshot(of, of.moment("reload-other", 0.7)), TARGET, silent)
    state, happened = follow(state, replace(other, moment=half.moment + timedelta(seconds=60)))
    assert state.done is None
    assert happened[0].kind == "not-done"
    assert happened[0].statement.startswith("No longer done: ")


def test_access_points_that_leave_again_take_the_validation_back() -> None:
    of = play(batches=2, pace=Pace(restart_aps=900))
    _, happened = watched(sightings(of, every(60, of)))
    assert [each.stage for each in happened if each.kind == "stage-began"].count("restart-aps") <= 2
    assert [each.kind for each in happened][-1] == "done"


@pytest.mark.parametrize("failure", [None, "active-crashes"])
@given(st.integers(0, 90))
@settings(max_examples=12, deadline=None)
def test_a_watch_that_is_begun_again_takes_up_where_it_was(failure: Failure | None, stopped: int) -> None:
    _, seen = polled(60, failure)
    whole = replay(start(), seen)
    stored = [restored_sighting(json.loads(json.dumps(plain(each)))) for each in seen[:stopped]]
    state, told = replay(start(), stored)
    kept = restored_state(json.loads(json.dumps(plain(state))))
    assert kept == state
    assert replay(kept, seen[stopped:])[0] == whole[0]
    assert (*told, *replay(kept, seen[stopped:])[1]) == whole[1]


@given(st.lists(st.integers(20, 200), min_size=40, max_size=60), st.sets(st.integers(1, 60), max_size=12))
@settings(max_examples=8, deadline=None)
def test_no_warning_flutters(gaps: list[int], lost: set[int]) -> None:
    """Whatever the intervals and whichever polls nobody answers: each warning is raised once at most."""
    of = play("aps-missing")
    moments = [float(sum(gaps[:number])) for number in range(len(gaps))]
    _, happened = watched(sightings(of, moments, lost))
    told = [each for each in raised(happened) if each[1] not in ("aps-missing", "auto-abort")]
    assert len(set(told)) == len(told)
    assert len([each for each in happened if each.id == "aps-missing" and each.kind == "warning"]) <= 1


def test_a_watch_that_begins_in_the_middle_knows_no_begin() -> None:
    _, seen = polled(60, begin=2000)
    state, happened = watched(seen)
    assert state.runs[0].stage == "reload-other"
    assert (state.runs[0].after, state.runs[0].longest) == (None, None)
    assert "the watch didn't see it begin" in next(e.statement for e in happened if e.kind == "stage-ended")
    assert state.done is not None
    assert raised(happened) == []


def test_a_gap_between_polls_is_said() -> None:
    of = play()
    _, happened = watched(sightings(of, [0, 60, 120, 4000, 4060, 5000]))
    gaps = [each.statement for each in happened if each.kind == "watcher-sees"]
    assert gaps == [
        "No poll was taken between 23:02 and 00:06.",
        "No poll was taken between 00:07 and 00:23.",
    ]
    began = [each for each in happened if each.kind == "stage-began" and each.subject == "restart-aps"]
    assert "No poll saw" in began[0].statement


def test_a_remedy_that_can_drop_clients_defers_to_those_who_decide() -> None:
    told = [each for name in FAILURES for each in watched(polled(60, name)[1])[1]]
    found = [each for each in told if each.kind in ("failed", "warning")]
    assert found
    for each in found:
        assert each.remedy
        if "turn back" in each.remedy or "roll back" in each.remedy:
            assert "vendor's procedure" in each.remedy or "change process" in each.remedy


def test_without_a_plan_there_is_no_course() -> None:
    assert start(planned=False).course == Course()


def test_done_carries_what_is_still_wrong() -> None:
    _, good = polled(60)
    at = next(number for number, each in enumerate(good) if each.stage == "done")
    names = good[at].ap_names or ()
    kept = tuple(name for name in names if name not in names[:8])
    state, happened = watched([*good[:at], replace(good[at], aps=16, ap_names=kept)])
    assert state.done is not None
    assert [(each.id, each.severity) for each in state.up] == [("aps-missing", "failure")]
    assert state.failures == ("aps-missing",)
    told = next(each for each in happened if each.kind == "done")
    assert told.severity == "failure"
    assert "not all is well: 8 access points of 24 are not joined: " in told.statement
    assert names[0] in told.statement
    last = WatchLastLine("quay")
    last.ended = Outcome.DONE
    last.polled(state, happened)
    assert "1 failures; ended done with 1 failure after" in last.text(1)
    message = of_poll(state, happened[-2:])
    assert message is not None
    assert (message.subject.endswith("done, but not all is well"), message.tone) == (True, Tone.WORSE)
    one = replace(good[at], aps=23, ap_names=names[1:])
    assert [each.severity for each in watched([*good[:at], one])[0].up] == ["warning"]


def test_a_watch_begun_late_counts_against_the_baseline() -> None:
    of = play("aps-missing")
    begin = of.moment("restart-aps", 0.99)
    seen = sightings(of, every(60, of, begin, begin + ROUND_P90 + 300), baseline=baseline())
    assert seen[0].stage == "restart-aps"
    assert f"{seen[0].aps} of 24 access points are joined" in seen[0].statement
    state, happened = watched(seen)
    gone = 24 - (seen[0].aps or 0)
    assert gone > 1
    assert f"{gone} access points that were here at the baseline aren't joined: " in happened[0].statement
    # Nobody knows since when they are away: patience begins with the watch.
    told = [after(each) for each in happened if each.id == "aps-missing"]
    assert begin + ROUND_P90 < told[0] <= begin + ROUND_P90 + 120
    assert "aps-missing" in state.failures


def test_a_watch_begun_late_without_a_baseline_claims_nothing_of_what_it_did_not_see() -> None:
    [seen] = sightings(play("aps-missing"), [play("aps-missing").moment("restart-aps", 0.99)])
    assert seen.statement.endswith("access points are joined, none has left since this watch began.")


def test_a_rollback_before_anybody_was_overdue_is_a_failure_with_a_name() -> None:
    _, seen = polled(60)
    back = next(each for each in polled(60, "auto-abort")[1] if each.stage == "rolled-back")
    at = next(number for number, each in enumerate(seen) if each.stage == "synchronise") + 2
    last = seen[at - 1]
    # Long before the timer would fire: somebody has it undone, or it counts by another clock.
    early = replace(back, number=last.number + 1, moment=last.moment + timedelta(seconds=60))
    state, happened = watched([*seen[:at], early])
    assert raised(happened) == []
    told = next(each for each in happened if each.kind == "rolled-back")
    assert (told.severity, told.id) == ("failure", "undone")
    assert told.statement.startswith("The upgrade is being undone.")
    assert state.failures == ("undone",)


def test_a_stage_known_in_hindsight_says_when_it_ran() -> None:
    _, seen = polled(60)
    commit = next(each for each in seen if each.stage == "commit")
    validated = [each for each in seen if each.stage == "validate" and each.aps == 24][-3:]
    before = [each for each in seen if each.moment < commit.moment and each.stage not in ("validate", "commit")]
    # Two polls with all access points, too few for the end of their restarts, and then the commit.
    kept = [*before, *validated[-2:], commit]
    _, happened = watched(kept)
    told = {each.subject: each for each in happened if each.kind == "stage-began"}
    assert "it ran from " in told["validate"].statement
    assert "committed" not in told["validate"].statement
    assert "commit" in told["commit"].statement


def test_a_planned_loss_reads_otherwise_than_an_unplanned_one() -> None:
    _, happened = watched(polled(60)[1])
    planned = [each for each in happened if each.kind == "member-lost"]
    assert [(each.severity, each.subject) for each in planned] == [("note", "quay-b"), ("note", "quay-a")]
    for each in planned:
        assert f"{each.subject} is down, as this stage has it: it doesn't answer" in each.statement
        began = next(e for e in happened if e.kind == "stage-began" and e.subject == each.stage)
        assert happened.index(began) < happened.index(each)
    _, happened = watched(polled(60, "active-crashes")[1])
    lost = next(each for each in happened if each.kind == "member-lost" and each.stage == "restart-aps")
    assert lost.statement.startswith("Unplanned: quay-b is down: it doesn't answer")
    assert (lost.severity, bool(lost.remedy)) == ("warning", True)
    cause = next(each for each in happened if each.id == "active-crashed")
    assert happened.index(cause) < happened.index(lost)
    first_switch = next(each for each in happened if each.kind == "switchover")
    assert first_switch.stage == "switch-over"


@pytest.mark.parametrize(("days", "when"), [(30, "begins on 2027-03-08 at"), (-3, "ended on 2027-02-04 at"), (0, "")])
def test_a_window_of_another_night_is_said_and_its_moments_are_not_shown(days: int, when: str) -> None:
    course, by = start().course, timedelta(days=days)
    assert course.begin is not None
    assert course.window_end is not None
    stages = tuple(replace(each, last_moment=each.last_moment and each.last_moment + by) for each in course.stages)
    moved = replace(course, stages=stages, begin=course.begin + by, window_end=course.window_end + by)
    state, happened = replay(replace(start(), course=moved), polled(60)[1][:20])
    assert ("not tonight" in happened[0].statement) is bool(when)
    assert when in happened[0].statement
    assert not [each for each in happened if each.kind == "turn-back"]
    shown = [row.text for row in rows(state, {}) if row.label == "Turn back"]
    assert next(("not tonight" in text, " in " in text) for text in shown) == (bool(when), not when)
    assert any("last moment to turn back" in each for each in stage_log.status(state)) is not bool(when)
