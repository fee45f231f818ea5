from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.demo import EVENING
from collector.finding import Answer, Status
from collector.rules.clock import RULE
from collector.snapshot import MemberSnapshot
from parsers.facts.clock import Clock, NtpStatus
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Lost,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)
from tests.collector.rules.lessening import bettered

NTP, CLOCK = "show ntp status", "show clock"
NAIVE = EVENING.replace(tzinfo=None)


def shown(ahead: float = 0, zone: str | None = "CET", mark: str | None = "") -> dict[str, Any]:
    """A clock that is so many seconds ahead of the demo's evening, which is told in CET."""
    return {CLOCK: Clock(time=NAIVE + timedelta(seconds=ahead), zone=zone, mark=mark, at={"time": (1,), "mark": (1,)})}


def judged(
    first: Mapping[str, Any] | None = None, second: Mapping[str, Any] | None = None, seconds: float = 5
) -> Answer:
    pair = snapshot({**healthy(1), **(first or {})}, {**healthy(2), **(second or {})})
    return RULE.judge(pair, policy(clock_seconds=seconds))


def taken(started: datetime | None, seconds: float | None, answers: Mapping[str, Any] | None = None) -> Answer:
    """The answer where the standby's clock was captured at this time, within so many seconds."""
    pair = snapshot(None, {**healthy(2), **(answers or {})})
    first, second = pair.members
    capture = replace(second.captures[CLOCK], started=started, seconds=seconds)
    changed = MemberSnapshot(second.name, {**second.captures, CLOCK: capture}, second.readings)
    return RULE.judge(replace(pair, members=(first, changed)), policy())


def test_synchronised_and_together_passes() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == "NTP synchronises quay-a and quay-b, and their clocks are within 5 s of this host's."


@pytest.mark.parametrize("number", [1, 2])
def test_a_member_without_ntp_is_trouble(number: int) -> None:
    lost = {NTP: NtpStatus(synchronised=False, stratum=16, at={"synchronised": (1,)})}
    found = judged(lost) if number == 1 else judged(None, lost)
    name = "quay-a" if number == 1 else "quay-b"
    assert found.status is Status.BLOCK
    assert f"NTP doesn't synchronise {name}'s clock" in found.statement
    assert told(found.evidence) == {(name, NTP): (1,)}


@pytest.mark.parametrize(("mark", "words"), [("*", "not authoritative"), (".", "no longer synchronised")])
def test_a_mark_is_trouble(mark: str, words: str) -> None:
    found = judged(second=shown(mark=mark))
    assert found.status is Status.BLOCK
    assert f"quay-b marks its clock as {words}" in found.statement


@pytest.mark.parametrize(
    ("ahead", "status"),
    [
        (5, Status.PASS),
        (-4.9, Status.PASS),
        (5.05, Status.UNKNOWN),
        (5.2, Status.BLOCK),
        (-4.95, Status.UNKNOWN),
        (-5.2, Status.BLOCK),
        (3600, Status.BLOCK),
    ],
)
def test_the_policys_seconds_decide_as_far_as_the_captures_time_is_known(ahead: float, status: Status) -> None:
    """A capture takes 0.1 s, so a clock may be 0.1 s less ahead than its time minus the capture's start.

    Both members are ahead alike, so that only this host differs.
    """
    assert judged(shown(ahead), shown(ahead)).status is status


def test_a_clock_that_is_off_is_told_of_both_ways() -> None:
    found = judged(second=shown(20))
    assert "quay-b's clock and this host's are 19.9 s apart, more than 5 s" in found.statement
    assert "the clocks of quay-a and quay-b are 19.9 s apart" in found.statement
    assert "this host's clock" in found.remedy


def test_two_clocks_within_reach_of_this_host_may_be_apart() -> None:
    found = judged(shown(-4), shown(4))
    assert found.status is Status.BLOCK
    assert found.statement == "the clocks of quay-a and quay-b are 7.9 s apart, more than 5 s."


def test_captures_at_different_times_are_compared_by_their_own_times() -> None:
    later = EVENING + timedelta(minutes=7)
    assert taken(later, 0.1, shown(420)).status is Status.PASS
    assert taken(later, 0.1, shown(0)).status is Status.BLOCK


@pytest.mark.parametrize(("zone", "hours"), [("UTC", -1), ("GMT", -1), ("cest", 1), ("EET", 1), ("JST", 8)])
def test_a_zone_of_one_meaning_is_reckoned_with(zone: str, hours: int) -> None:
    assert judged(second=shown(hours * 3600, zone)).status is Status.PASS
    assert judged(second=shown(hours * 3600 + 3600, zone)).status is Status.BLOCK


@given(quarters=st.integers(-56, 56))
def test_a_zone_of_many_meanings_is_compared_without_its_hours(quarters: int) -> None:
    found = judged(second=shown(quarters * 900 + 2, "IST"))
    assert found.status is Status.PASS
    assert "the hours of quay-b can't be compared, since the zone IST is open" in found.statement
    off = judged(second=shown(quarters * 900 + 20, "IST"))
    assert off.status is Status.BLOCK
    assert "19.9 s apart, whole quarters of an hour aside" in off.statement


@pytest.mark.parametrize(("started", "seconds"), [(None, 0.1), (EVENING, None), (None, None)])
def test_undated_captures_are_not_compared(started: datetime | None, seconds: float | None) -> None:
    found = taken(started, seconds)
    assert found.status is Status.UNKNOWN
    assert "quay-b's capture of `show clock` isn't dated, so its clock can't be compared" in found.statement
    assert taken(started, seconds, shown(mark="*")).status is Status.BLOCK


def test_an_answer_that_took_long_leaves_it_open() -> None:
    assert taken(EVENING, 5, shown(3)).status is Status.PASS
    found = taken(EVENING, 30, shown(3))
    assert found.status is Status.UNKNOWN
    assert "took too long" in found.statement
    assert taken(EVENING, 30, shown(120)).status is Status.BLOCK


@pytest.mark.parametrize(
    "answers",
    [
        {NTP: NtpStatus()},
        {CLOCK: Clock(zone="CET", mark="")},
        shown(zone=None),
        shown(mark=None),
        shown(mark="?"),
    ],
)
def test_what_is_not_shown_is_unknown(answers: dict[str, Any]) -> None:
    assert judged(second=answers).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [CUT_OFF, MISSING, UNREADABLE, REFUSED])
@pytest.mark.parametrize("command", [NTP, CLOCK])
def test_each_member_has_to_tell_it_itself(command: str, lost: Lost) -> None:
    assert judged({command: lost}).status is Status.UNKNOWN
    assert judged(None, {command: lost}).status is Status.UNKNOWN
    assert judged(shown(mark="*"), {command: lost}).status is Status.BLOCK
    assert RULE.judge(snapshot(b=unreached()), policy()).status is Status.UNKNOWN


@pytest.mark.parametrize(
    "answers",
    [{}, shown(20), shown(3600), shown(20, "IST"), shown(mark="*"), {NTP: NtpStatus(synchronised=False)}],
)
def test_no_loss_makes_it_better(answers: dict[str, Any]) -> None:
    assert bettered(RULE, healthy(1), {**healthy(2), **answers}, policy()) == []
    assert bettered(RULE, {**healthy(1), **shown(-4)}, {**healthy(2), **shown(4)}, policy()) == []
