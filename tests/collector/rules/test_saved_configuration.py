from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from collector.finding import Answer, Status
from collector.rules.saved_configuration import RULE
from parsers.facts.history import ConfigurationTime
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

CHANGED = "show running-config | include Last configuration change"
SAVED = "show running-config | include NVRAM config last updated"
NOON = datetime(2027, 2, 5, 12, 0)


def told_at(time: datetime | None, zone: str | None = "CET", by: str | None = "ops") -> ConfigurationTime:
    return ConfigurationTime(time=time, zone=zone, by=by, at={"time": (1,)})


def member(number: int, changed: ConfigurationTime | Lost, saved: ConfigurationTime | Lost) -> Answers:
    return {**healthy(number), CHANGED: changed, SAVED: saved}


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


UNSAVED = (told_at(NOON), told_at(NOON - timedelta(seconds=1)))


def test_a_configuration_saved_after_its_last_change_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == (
        "quay-a's configuration was last saved on 2027-01-28 at 12:01:00, after its last change; "
        "quay-b's configuration was last saved on 2027-01-28 at 12:01:00, after its last change."
    )
    assert set(told(found.evidence)) == {(name, c) for name in ("quay-a", "quay-b") for c in (CHANGED, SAVED)}


@pytest.mark.parametrize("number", [1, 2])
def test_a_change_after_the_last_save_on_one_member_is_trouble(number: int) -> None:
    answers = member(number, *UNSAVED)
    found = judged(answers) if number == 1 else judged(None, answers)
    assert found.status is Status.BLOCK
    assert found.statement == (
        f"quay-{'ab'[number - 1]}'s configuration was changed on 2027-02-05 at 12:00:00 by ops, "
        f"after its last save on 2027-02-05 at 11:59:59, as quay-{'ab'[number - 1]} tells it."
    )
    assert "lost with a reload" in found.remedy
    assert RULE.weight == "caution"


def test_who_changed_it_is_told_only_where_it_is_shown() -> None:
    found = judged(member(1, told_at(NOON, by=None), UNSAVED[1]))
    assert "at 12:00:00, after" in found.statement


def test_a_save_in_the_same_second_is_a_save() -> None:
    assert judged(member(1, told_at(NOON), told_at(NOON))).status is Status.PASS


@pytest.mark.parametrize("times", [(None, NOON), (NOON, None), (None, None)])
def test_a_time_that_is_not_shown_is_unknown(times: tuple[datetime | None, datetime | None]) -> None:
    found = judged(second=member(2, told_at(times[0]), told_at(times[1])))
    assert found.status is Status.UNKNOWN
    assert "on quay-b tells no time" in found.statement
    missing = CHANGED if times[0] is None else SAVED
    assert f"`{missing}`" in found.statement


def test_times_in_different_zones_are_compared_only_where_zones_do_not_matter() -> None:
    def status(apart: timedelta) -> Status:
        return judged(member(1, told_at(NOON, "CEST"), told_at(NOON + apart, "CET"))).status

    assert status(timedelta(hours=26)) is Status.UNKNOWN
    assert status(timedelta(hours=-26)) is Status.UNKNOWN
    assert status(timedelta(hours=26, seconds=1)) is Status.PASS
    assert status(timedelta(hours=-26, seconds=-1)) is Status.BLOCK
    assert judged(member(1, told_at(NOON, None), told_at(NOON, None))).status is Status.PASS


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize(("number", "command"), [(n, c) for n in (1, 2) for c in (CHANGED, SAVED)])
def test_a_lost_answer_is_unknown(number: int, command: str, lost: Lost) -> None:
    answers = {**healthy(number), command: lost}
    found = judged(answers) if number == 1 else judged(None, answers)
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-{'ab'[number - 1]}" in found.statement


@pytest.mark.parametrize("second", [member(2, REFUSED, REFUSED), unreached(), {**healthy(2), SAVED: REFUSED}])
def test_the_active_one_stands_in_for_the_standby(second: Answers) -> None:
    found = judged(second=second)
    assert found.status is Status.PASS
    assert "quay-a's word stands for both, since quay-b" in found.statement
    assert judged(member(1, *UNSAVED), second).status is Status.BLOCK


def test_nobody_stands_in_for_the_active_one() -> None:
    assert judged(member(1, REFUSED, REFUSED)).status is Status.UNKNOWN
    crossed = judged({**healthy(1), CHANGED: REFUSED}, {**healthy(2), SAVED: REFUSED})
    assert crossed.status is Status.UNKNOWN
    assert "no member tells both" in crossed.statement


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (healthy(1), healthy(2)),
        (member(1, *UNSAVED), healthy(2)),
        (healthy(1), member(2, *UNSAVED)),
        (healthy(1), member(2, REFUSED, REFUSED)),
        (member(1, *UNSAVED), member(2, REFUSED, REFUSED)),
        (member(1, told_at(NOON, "CEST"), told_at(NOON, "CET")), healthy(2)),
    ],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert bettered(RULE, first, second, policy()) == []
