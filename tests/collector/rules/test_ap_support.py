from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.ap_support import RULE
from parsers.facts.access_points import AccessPoint, ApSummary
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)
from tests.collector.rules.lessening import bettered

SUMMARY = "show ap summary"
MODELS = {
    "WX-AP20": {"first_release": "17.3.1"},
    "WX-AP11": {"last_release": "17.9.8"},
    "WX-AP40": {"first_release": "17.12.5"},
    "WX-AP30": {"first_release": "17.12.4", "last_release": "17.12.4"},
    "WX-AP31": {},
}


def aps(*models: str | None, location: str | None = "Hall") -> ApSummary:
    """A table with one access point of each model."""
    rows = tuple(
        AccessPoint(name=f"ap-{n}", model=model, location=location, state="Registered", at=n)
        for n, model in enumerate(models, 1)
    )
    return ApSummary(count=len(rows), aps=rows, at={"count": (40,)})


def judged(table: ApSummary | Lost, second: Answers | None = None, models: dict[str, Any] | None = None) -> Answer:
    known = policy(access_points=MODELS if models is None else models)
    return RULE.judge(snapshot({**healthy(1), SUMMARY: table}, second), known)


def test_supported_models_pass() -> None:
    found = judged(aps("WX-AP20", "WX-AP31", "WX-AP20"))
    assert found.status is Status.PASS
    assert found.statement == "17.12.4 supports all 2 models of 3 access points on quay-a."
    assert told(found.evidence) == {("quay-a", SUMMARY): (1, 2, 3, 40)}


@pytest.mark.parametrize(
    ("model", "limit"), [("WX-AP11", "supported up to 17.9.8"), ("WX-AP40", "supported from 17.12.5")]
)
def test_beyond_either_limit_blocks(model: str, limit: str) -> None:
    found = judged(aps("WX-AP20", model))
    assert found.status is Status.BLOCK
    assert found.statement == f"17.12.4 doesn't support {model} ({limit}): 1 access point, 1 at Hall."
    assert told(found.evidence) == {("quay-a", SUMMARY): (2,)}
    assert "people who run the ward" in found.remedy


def test_both_limits_are_included() -> None:
    assert judged(aps("WX-AP30")).status is Status.PASS


def test_it_counts_by_model_and_place_and_the_site_stands_for_a_place_that_is_not_told() -> None:
    table = aps("WX-AP11", "WX-AP11", "WX-AP11", "WX-AP40")
    rows = (*table.aps[:1], replace(table.aps[1], location=None), *table.aps[2:])
    said = judged(replace(table, aps=rows)).statement
    assert "WX-AP11 (supported up to 17.9.8): 3 access points, 2 at Hall, 1 at Harbour Quay" in said
    assert "WX-AP40 (supported from 17.12.5): 1 access point, 1 at Hall" in said


def test_of_many_places_ten_are_named_and_of_many_rows_three_of_a_model_shown() -> None:
    rows = tuple(AccessPoint(name=f"ap-{n}", model="WX-AP11", location=f"Room {n}", at=n) for n in range(1, 31))
    found = judged(ApSummary(count=30, aps=rows))
    assert found.statement.endswith("1 at Room 10 and 20 more.")
    assert told(found.evidence) == {("quay-a", SUMMARY): (1, 2, 3)}


def test_a_model_that_the_policy_lacks_is_unknown() -> None:
    found = judged(aps("WX-AP20", "WX-AP99"))
    assert found.status is Status.UNKNOWN
    assert found.statement == "the policy doesn't list WX-AP99: 1 access point, 1 at Hall."
    assert "access_points" in found.remedy
    assert judged(aps("WX-AP11", "WX-AP99")).status is Status.BLOCK


def test_a_row_of_the_policy_that_states_sizes_only_says_nothing_of_support() -> None:
    found = judged(aps("WX-AP20"), models={"WX-AP20": {"image_bytes": 64_000_000}})
    assert found.status is Status.UNKNOWN
    assert found.statement == "the policy doesn't say which releases support WX-AP20: 1 access point, 1 at Hall."


def test_a_row_without_a_model_is_unknown() -> None:
    found = judged(aps("WX-AP20", None))
    assert found.status is Status.UNKNOWN
    assert "1 access point without a model on quay-a: ap-2" in found.statement


def test_without_a_table_in_the_policy_the_question_is_not_asked() -> None:
    whole = policy()
    without = whole.model_validate({key: value for key, value in _written(whole).items() if key != "access_points"})
    found = RULE.judge(snapshot(), without)
    assert (found.status, found.statement) == (
        Status.NOT_APPLICABLE,
        "The policy has no table of access point models.",
    )
    assert judged(aps("WX-AP20"), models={}).status is Status.UNKNOWN


def _written(whole: Any) -> dict[str, Any]:
    written: dict[str, Any] = whole.model_dump(by_alias=True, exclude_unset=True)
    return written


def test_no_access_points_pass_where_the_table_says_so() -> None:
    found = judged(ApSummary(count=0, at={"count": (1,)}))
    assert (found.status, found.statement) == (Status.PASS, "quay-a knows of no access points.")
    assert judged(ApSummary()).status is Status.UNKNOWN


def test_fewer_rows_than_the_controller_counts_are_unknown() -> None:
    assert judged(replace(aps("WX-AP20"), count=2)).status is Status.UNKNOWN
    assert judged(replace(aps("WX-AP11"), count=2)).status is Status.BLOCK


@pytest.mark.parametrize("lost", [CUT_OFF, MISSING, UNREADABLE, REFUSED])
def test_a_lost_table_is_unknown_whatever_the_standby_prints(lost: Lost) -> None:
    assert judged(lost).status is Status.UNKNOWN
    assert judged(lost, {**healthy(2), SUMMARY: aps("WX-AP20")}).status is Status.UNKNOWN


@pytest.mark.parametrize("second", [healthy(2), unreached(), {**healthy(2), SUMMARY: aps("WX-AP20")}])
def test_a_standby_makes_nothing_good_and_costs_nothing(second: Answers) -> None:
    assert judged(aps("WX-AP20"), second).status is Status.PASS
    assert judged(aps("WX-AP11"), second).status is Status.BLOCK


def test_another_target_gets_another_answer() -> None:
    first = {**healthy(1), SUMMARY: aps("WX-AP11")}
    assert RULE.judge(snapshot(first, target="17.9.8"), policy(access_points=MODELS)).status is Status.PASS


def test_without_a_certain_active_one_both_tables_are_heard_for_trouble() -> None:
    both = {**healthy(1), SUMMARY: aps("WX-AP11")}
    assert judged(aps("WX-AP20"), healthy(1)).status is Status.UNKNOWN
    assert judged(aps("WX-AP20"), both).status is Status.BLOCK


@pytest.mark.parametrize("table", [aps("WX-AP20", "WX-AP31"), aps("WX-AP20", "WX-AP11"), aps("WX-AP99", None)])
@pytest.mark.parametrize("number", [1, 2])
def test_no_loss_makes_it_better(table: ApSummary, number: int) -> None:
    second = healthy(number)
    assert bettered(RULE, {**healthy(1), SUMMARY: table}, second, policy(access_points=MODELS)) == []
