from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from typing import Any

from collector.finding import Status, Verdict
from collector.plan.plan import Problem, Unknown
from collector.planned import PairPlan
from collector.report.plan_document import document
from tests.collector.report.plan_sample import HOSTILE_PLAN, NARROW, NO_WINDOW, OPENS, QUAY, TOO_LONG, planned


def told(found: PairPlan) -> dict[str, Any]:
    (plan,) = json.loads(json.dumps(document([found], "inventory/demo")))["plans"]
    return dict(plan)


def test_the_head_says_what_it_is() -> None:
    data = document([planned(QUAY), planned(TOO_LONG)], "inventory/demo")
    assert (data["schema"], data["tool"], data["inventory"]) == (1, "readypair", "inventory/demo")
    assert [plan["standing"] for plan in data["plans"]] == ["fits", "too long"]


def test_a_plan_tells_its_times_with_offsets_and_durations_in_seconds() -> None:
    plan = told(planned(QUAY))
    assert (plan["pair"], plan["site"], plan["target_release"]) == ("quay", "Harbour Quay", "17.12.4")
    assert (plan["fits"], plan["blocked"], plan["verdict"], plan["deciding"]) == (True, False, "go", [])
    assert plan["window_start"] == "2027-02-06T23:00:00+01:00"
    assert plan["times"]["p90"] == "2027-02-07T01:31:00+01:00"
    assert plan["times"]["slack_seconds"] == 5340
    assert plan["auto_abort"]["limit_seconds"] == 21600
    assert plan["preparation"] == {
        "stages": ["expand", "stage-aps"],
        "p90_seconds": 5400,
        "must_start": "2027-02-06T21:30:00+01:00",
        "late_seconds": 0,
    }


def test_every_stage_is_there_with_its_way_back() -> None:
    stages = {stage["id"]: stage for stage in told(planned(QUAY))["stages"]}
    assert len(stages) == 10
    assert stages["copy"]["needed"] is False
    restart = stages["restart-aps"]
    assert restart["estimate"] == {"optimistic": 30, "likely": 60, "pessimistic": 120}
    assert restart["turn_back"]["last_moment"] == "2027-02-07T01:14:00+01:00"
    assert restart["turn_back"]["in_time"] is True
    assert stages["validate"]["turn_back"]["in_time"] is False
    assert stages["commit"]["turn_back"]["possible"] is False
    assert stages["reload-standby"]["commands"] == ["activate the new release now"]


def test_what_is_not_known_is_null_and_said() -> None:
    plan = told(planned(NARROW))
    assert (plan["standing"], plan["times"], plan["fits"], plan["rounds"]) == ("incomplete", None, None, None)
    assert plan["unknowns"] == [{"what": "When validation ends.", "needed": "`timings.validate` in the policy."}]
    without = told(planned(NO_WINDOW))
    assert (without["window_start"], without["window_end"]) == (None, None)


def test_readiness_counts_beside_the_plan() -> None:
    assert told(planned(QUAY, Verdict.NO_GO))["standing"] == "blocked"
    assert told(planned(QUAY, Verdict.UNDECIDED))["standing"] == "incomplete"
    assert told(planned(TOO_LONG, Verdict.NO_GO))["standing"] == "too long"


def test_a_plans_own_block_counts_whatever_its_times_and_readiness() -> None:
    blocked = told(planned(replace(QUAY, problems=(Problem("auto-abort", Status.BLOCK, "It rolls back.", "Wait."),))))
    assert (blocked["standing"], blocked["blocked"], blocked["fits"]) == ("blocked", True, True)
    cautioned = replace(QUAY, problems=(Problem("no-return", Status.CAUTION, "Late.", "Begin earlier."),))
    assert told(planned(cautioned))["standing"] == "fits"


def test_whatever_is_not_known_keeps_a_plan_from_fitting() -> None:
    assert QUAY.times is not None
    unsure = replace(QUAY, unknowns=(Unknown("Something.", "Something else."),))
    unprepared = replace(QUAY, times=replace(QUAY.times, prepared=False))
    assert [told(planned(plan))["standing"] for plan in (unsure, unprepared)] == ["incomplete", "incomplete"]
    assert told(planned(unprepared))["fits"] is None


def test_it_can_be_written_as_utf_8_whatever_a_controller_said() -> None:
    json.dumps(document([planned(HOSTILE_PLAN)], "x\udcff"), ensure_ascii=False).encode("utf-8")


def test_moments_read_back_as_they_were() -> None:
    assert datetime.fromisoformat(told(planned(QUAY))["window_start"]) == OPENS
