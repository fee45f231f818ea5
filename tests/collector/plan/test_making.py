"""The whole plan of a pair, from the demo's captures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import Any

import pytest

from collector import recording
from collector.capture import Ending
from collector.demo import EVENING
from collector.finding import Status
from collector.plan.making import make
from collector.plan.notice import Counted
from collector.plan.plan import STAGES, Plan, Problem, StageId
from collector.plan.stages import DESCRIPTIONS
from collector.plan.times import percentile
from collector.snapshot import Snapshot, member_snapshot
from inventory.pairs import Image, Window
from inventory.policy import AccessPointModel, ApRestarts, Minutes, Policy, Rates
from parsers import catalogue
from tests.demo_fleet import FIXTURES, fleet, taken

COMMANDS = (*catalogue.asked(), *catalogue.deep())
Change = Callable[[str, str, str], str | None]


@cache
def snapshot(pair: str) -> Snapshot:
    return changed(pair, lambda _member, _command, text: text)


def changed(pair: str, change: Change) -> Snapshot:
    """The pair as recorded, each capture's text as `change` gives it back; None loses the capture."""
    found = next(each for each in fleet().pairs if each.name == pair)
    members = []
    for member in found.members:
        captures = [taken(each) for each in recording.load(FIXTURES, member.name, COMMANDS)]
        texts = [(each, change(member.name, each.command, each.text)) for each in captures]
        members.append(
            member_snapshot(
                member.name,
                [
                    replace(each, text=text) if text is not None else replace(each, text="", ending=Ending.MISSING)
                    for each, text in texts
                ],
            )
        )
    return Snapshot(found, (members[0], members[1]), EVENING)


def without(pair: str, *commands: str) -> Snapshot:
    return changed(pair, lambda _member, command, text: None if command in commands else text)


def policy(**values: Any) -> Policy:
    return fleet().policy.model_copy(update=values)


def at(given: Snapshot, **values: Any) -> Snapshot:
    """The snapshot with other plans for its pair."""
    return replace(given, pair=replace(given.pair, **values))


def problem(plan: Plan, id: str) -> Problem | None:
    return next((each for each in plan.problems if each.id == id), None)


def found(plan: Plan, id: str) -> Problem:
    each = problem(plan, id)
    assert each is not None, [other.id for other in plan.problems]
    return each


def unknowns(plan: Plan) -> str:
    return "\n".join(f"{each.what} {each.needed}" for each in plan.unknowns)


def window(start: str, minutes: int) -> Window:
    return Window(datetime.fromisoformat(start), minutes)


def fixed(minutes: float) -> Minutes:
    return Minutes(optimistic=minutes, likely=minutes, pessimistic=minutes)


CERTAIN: dict[str, Any] = {
    "timings": {
        "expand": fixed(6),
        "reload-standby": fixed(10),
        "synchronise": fixed(5),
        "switch-over": fixed(2),
        "reload-other": fixed(17),
        "validate": fixed(20),
        "commit": fixed(2),
    },
    "ap_restarts": ApRestarts(staged=fixed(4), unstaged=fixed(14), neighbour_dbm=-70, site_share_percent=25),
}
"""A policy in which nothing varies, so that a plan can be worked by hand."""


@pytest.mark.parametrize("pair", [each.name for each in fleet().pairs if each.name != "twin-beacons"])
def test_every_demo_pair_has_a_plan_that_adds_up(pair: str) -> None:
    plan = make(snapshot(pair), fleet().policy)
    assert [stage.id for stage in plan.stages] == list(STAGES)
    assert plan.times is not None
    assert plan.times.begin <= plan.times.p50 <= plan.times.p90
    assert plan.window_end is not None
    assert plan.times.latest_start - plan.times.begin == plan.window_end - plan.times.p90
    done = [stage for stage in plan.stages if stage.times is not None]
    for one, other in pairwise(done):
        if one.in_window == other.in_window:
            assert one.times is not None
            assert other.times is not None
            assert one.times.finish == other.times.start
    assert (plan.times.fits is False) == (problem(plan, "too-long") is not None)


def test_nothing_is_guessed_of_access_points_that_nobody_is_certain_of() -> None:
    plan = make(snapshot("twin-beacons"), fleet().policy)
    assert plan.rounds is None
    assert plan.times is None
    assert problem(plan, "too-long") is None
    assert problem(plan, "auto-abort") is None
    assert "it isn't certain which member is active" in plan.stage("restart-aps").basis
    assert DESCRIPTIONS["restart-aps"].title in unknowns(plan)


def test_a_plan_is_worked_by_hand() -> None:
    """6 + 10 + 5 + 2 + 17 + 4 rounds of 4 + 20 + 2 = 78 minutes; back: 10 + 5 + 2 + 17 + 16 = 50."""
    plan = make(snapshot("lantern"), policy(**CERTAIN))
    assert plan.rounds == 4
    assert plan.times is not None
    assert plan.times.p90.isoformat() == "2027-02-09T03:18:00+01:00"
    assert plan.times.slack_seconds == (240 - 78) * 60
    assert plan.times.latest_start.isoformat() == "2027-02-09T04:42:00+01:00"
    back = plan.stage("validate").turn_back
    assert back.p90_seconds == 50 * 60
    assert back.last_moment is not None
    assert back.last_moment.isoformat() == "2027-02-09T05:10:00+01:00"
    assert back.in_time is True
    # There and back, without the commit: 76 + 50 minutes before six o'clock.
    assert plan.times.latest_start_with_return is not None
    assert plan.times.latest_start_with_return.isoformat() == "2027-02-09T03:54:00+01:00"
    assert plan.stage("commit").turn_back.possible is False
    assert plan.stage("expand").turn_back.last_moment == plan.window_end, "nothing to undo yet"
    assert not plan.blocked


def test_a_plan_that_does_not_fit_says_by_how_much_and_what_would_help() -> None:
    given = at(snapshot("lantern"), window=window("2027-02-09T02:00:00+01:00", 75))
    plan = make(given, policy(**CERTAIN))
    block = found(plan, "too-long")
    assert block.status is Status.BLOCK
    assert "3 minutes too late" in block.statement
    assert "a window of 78 minutes" in block.remedy
    assert "a begin at 2027-02-09 01:57+01:00 at the latest" in block.remedy
    assert "at most 3 rounds of access point restarts instead of 4" in block.remedy
    assert plan.times is not None
    assert plan.times.fits is False
    assert plan.times.slack_seconds == -180
    exact = make(at(given, window=window("2027-02-09T02:00:00+01:00", 78)), policy(**CERTAIN))
    assert problem(exact, "too-long") is None
    assert exact.times is not None
    assert exact.times.fits is True


def test_a_stage_that_may_end_after_its_last_moment_is_a_caution() -> None:
    given = at(snapshot("lantern"), window=window("2027-02-09T02:00:00+01:00", 125))
    caution = found(make(given, policy(**CERTAIN)), "no-return")
    assert caution.status is Status.CAUTION
    assert "Validate. The first of these ends by 2027-02-09 03:16+01:00" in caution.statement
    assert "2027-02-09 03:15+01:00, 1 minute before" in caution.statement
    assert (
        problem(make(at(given, window=window("2027-02-09T02:00:00+01:00", 126)), policy(**CERTAIN)), "no-return")
        is None
    )


def test_no_timings_leave_no_times_and_say_so() -> None:
    plan = make(snapshot("lantern"), policy(timings={}, ap_restarts=ApRestarts(), auto_abort_minutes=None))
    assert plan.times is None
    assert plan.at_least_seconds is None
    assert all(stage.times is None and stage.estimate is None for stage in plan.stages if stage.in_window)
    assert plan.auto_abort.fits is None
    for needed in ("timings.expand", "timings.commit", "ap_restarts.neighbour_dbm", "auto_abort_minutes"):
        assert needed in unknowns(plan)


def test_times_go_as_far_as_they_are_known() -> None:
    timings = {id: each for id, each in CERTAIN["timings"].items() if id != "switch-over"}
    plan = make(snapshot("lantern"), policy(**{**CERTAIN, "timings": timings}))
    known = [stage.id for stage in plan.stages if stage.times is not None]
    assert known == ["expand", "reload-standby", "synchronise"]
    assert plan.times is None
    assert plan.at_least_seconds == 76 * 60
    assert plan.stage("reload-standby").turn_back.last_moment is not None
    assert plan.stage("validate").turn_back.last_moment is None
    assert plan.auto_abort.fits is None
    assert plan.auto_abort.needed_p90_seconds is None
    assert "timings.switch-over" in unknowns(plan)


def test_what_is_known_alone_can_be_too_long() -> None:
    timings = {id: each for id, each in CERTAIN["timings"].items() if id != "switch-over"}
    given = at(snapshot("lantern"), window=window("2027-02-09T02:00:00+01:00", 75))
    plan = make(given, policy(**{**CERTAIN, "timings": timings, "auto_abort_minutes": 60}))
    assert "at least" in found(plan, "too-long").statement
    assert plan.auto_abort.fits is False
    assert found(plan, "auto-abort").status is Status.BLOCK


def test_the_controller_must_not_roll_back_before_validation_ends() -> None:
    """From the activation to validation's end: 10 + 5 + 2 + 17 + 16 + 20 = 70 minutes."""
    enough = make(snapshot("lantern"), policy(**CERTAIN, auto_abort_minutes=70)).auto_abort
    assert (enough.fits, enough.needed_p90_seconds) == (True, 70 * 60)
    assert enough.rolls_back_at is not None
    assert enough.rolls_back_at.isoformat() == "2027-02-09T03:16:00+01:00"
    plan = make(snapshot("lantern"), policy(**CERTAIN, auto_abort_minutes=69))
    assert plan.auto_abort.fits is False
    block = found(plan, "auto-abort")
    assert block.status is Status.BLOCK
    assert "1 minute too late" in block.statement
    assert "70 minutes or more" in block.remedy
    assert plan.blocked


def test_a_timer_that_runs_already_blocks() -> None:
    block = found(make(snapshot("pilot-station"), fleet().policy), "auto-abort-running")
    assert block.status is Status.BLOCK
    assert "pilot-station-a (110 minutes left)" in block.statement
    lost = make(without("pilot-station", "show install summary"), fleet().policy)
    assert problem(lost, "auto-abort-running") is None
    assert "auto-abort timer runs already" in unknowns(lost)
    assert "auto-abort timer runs already" not in unknowns(make(snapshot("lantern"), fleet().policy))


def test_recorded_stages_replace_the_policys() -> None:
    history = {"validate": [1800.0] * 5, "expand": [60.0] * 4}
    plan = make(snapshot("lantern"), policy(**CERTAIN), history)
    assert plan.stage("validate").source == "history"
    assert plan.stage("expand").source == "policy"
    assert plan.times is not None
    assert plan.times.p90_seconds == 88 * 60


def test_the_image_is_copied_to_the_members_that_lack_it() -> None:
    assert make(snapshot("lantern"), fleet().policy).stage("copy").skipped
    both = make(snapshot("gull-rock"), fleet().policy).stage("copy")
    one = make(snapshot("farholm"), fleet().policy).stage("copy")
    assert not both.skipped
    assert not one.skipped
    assert both.estimate is not None
    assert one.estimate is not None
    assert both.estimate.likely == 250, "2 * 1.25 GB at 80 Mbit/s"
    assert one.estimate.likely == 125
    lost = make(without("lantern", "dir bootflash:", "dir stby-bootflash:"), fleet().policy).stage("copy")
    assert not lost.skipped, "what wasn't seen isn't staged"
    assert lost.estimate is not None
    assert lost.estimate.likely == 250


def test_an_expanded_image_is_not_expanded_again() -> None:
    def inactive(_member: str, command: str, text: str) -> str:
        return (
            text.replace("IMG   C ", "IMG   I    17.12.04.0.12\nIMG   C ")
            if command == "show install summary"
            else text
        )

    def another(_member: str, command: str, text: str) -> str:
        return inactive(_member, command, text).replace("17.12.04.0.12", "17.12.03.0.12")

    assert make(changed("lantern", inactive), fleet().policy).stage("expand").skipped
    assert not make(changed("lantern", another), fleet().policy).stage("expand").skipped
    assert not make(snapshot("lantern"), fleet().policy).stage("expand").skipped

    def activated(_member: str, command: str, text: str) -> str:
        return inactive(_member, command, text).replace("IMG   I ", "IMG   U ")

    assert not make(changed("lantern", activated), fleet().policy).stage("expand").skipped


def test_the_preparation_ends_before_the_window() -> None:
    plan = make(snapshot("gull-rock"), fleet().policy)
    assert plan.preparation is not None
    assert plan.preparation.stages == ("copy", "stage-aps")
    copying, loading = plan.stage("copy"), plan.stage("stage-aps")
    assert copying.estimate is not None
    assert loading.estimate is not None
    p90 = percentile([copying.estimate, loading.estimate], 90)
    assert plan.preparation.p90_seconds == p90
    assert plan.window_start is not None
    assert plan.preparation.must_start == plan.window_start - timedelta(seconds=round(p90))
    assert loading.times is not None
    assert loading.times.p90 == plan.window_start
    assert plan.staging is not None
    assert plan.staging.must_start is not None
    assert plan.staging.must_start > plan.preparation.must_start
    assert plan.times is not None
    assert plan.times.begin == plan.window_start
    assert problem(plan, "preparation-late") is None


def test_a_late_preparation_delays_the_begin() -> None:
    now = datetime.fromisoformat("2027-02-23T22:59:00+00:00")
    plan = make(replace(snapshot("gull-rock"), moment=now), fleet().policy)
    assert plan.preparation is not None
    assert plan.window_start is not None
    assert plan.times is not None
    expected = now + timedelta(seconds=round(plan.preparation.p90_seconds))
    assert plan.times.begin == expected > plan.window_start
    assert found(plan, "preparation-late").status is Status.CAUTION
    assert plan.preparation.late_seconds > 0


def test_a_preparation_of_unknown_length_leaves_open_whether_it_fits() -> None:
    plan = make(at(snapshot("gull-rock"), uplink_mbps=None), fleet().policy)
    assert plan.preparation is None
    assert plan.times is not None
    assert plan.times.slack_seconds > 0
    assert plan.times.fits is None
    assert "`uplink_mbps` of Gull Rock" in unknowns(plan)
    assert make(snapshot("gull-rock"), fleet().policy).times.fits is True  # type: ignore[union-attr]


def test_a_window_that_is_open_or_has_passed_is_told() -> None:
    now = replace(snapshot("lantern"), moment=datetime.fromisoformat("2027-02-09T03:00:00+01:00"))
    inside = make(now, policy(**CERTAIN))
    assert found(inside, "window-open").status is Status.CAUTION
    assert inside.times is not None
    assert inside.times.begin.isoformat() == "2027-02-09T03:00:00+01:00"
    passed = make(replace(now, moment=datetime.fromisoformat("2027-02-09T06:00:00+01:00")), policy(**CERTAIN))
    assert found(passed, "window-passed").status is Status.BLOCK
    assert passed.times is not None
    assert passed.times.begin == passed.window_start


def test_without_a_window_only_durations_are_known() -> None:
    plan = make(at(snapshot("lantern"), window=None, time_zone=None), policy(**CERTAIN))
    assert (plan.times, plan.window_start, plan.preparation) == (None, None, None)
    assert plan.at_least_seconds == 78 * 60
    assert "no window" in unknowns(plan)
    assert plan.zone == "UTC"


@pytest.mark.parametrize(
    ("start", "ends", "finish"),
    [
        # The clocks of the European Union change at 01:00 UTC on these two Sundays (directive 2000/84/EC).
        ("2027-03-28T01:30:00+01:00", "2027-03-28T05:30:00+02:00", "2027-03-28T03:48:00+02:00"),
        ("2027-10-31T01:30:00+02:00", "2027-10-31T03:30:00+01:00", "2027-10-31T02:48:00+02:00"),
    ],
)
def test_a_window_across_a_change_of_clocks_keeps_its_minutes(start: str, ends: str, finish: str) -> None:
    given = at(snapshot("lantern"), window=window(start, 180), time_zone="Europe/Amsterdam")
    plan = make(given, policy(**CERTAIN))
    assert plan.window_end is not None
    assert plan.times is not None
    assert plan.window_end.isoformat() == ends
    assert plan.times.p90.isoformat() == finish
    assert plan.times.slack_seconds == (180 - 78) * 60
    assert plan.window_end - plan.times.p90 == timedelta(minutes=180 - 78)
    assert any("clocks change" in note for note in plan.notes)


def test_an_offset_that_the_zone_does_not_have_is_a_caution() -> None:
    given = at(snapshot("lantern"), window=window("2027-02-09T02:00:00+02:00", 240), time_zone="Europe/Amsterdam")
    assert found(make(given, fleet().policy), "time-zone").status is Status.CAUTION
    assert problem(make(snapshot("quay"), fleet().policy), "time-zone") is None


def test_batches_come_from_the_neighbour_reports() -> None:
    plan = make(snapshot("lantern"), fleet().policy)
    assert plan.batches is not None
    assert plan.rounds == len(plan.batches.batches) == 4
    assert sorted(name for batch in plan.batches.batches for name in batch)[0].startswith("lantern-")
    assert {hole.ap: hole.critical for hole in plan.batches.holes} == {"lantern-kiosk-row-12": True}
    assert "in critical areas lantern-kiosk-row-12" in found(plan, "holes").statement
    assert plan.notice is not None
    assert [batch.aps for batch in plan.notice.batches] == list(plan.batches.batches)


@pytest.mark.parametrize(
    "broken",
    [
        {"neighbour_dbm": None},
        {"site_share_percent": None},
    ],
)
def test_without_a_level_or_a_share_there_are_no_batches(broken: dict[str, None]) -> None:
    table = fleet().policy.ap_restarts.model_copy(update=broken)
    plan = make(snapshot("lantern"), policy(ap_restarts=table))
    assert plan.batches is None
    assert f"ap_restarts.{next(iter(broken))}" in unknowns(plan)
    assert (plan.rounds, plan.times) == (None, None)


@pytest.mark.parametrize(("shares", "told"), [((), ""), ((5, 25), "5 per cent 12, 25 per cent 4.")])
def test_without_neighbour_reports_no_rounds_are_guessed(shares: tuple[float, ...], told: str) -> None:
    """A rolling share only says how many rounds there are at the least: 20 of 5 per cent, of 12 access points 12."""
    table = fleet().policy.ap_restarts.model_copy(update={"rolling_percents": shares})
    plan = make(without("lantern", "show ap neighbor summary"), policy(ap_restarts=table))
    notes = [note for note in plan.notes if "rolling restart takes at least" in note]
    assert [note.rpartition(": ")[2] for note in notes] == ([told] if told else [])
    assert plan.auto_abort.fits is None
    assert plan.stage("validate").turn_back.last_moment is None
    assert plan.at_least_seconds is not None
    assert DESCRIPTIONS["restart-aps"].title in unknowns(plan)
    assert plan.batches is None
    assert plan.rounds is None
    assert plan.times is None
    assert plan.stage("restart-aps").estimate is None
    assert "show ap neighbor summary" in unknowns(plan)


def test_access_points_that_may_not_hold_the_image_restart_slower() -> None:
    held = make(snapshot("lantern"), policy(**CERTAIN)).stage("restart-aps")
    failing = make(snapshot("night-ferry"), policy(**CERTAIN)).stage("restart-aps")
    lost = make(without("lantern", "show ap image"), policy(**CERTAIN)).stage("restart-aps")
    assert "ap_restarts.staged" in held.basis
    assert "ap_restarts.unstaged" in failing.basis
    assert lost.estimate is None


@pytest.mark.parametrize("key", ["uplink_percent", "transfer_mbps"])
def test_without_a_share_or_a_limit_of_the_loading_a_plan_does_not_fit(key: str) -> None:
    table = fleet().policy.ap_staging.model_copy(update={key: None})
    whole, less = (make(snapshot("night-ferry"), given) for given in (fleet().policy, policy(ap_staging=table)))
    assert whole.times is not None
    assert less.times is not None
    assert (whole.times.fits, less.times.fits) == (True, None)
    assert (less.staging.estimate if less.staging is not None else 0) is None
    assert f"State `ap_staging.{key}` in the policy" in unknowns(less)
    staged = make(snapshot("lantern"), policy(ap_staging=table)).stage("stage-aps")
    assert staged.skipped, "nothing is left to load"


def test_an_access_point_that_no_table_of_images_lists_holds_nothing() -> None:
    def one_less(_member: str, command: str, text: str) -> str:
        if command != "show ap image":
            return text
        kept = [line for line in text.splitlines() if not line.startswith("lantern-pier-head-01")]
        return "\n".join(kept).replace(": 12", ": 11")

    staging = make(changed("lantern", one_less), fleet().policy).staging
    assert staging is not None
    assert (staging.aps, staging.held, staging.to_load, staging.open) == (12, 11, 1, 0)


def test_a_lost_list_of_access_points_leaves_open_who_holds_the_image() -> None:
    plan = make(without("lantern", "show ap summary"), fleet().policy)
    assert plan.staging is not None
    assert plan.staging.to_load == 0
    assert "There may be more" in plan.staging.statement
    assert not plan.stage("stage-aps").skipped
    assert plan.stage("stage-aps").estimate is None


def test_who_notices() -> None:
    plan = make(
        snapshot("lantern"),
        policy(**CERTAIN),
        clients=Counted({f"lantern-pier-head-{number:02}": 3 for number in (1, 4, 7, 10)}),
    )
    assert plan.notice is not None
    assert plan.notice.clients is None, "of most access points no figure is known"
    assert plan.notice.ap_minutes == 12 * 4
    assert plan.notice.sites == ("Lantern Pier", "Kiosk Row")
    lost = make(without("lantern", "show ap dot11 24ghz load-info"), fleet().policy)
    assert lost.notice is not None
    assert lost.notice.clients is None
    assert "load-info" in unknowns(lost)
    whole = make(snapshot("lantern"), fleet().policy)
    assert whole.notice is not None
    assert whole.notice.counted_at == EVENING
    assert whole.notice.clients == sum(batch.clients or 0 for batch in whole.notice.batches) > 0


def test_an_image_that_no_flash_holds_blocks() -> None:
    models = {**fleet().policy.access_points, "WX-AP20": AccessPointModel(image_bytes=100, flash_bytes=99)}
    block = found(make(snapshot("lantern"), policy(access_points=models)), "ap-flash")
    assert block.status is Status.BLOCK
    assert "WX-AP20" in block.statement


def test_a_pair_on_the_target_has_nothing_to_do() -> None:
    running = snapshot("lantern").members[0].readings["show version"].facts
    target = getattr(running, "release", None)
    given = at(snapshot("lantern"), target_release=str(target), image=Image("x.bin", 1))
    plan = make(given, fleet().policy)
    assert found(plan, "runs-already").status is Status.CAUTION
    assert plan.stage("copy").skipped


def test_commands_are_the_policys_texts() -> None:
    plan = make(snapshot("lantern"), policy(procedure={"commit": ["say it twice", "then wait"]}))
    assert plan.stage("commit").commands == ("say it twice", "then wait")
    assert plan.stage("expand").commands == ()


SIZES: dict[str, Any] = {
    "copy_mbps": Rates(optimistic=160, likely=80, pessimistic=40),
    "ap_staging": fleet().policy.ap_staging,
}


@pytest.mark.parametrize("command", [each.text for each in COMMANDS])
@pytest.mark.parametrize("pair", ["lantern", "gull-rock", "night-ferry"])
def test_no_loss_makes_a_plan_better(pair: str, command: str) -> None:
    """A capture that is lost never makes a plan that doesn't fit fit, and nothing in it shorter than it was."""
    tight = {"window": window("2027-02-23T23:00:00+00:00", 100), "time_zone": "Europe/London"}
    whole, less = (make(at(each, **tight), policy(**SIZES)) for each in (snapshot(pair), without(pair, command)))
    fits: list[StageId] = [stage.id for stage in whole.stages if not stage.skipped]
    assert not [id for id in fits if less.stage(id).skipped], "what had to be done is still to be done"
    if whole.times is not None and less.times is not None:
        assert less.times.p90_seconds >= whole.times.p90_seconds
    if whole.times is None or whole.times.fits is not True:
        assert less.times is None or less.times.fits is not True
