"""The last moment for turning back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from collector.plan.plan import STAGES, Estimate, StageId
from collector.plan.stages import Duration
from collector.plan.times import percentile
from collector.plan.turning_back import turn_back
from inventory.policy import Policy

PLAIN = Policy.model_validate({"hardware": {}, "trains": {}, "minimum_release": "17.3.1", "upgrade_paths": []})
END = datetime(2027, 2, 7, 3, tzinfo=UTC)
ONE = Estimate(300, 600, 1800)
BEFORE_ACTIVATION: tuple[StageId, ...] = ("copy", "expand", "stage-aps")
KNOWN = {id: Duration(ONE, "policy", "") for id in STAGES}


def test_turning_back_ends_inside_the_window_in_90_of_100_cases() -> None:
    found = turn_back("synchronise", KNOWN, PLAIN, END, None, UTC)
    p90 = percentile([ONE, ONE], 90)
    assert found.p90_seconds == p90 > percentile([ONE, ONE], 50) == found.p50_seconds
    assert found.last_moment == END - timedelta(seconds=round(p90))
    assert found.in_time is None


@pytest.mark.parametrize(("seconds", "in_time"), [(0, True), (1, False)])
def test_a_stage_that_ends_at_the_last_moment_ends_in_time(seconds: int, in_time: bool) -> None:
    last = turn_back("synchronise", KNOWN, PLAIN, END, None, UTC).last_moment
    assert last is not None
    found = turn_back("synchronise", KNOWN, PLAIN, END, last + timedelta(seconds=seconds), UTC)
    assert found.in_time is in_time


def test_a_step_without_a_time_leaves_the_last_moment_unknown() -> None:
    found = turn_back("validate", KNOWN | {"restart-aps": Duration(None, None, "")}, PLAIN, END, END, UTC)
    assert (found.possible, found.last_moment, found.in_time) == (True, None, None)
    assert "restart the access points on the old release" in found.statement
    assert turn_back("synchronise", KNOWN, PLAIN, None, END, UTC).last_moment is None


def test_before_the_activation_nothing_takes_the_windows_time() -> None:
    found = turn_back("expand", KNOWN, PLAIN, END, END, UTC)
    assert (found.steps, found.last_moment, found.in_time) == ((), END, True)


def test_what_was_expanded_must_be_removed_again_before_the_next_window() -> None:
    told = {id: turn_back(id, KNOWN, PLAIN, END, END, UTC).statement for id in BEFORE_ACTIVATION}
    assert "have it removed again by the vendor's procedure" in told.pop("expand")
    assert set(told.values()) == {"Nothing has to be undone: no member runs the new release yet."}


def test_after_the_commit_there_is_no_way_back() -> None:
    found = turn_back("commit", KNOWN, PLAIN, END, END, UTC)
    assert (found.possible, found.last_moment, found.in_time) == (False, None, None)
