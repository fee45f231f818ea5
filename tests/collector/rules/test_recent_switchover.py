from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.recent_switchover import RULE, is_planned
from parsers.facts.clock import Clock
from parsers.facts.history import Switchover, SwitchoverHistory
from parsers.facts.redundancy import Redundancy
from parsers.facts.software import Version
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Answers,
    Lost,
    changed,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)
from tests.collector.rules.lessening import bettered

HISTORY, VERSION, REDUNDANCY, CLOCK = (
    "show redundancy switchover history",
    "show version",
    "show redundancy",
    "show clock",
)
NOW = datetime(2027, 2, 5, 22, 0)
DAY = 86_400


def history(*rows: tuple[str, datetime | None]) -> SwitchoverHistory:
    return SwitchoverHistory(
        switchovers=tuple(
            Switchover(index=n, previous_active=1, current_active=2, reason=reason, time=time, at=3 + n)
            for n, (reason, time) in enumerate(rows, 1)
        )
    )


def member(number: int, *rows: tuple[str, datetime | None], **of_redundancy: Any) -> dict[str, Any]:
    """A healthy member with these switchovers, which its `show redundancy` counts unless told otherwise."""
    said = healthy(number)[REDUNDANCY]
    assert isinstance(said, Redundancy)
    counted = replace(said, **{"switchovers": len(rows), **of_redundancy})
    return {**healthy(number), HISTORY: history(*rows), REDUNDANCY: counted}


def reloaded(number: int, seconds: int | None, reason: str | None) -> Answers:
    said = healthy(number)[VERSION]
    assert isinstance(said, Version)
    return changed(healthy(number), show_version=replace(said, uptime_seconds=seconds, last_reload_reason=reason))


def judged(first: Answers | None = None, second: Answers | None = None, **of_policy: Any) -> Answer:
    return RULE.judge(snapshot(first, second), policy(**of_policy))


FAILED = ("active unit failed", NOW - timedelta(days=3))
ORDERED = ("user_forced", NOW - timedelta(days=3))


def test_a_quiet_pair_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == "no unplanned switchover, failure of the standby or reload in the last 14 days."
    assert RULE.weight == "caution"


def test_an_unplanned_switchover_is_told_with_its_reason_and_both_witnesses() -> None:
    found = judged(member(1, FAILED), member(2, FAILED))
    assert found.status is Status.BLOCK
    assert found.statement == (
        "a switchover from chassis 1 to 2 on 2027-02-02 at 22:00 (active unit failed) was unplanned, as both tell it."
    )
    assert told(found.evidence) == {
        ("quay-a", HISTORY): (4,),
        ("quay-a", CLOCK): (1,),
        ("quay-b", HISTORY): (4,),
        ("quay-b", CLOCK): (1,),
    }
    assert "Find out why" in found.remedy
    assert "drop clients" in found.remedy


def test_one_session_is_enough() -> None:
    found = judged(second=member(2, FAILED))
    assert found.status is Status.BLOCK
    assert "as quay-b tells it" in found.statement


def test_a_planned_switchover_passes_and_is_told() -> None:
    found = judged(member(1, ORDERED), member(2, ORDERED))
    assert found.status is Status.PASS
    assert "a switchover from chassis 1 to 2 on 2027-02-02 at 22:00 (user_forced) was planned" in found.statement
    undated = judged(member(1, ("user forced", None)), member(2))
    assert undated.status is Status.PASS
    assert "a switchover from chassis 1 to 2 (user forced) was planned" in undated.statement


@pytest.mark.parametrize(
    ("ago", "status"),
    [
        (timedelta(days=14), Status.BLOCK),
        (timedelta(days=14, seconds=1), Status.PASS),
        (timedelta(days=-1), Status.BLOCK),
        (timedelta(), Status.BLOCK),
    ],
)
def test_the_policys_days_count_by_the_controllers_own_clock(ago: timedelta, status: Status) -> None:
    assert judged(member(1, ("power lost", NOW - ago))).status is status


def test_the_policy_says_how_many_days() -> None:
    answers = member(1, ("power lost", NOW - timedelta(days=3)))
    assert judged(answers, recent_days=2.5).status is Status.PASS
    assert judged(answers, recent_days=3).status is Status.BLOCK


def test_an_old_switchover_is_not_told() -> None:
    found = judged(member(1, ("user forced", NOW - timedelta(days=20)), ("power", NOW - timedelta(days=15))))
    assert found.status is Status.PASS
    assert "chassis" not in found.statement


def test_what_is_not_dated_or_can_not_be_compared_is_unknown() -> None:
    undated = judged(member(1, ("active unit failed", None)))
    assert undated.status is Status.UNKNOWN
    assert undated.statement == "a switchover from chassis 1 to 2 (active unit failed) isn't dated."
    for clock in (CUT_OFF, MISSING, UNREADABLE, REFUSED, Clock()):
        found = judged({**member(1, FAILED), CLOCK: clock})
        assert found.status is Status.UNKNOWN
        assert "how long ago that is isn't known" in found.statement
        assert judged({**member(1), CLOCK: clock}).status is Status.PASS


def test_the_active_ones_clock_serves_a_standby_that_refuses_to_show_its_own() -> None:
    assert judged(second={**member(2, FAILED), CLOCK: REFUSED}).status is Status.BLOCK
    assert judged(second={**member(2, FAILED), CLOCK: CUT_OFF}).status is Status.UNKNOWN
    assert judged({**healthy(1), CLOCK: CUT_OFF}, {**member(2, FAILED), CLOCK: REFUSED}).status is Status.UNKNOWN


@pytest.mark.parametrize("listed", [0, 1])
def test_fewer_rows_than_counted_switchovers_are_not_the_whole_history(listed: int) -> None:
    rows = [("user forced", NOW - timedelta(days=30))] * listed
    found = judged(member(1, *rows, switchovers=2))
    assert found.status is Status.UNKNOWN
    assert f"counts 2 switchovers, and `{HISTORY}` lists {listed}" in found.statement
    assert judged(member(1, *rows, switchovers=0)).status is Status.PASS
    assert judged(member(1, *rows, switchovers=None)).status is Status.UNKNOWN


@pytest.mark.parametrize(
    ("uptime", "status"), [(14 * DAY, Status.BLOCK), (14 * DAY + 1, Status.PASS), (None, Status.UNKNOWN)]
)
def test_failures_of_the_standby_count_since_the_controller_came_up(uptime: int | None, status: Status) -> None:
    said = healthy(1)[REDUNDANCY]
    assert isinstance(said, Redundancy)
    first = {**reloaded(1, uptime, "Reload Command"), REDUNDANCY: replace(said, standby_failures=2)}
    found = judged(first)
    assert found.status is status
    assert "the standby failed 2 times" in found.statement
    if status is Status.BLOCK:
        assert "since quay-a came up 14 days ago" in found.statement
    if status is Status.PASS:
        assert "when isn't told" in found.statement
    assert bettered(RULE, first, healthy(2), policy()) == []


def test_one_failure_is_one_time_and_an_unshown_count_is_unknown() -> None:
    assert "the standby failed 1 time since" in judged(member(1, standby_failures=1)).statement
    found = judged(member(1, standby_failures=None))
    assert found.status is Status.UNKNOWN
    assert "how often the standby failed" in found.statement


@pytest.mark.parametrize(
    ("seconds", "reason", "status", "words"),
    [
        (2 * DAY, "Critical process fault", Status.BLOCK, "2 days ago (Critical process fault), which was unplanned"),
        (DAY, "PowerOn", Status.BLOCK, "1 day ago (PowerOn)"),
        (7200, "", Status.BLOCK, "2 hours ago (no reason given)"),
        (60, "Reload Command", Status.PASS, "1 minute ago (Reload Command), which was planned"),
        (14 * DAY, "Watchdog", Status.BLOCK, "14 days ago"),
        (14 * DAY + 1, "Watchdog", Status.PASS, ""),
        (14 * DAY + 1, None, Status.PASS, ""),
        (DAY, None, Status.UNKNOWN, "and why isn't told"),
        (None, "Watchdog", Status.UNKNOWN, "at a time that isn't told (Watchdog)"),
        (None, "Reload Command", Status.PASS, "which was planned"),
        (None, None, Status.UNKNOWN, "and why isn't told"),
    ],
)
def test_the_last_reload_of_each_member(seconds: int | None, reason: str | None, status: Status, words: str) -> None:
    for number in (1, 2):
        answers = reloaded(number, seconds, reason)
        found = judged(answers) if number == 1 else judged(None, answers)
        assert found.status is status
        assert words in found.statement
        pair = (answers, healthy(2)) if number == 1 else (healthy(1), answers)
        assert bettered(RULE, pair[0], pair[1], policy()) == []


@pytest.mark.parametrize(
    "reason",
    [
        "user forced",
        "user_forced",
        "Reload Command",
        "reload cli",
        "Image Install",
        "install",
        "ISSU",
        "Admin reload CLI",
        "redundancy force-switchover",
    ],
)
def test_an_order_of_a_persons_or_an_upgrades_is_planned(reason: str) -> None:
    """The words are common practice, no source."""
    assert is_planned(reason)


@pytest.mark.parametrize(
    "reason",
    [
        "",
        "none",
        "active unit removed",
        "active_unit_failed",
        "Critical process fault",
        "power-on",
        "install auto abort",
        "ISSU rollback",
        "user process crash",
        "lost both active and standby",
        "unknown",
        "Last reload by administration of nobody fault",
    ],
)
def test_whatever_else_is_unplanned(reason: str) -> None:
    """The words are common practice, no source."""
    assert not is_planned(reason)


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize(("number", "command"), [(n, c) for n in (1, 2) for c in (HISTORY, VERSION, REDUNDANCY)])
def test_a_lost_answer_is_unknown(number: int, command: str, lost: Lost) -> None:
    answers = {**healthy(number), command: lost}
    found = judged(answers) if number == 1 else judged(None, answers)
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-{'ab'[number - 1]}" in found.statement


def test_the_active_ones_history_stands_in_but_nobody_tells_of_the_standbys_reload() -> None:
    limited = {**healthy(2), HISTORY: REFUSED, REDUNDANCY: REFUSED}
    found = judged(second=limited)
    assert found.status is Status.PASS
    assert f"quay-a's word stands for both, since quay-b refused `{HISTORY}`" in found.statement
    assert judged(member(1, FAILED), limited).status is Status.BLOCK
    assert judged(second={**healthy(2), VERSION: REFUSED}).status is Status.UNKNOWN
    assert judged(second=unreached()).status is Status.UNKNOWN
    assert judged({**healthy(1), HISTORY: REFUSED}).status is Status.UNKNOWN


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (healthy(1), healthy(2)),
        (member(1, FAILED), healthy(2)),
        (healthy(1), member(2, ORDERED, FAILED)),
        (member(1, ORDERED), member(2, ORDERED)),
        (member(1, FAILED), {**healthy(2), HISTORY: REFUSED, CLOCK: REFUSED}),
        (healthy(1), {**member(2, FAILED), CLOCK: REFUSED}),
        (member(1, standby_failures=3), healthy(2)),
    ],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    assert bettered(RULE, first, second, policy()) == []
