from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from collector.capture import Ending
from collector.demo import EVENING
from collector.finding import Answer, Status
from collector.rules.evidence_age import RULE
from collector.snapshot import Snapshot
from inventory.pairs import Window
from tests.collector.rules.building import CUT_OFF, Answers, healthy, policy, snapshot

HOUR = timedelta(hours=1)
Starts = Mapping[tuple[int, str], datetime | None]


def taken(starts: Starts, *, moment: datetime = EVENING, window: Window | None = None, **both: Answers) -> Snapshot:
    """A healthy pair's captures of EVENING, except that some started at other times."""
    found = snapshot(both.get("a"), both.get("b"), moment=moment, window=window)
    for (number, command), started in starts.items():
        found = _with(found, number, command, started=started)
    return found


def _with(found: Snapshot, number: int, command: str, **values: Any) -> Snapshot:
    members = list(found.members)
    captures = members[number - 1].captures
    changed = {**captures, command: replace(captures[command], **values)}
    members[number - 1] = replace(members[number - 1], captures=changed)
    return replace(found, members=(members[0], members[1]))


def judged(found: Snapshot, **of_policy: Any) -> Answer:
    return RULE.judge(found, policy(**of_policy))


def aged(age: timedelta, window: Window | None = None) -> Answer:
    return judged(taken({}, moment=EVENING + age, window=window))


def test_fresh_captures_pass() -> None:
    found = aged(timedelta(minutes=40))
    assert found.status is Status.PASS
    assert found.statement == (
        "all were taken within a minute; the oldest capture is 40 minutes old, "
        "and for a nightly look 26 hours are allowed."
    )
    assert "the oldest capture is less than a minute old" in aged(timedelta(seconds=20)).statement
    assert RULE.needs == ()
    assert RULE.weight == "caution"


def test_old_captures_are_trouble() -> None:
    assert aged(26 * HOUR).status is Status.PASS
    found = aged(26 * HOUR + timedelta(seconds=1))
    assert found.status is Status.BLOCK
    assert "is 26 hours old, and for a nightly look 26 hours are allowed" in found.statement
    assert "Take new captures" in found.remedy
    assert "3 days old" in aged(72 * HOUR).statement


def test_one_old_capture_of_the_standby_is_enough_and_is_named() -> None:
    found = judged(taken({(2, "show boot"): EVENING - 27 * HOUR}))
    assert found.status is Status.BLOCK
    assert "`show boot` of quay-b is 27 hours old" in found.statement


@pytest.mark.parametrize(
    ("to_start", "age", "status"),
    [
        (26 * HOUR, 2 * HOUR, Status.PASS),
        (26 * HOUR, 2 * HOUR + timedelta(seconds=1), Status.BLOCK),
        (26 * HOUR + timedelta(seconds=1), 3 * HOUR, Status.PASS),
        (HOUR, 3 * HOUR, Status.BLOCK),
        (-HOUR, 3 * HOUR, Status.BLOCK),
        (timedelta(minutes=-240), 3 * HOUR, Status.PASS),
        (timedelta(minutes=-240), 27 * HOUR, Status.BLOCK),
    ],
)
def test_before_and_in_the_window_they_must_be_fresher(to_start: timedelta, age: timedelta, status: Status) -> None:
    found = aged(age, Window(EVENING + age + to_start, 240))
    assert found.status is status
    assert ("this close to the window 2 hours" in found.statement) is (timedelta(minutes=-240) < to_start <= 26 * HOUR)


def test_the_policy_sets_the_limits() -> None:
    found = taken({}, moment=EVENING + 3 * HOUR)
    assert judged(found, capture_age={"nightly_hours": 2.5}).status is Status.BLOCK
    near = taken({}, moment=EVENING + 3 * HOUR, window=Window(EVENING + 4 * HOUR, 60))
    assert judged(near, capture_age={"before_window_hours": 3}).status is Status.PASS
    assert judged(taken({(1, "show boot"): EVENING - HOUR}), capture_spread_minutes=60).status is Status.PASS


def test_captures_too_far_apart_are_trouble() -> None:
    def spread(apart: timedelta) -> Answer:
        return judged(taken({(1, "show version"): EVENING - apart}))

    assert spread(timedelta(minutes=15)).status is Status.PASS
    found = spread(timedelta(minutes=15, seconds=1))
    assert found.status is Status.BLOCK
    assert "`show version` of quay-a was taken 15 minutes before" in found.statement
    assert "15 minutes are allowed" in found.statement


def test_captures_from_the_future_tell_of_a_wrong_clock() -> None:
    assert judged(taken({}, moment=EVENING - timedelta(minutes=1))).status is Status.PASS
    found = judged(taken({}, moment=EVENING - timedelta(minutes=1, seconds=1)))
    assert found.status is Status.BLOCK
    assert "is dated 1 minute after this was judged, so a clock is wrong" in found.statement
    assert "clock" in found.remedy


def test_undated_captures_are_unknown() -> None:
    every = {(n, command): None for n in (1, 2) for command in healthy(n)}
    found = judged(taken(every))
    assert found.status is Status.UNKNOWN
    assert found.statement == "the captures of quay-a are undated; the captures of quay-b are undated."
    one = judged(taken({(2, "show boot"): None}))
    assert one.status is Status.UNKNOWN
    assert one.statement == "quay-b's captures of `show boot` are undated."
    assert "sweep" in one.remedy


def test_many_undated_ones_are_counted() -> None:
    commands = list(healthy(1))[:5]
    said = judged(taken({(1, command): None for command in commands})).statement
    assert said == "quay-a's captures of `show version`, `show boot`, " + f"`{commands[2]}` and 2 more are undated."


def test_missing_captures_have_no_age() -> None:
    lost = _with(taken({}), 2, "show boot", ending=Ending.MISSING)
    found = judged(lost)
    assert found.status is Status.UNKNOWN
    assert found.statement == "quay-b gave no capture of `show boot`, so the age of that isn't known."
    without = {command: said for command, said in healthy(2).items() if command != "show boot"}
    assert judged(taken({}, b=without)).statement == found.statement
    assert judged(taken({}, b={})).statement == "quay-b gave nothing, so the age of that isn't known."
    assert judged(taken({}, a={}, b={})).status is Status.UNKNOWN
    assert judged(taken({}, b={**healthy(2), "show boot": CUT_OFF})).status is Status.PASS


TROUBLES: list[Snapshot] = [
    taken({}),
    taken({(2, "show boot"): EVENING - 27 * HOUR}),
    taken({(1, "show boot"): EVENING - HOUR}),
    taken({(1, "show boot"): EVENING + timedelta(minutes=5)}),
    taken({(1, "show boot"): EVENING - 3 * HOUR}, window=Window(EVENING + HOUR, 60)),
]


@pytest.mark.parametrize("trouble", TROUBLES)
@pytest.mark.parametrize(
    "what", [{"started": None}, {"ending": Ending.MISSING, "started": None}, {"ending": Ending.MISSING}]
)
def test_no_loss_of_a_capture_or_of_its_date_makes_it_better(trouble: Snapshot, what: dict[str, Any]) -> None:
    for number, member in enumerate(trouble.members, 1):
        for command in member.captures:
            assert judged(_with(trouble, number, command, **what)).status in (Status.BLOCK, Status.UNKNOWN)
