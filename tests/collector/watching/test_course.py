"""What a watch takes from a plan, and how long the rest still takes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.plan.plan import STAGES, Estimate
from collector.plan.times import percentile
from collector.watching.course import course_of, remaining_p90
from collector.watching.sighting import Course
from tests.collector.watching.polls import plan

COURSE = course_of(plan())


def test_a_course_has_the_plans_stages_and_ways_back() -> None:
    assert [stage.id for stage in COURSE.stages] == list(STAGES)
    assert COURSE.window_end == plan().window_end
    for stage in plan().stages:
        planned = COURSE.stage(stage.id)
        assert planned is not None
        assert planned.last_moment == stage.turn_back.last_moment
        assert planned.skipped == bool(stage.skipped)
        if stage.estimate is not None and not stage.skipped:
            assert planned.p90_seconds == pytest.approx(percentile([stage.estimate], 90))
            assert (planned.p50_seconds or 0) <= (planned.p90_seconds or 0)


def test_what_remains_is_the_rest_of_this_stage_and_the_sum_of_those_behind_it() -> None:
    validate = COURSE.stage("validate")
    restarts = COURSE.stage("restart-aps")
    assert validate is not None
    assert restarts is not None
    assert validate.estimate is not None
    behind = percentile([Estimate(*validate.estimate)], 90)
    whole = (restarts.p90_seconds or 0) + behind
    assert remaining_p90(COURSE, "restart-aps", 0) == pytest.approx(whole)
    assert remaining_p90(COURSE, "restart-aps", 600) == pytest.approx(whole - 600)
    assert remaining_p90(COURSE, "restart-aps", 1e6) == pytest.approx(behind)
    assert remaining_p90(COURSE, "validate", 1e6) == 0


def test_what_is_not_known_or_behind_has_no_rest() -> None:
    assert remaining_p90(COURSE, "commit", 0) is None
    assert remaining_p90(COURSE, "before", 0) is None
    assert remaining_p90(Course(), "synchronise", 0) is None
    unknown = tuple(
        replace(stage, estimate=None, p90_seconds=None) if stage.id == "validate" else stage for stage in COURSE.stages
    )
    assert remaining_p90(replace(COURSE, stages=unknown), "synchronise", 0) is None


def test_a_round_is_a_share_of_the_restarts() -> None:
    restarts = plan().stage("restart-aps").estimate
    assert restarts is not None
    assert COURSE.rounds is not None
    assert COURSE.round_p90_seconds == pytest.approx(percentile([restarts.scaled(1 / COURSE.rounds)], 90))
