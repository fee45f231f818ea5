from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from collector.demo import EVENING
from collector.finding import Answer, Status
from collector.rules.ap_staging import RULE
from collector.snapshot import Snapshot
from inventory.pairs import Window
from parsers.facts.access_points import AccessPoint, ApImage, ApImageRow, ApSummary
from parsers.facts.software import Version
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

IMAGES, SUMMARY = "show ap image", "show ap summary"
LATE, EARLY = timedelta(hours=23), timedelta(hours=25)


def built(first: Answers, second: Answers, before: timedelta | None = LATE, target: str = "17.12.4") -> Snapshot:
    """The pair so long before its window; None for a pair without a window."""
    window = Window(EVENING + before, 240) if before is not None else None
    return snapshot(first, second, window=window, target=target)


def judged(
    first: dict[str, Any] | None = None,
    second: Answers | None = None,
    before: timedelta | None = LATE,
    target: str = "17.12.4",
) -> Answer:
    pair = built({**healthy(1), **(first or {})}, healthy(2) if second is None else second, before, target)
    return RULE.judge(pair, policy())


def images(**values: Any) -> dict[str, Any]:
    """The healthy table of images with values of the second row replaced."""
    facts = healthy(1)[IMAGES]
    assert isinstance(facts, ApImage)
    return {IMAGES: replace(facts, aps=(facts.aps[0], replace(facts.aps[1], **values), facts.aps[2]))}


OLD = {"backup": "17.3.6.76"}
PENDING = images(**OLD, status="None", version="0.0.0.0")
FAILED = images(**OLD, status="Failed")


def test_all_staged_passes() -> None:
    found = judged()
    assert (found.status, found.statement) == (Status.PASS, "3 of 3 access points on quay-a hold 17.12.4.")
    assert told(found.evidence) == {("quay-a", IMAGES): (1, 15, 16, 17)}


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        ({**OLD, "status": "None"}, "pending"),
        ({**OLD, "status": "Predownloading"}, "pending"),
        ({**OLD, "status": "Initiated"}, "pending"),
        ({"status": "Predownloading"}, "pending"),
        ({**OLD, "status": "Complete", "version": "17.12.3.9"}, "pending"),
        ({**OLD, "status": "Failed"}, "failed"),
        ({"status": "Failed"}, "failed"),
        ({**OLD, "status": "Unsupported"}, "unsupported"),
        ({**OLD, "status": "Not Supported"}, "unsupported"),
    ],
)
def test_what_is_not_staged_is_counted_and_named(values: dict[str, Any], kind: str) -> None:
    found = judged(images(**values))
    assert found.status is Status.BLOCK
    assert "2 of 3 access points on quay-a hold 17.12.4: " in found.statement
    assert f"1 {kind} (quay-hall-02" in found.statement
    assert told(found.evidence) == {("quay-a", IMAGES): (16,)}
    assert "people who run the ward" in found.remedy


@pytest.mark.parametrize(
    "values",
    [
        {"status": "Completed"},
        {"status": "predownloaded"},
        {"status": "None"},
        {**OLD, "status": "Complete"},
        {"version": None},
        {"primary": "17.12.4.22", "backup": "17.9.4.27", "status": "None", "version": None},
        {"primary": "17.12.4.22", "backup": "17.12.4.22"},
    ],
)
def test_held_in_reserve_or_run_already_is_staged(values: dict[str, Any]) -> None:
    assert judged(images(**values)).status is Status.PASS


@pytest.mark.parametrize("values", [{"status": None}, {"status": "Pondering"}, {**OLD, "status": "Completing"}])
def test_a_status_of_no_known_meaning_is_unknown(values: dict[str, Any]) -> None:
    found = judged(images(**values))
    assert found.status is Status.UNKNOWN
    assert "quay-hall-02" in found.statement


@pytest.mark.parametrize(
    ("before", "status", "words"),
    [
        (timedelta(hours=24, seconds=1), Status.CAUTION, "has to be done 24 hours before the window"),
        (timedelta(hours=24), Status.BLOCK, "had to be done 24 hours before the window"),
        (timedelta(0), Status.BLOCK, "had to be done"),
        (timedelta(minutes=-240), Status.BLOCK, "had to be done"),
        (timedelta(minutes=-241), Status.CAUTION, "the window has passed"),
        (None, Status.CAUTION, "states no window"),
    ],
)
def test_the_time_before_the_window_decides(before: timedelta | None, status: Status, words: str) -> None:
    found = judged(PENDING, before=before)
    assert found.status is status
    assert words in found.statement
    assert judged(before=before).status is Status.PASS


def test_the_policy_says_how_long_before() -> None:
    pair = built({**healthy(1), **PENDING}, healthy(2), timedelta(hours=5))
    assert RULE.judge(pair, policy(staging_hours=4)).status is Status.CAUTION


def test_the_window_may_be_told_in_another_zone() -> None:
    other = datetime.fromisoformat("2027-02-06T20:59:59+00:00")
    pair = snapshot({**healthy(1), **PENDING}, window=Window(other, 240))
    assert RULE.judge(pair, policy()).status is Status.BLOCK


def test_one_that_the_table_of_images_lacks_is_pending() -> None:
    facts = healthy(1)[IMAGES]
    assert isinstance(facts, ApImage)
    found = judged({IMAGES: replace(facts, total=2, aps=facts.aps[:2])})
    assert found.status is Status.BLOCK
    assert "1 pending (quay-hall-03 (not in `show ap image`))" in found.statement
    assert told(found.evidence) == {("quay-a", SUMMARY): (7,)}


def test_no_access_points_pass_where_both_tables_say_so() -> None:
    found = judged({IMAGES: ApImage(total=0), SUMMARY: ApSummary(count=0)})
    assert (found.status, found.statement) == (Status.PASS, "quay-a knows of no access points.")
    assert judged({IMAGES: ApImage(), SUMMARY: ApSummary(count=0)}).status is Status.UNKNOWN
    assert judged({IMAGES: ApImage(total=0), SUMMARY: ApSummary()}).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [CUT_OFF, MISSING, UNREADABLE, REFUSED])
@pytest.mark.parametrize("command", [IMAGES, SUMMARY])
def test_a_lost_table_is_unknown(command: str, lost: Lost) -> None:
    assert judged({command: lost}).status is Status.UNKNOWN


def test_without_the_list_trouble_in_the_images_still_tells() -> None:
    assert judged({**FAILED, SUMMARY: CUT_OFF}).status is Status.BLOCK


def test_fewer_rows_than_the_controller_counts_are_unknown() -> None:
    facts = healthy(1)[IMAGES]
    assert isinstance(facts, ApImage)
    assert judged({IMAGES: replace(facts, total=4)}).status is Status.UNKNOWN


def running(release: str | None) -> dict[str, Any]:
    facts = healthy(1)["show version"]
    assert isinstance(facts, Version)
    return {"show version": replace(facts, release=release)}


def test_letters_do_not_show_so_beside_a_twin_what_runs_proves_nothing() -> None:
    """An image of 17.12.4 can't be told from one of 17.12.4a: only another one in reserve can be the target's."""
    runs = images(primary="17.12.4.22", backup="17.9.4.27", status="None")
    assert judged({**runs, **running("17.12.4")}).status is Status.PASS
    assert judged({**runs, **running("17.9.4a")}).status is Status.PASS
    for release in ("17.12.4a", None, "unreadable"):
        assert judged({**runs, **running(release)}).status is Status.UNKNOWN
    same = images(primary="17.12.4.22", backup="17.12.4.22")
    assert judged({**same, **running("17.12.4a")}).status is Status.UNKNOWN
    other = images(primary="17.12.4.22", backup="17.12.4.201", version="17.12.4.201")
    assert judged({**other, **running("17.12.4a")}).status is Status.PASS
    hidden = images(primary=None, **OLD, status="None")
    assert judged({**hidden, **running("17.12.4a")}).status is Status.UNKNOWN


def test_a_target_with_a_letter_is_recognised_by_its_numbers() -> None:
    assert judged(images(), target="17.12.4a").status is Status.PASS


@pytest.mark.parametrize("copy", [FAILED[IMAGES], ApImage(total=0), healthy(1)[IMAGES]])
def test_a_standbys_copy_is_not_heard(copy: ApImage) -> None:
    assert judged(second={**healthy(2), IMAGES: copy}).status is Status.PASS
    assert judged(FAILED, {**healthy(2), IMAGES: copy}).status is Status.BLOCK
    assert judged({IMAGES: CUT_OFF}, {**healthy(2), IMAGES: copy}).status is Status.UNKNOWN


def test_a_standby_that_was_not_reached_costs_nothing() -> None:
    assert judged(second=unreached()).status is Status.PASS


def test_of_many_ten_are_named_and_twenty_shown() -> None:
    rows = tuple(ApImageRow(name=f"ap-{n}", status="None", at=n) for n in range(1, 32))
    found = judged({IMAGES: ApImage(total=31, aps=rows), SUMMARY: ApSummary(count=0)})
    assert "31 pending (ap-1, " in found.statement
    assert "ap-10 and 21 more)" in found.statement
    assert len(told(found.evidence)["quay-a", IMAGES]) == 20


def test_without_a_certain_active_one_both_tables_are_heard_for_trouble() -> None:
    assert judged(second=healthy(1)).status is Status.UNKNOWN
    assert judged(second={**healthy(1), **FAILED}).status is Status.BLOCK


MORE = ApSummary(count=1, aps=(AccessPoint(name="ap-9", at=5),))
TWIN = images(primary="17.12.4.22", backup="17.12.4.201", version="17.12.4.201")
CASES: list[dict[str, Any]] = [
    {},
    PENDING,
    FAILED,
    images(status="Predownloading"),
    images(**OLD),
    images(primary="17.12.4.22", backup=None, status="None"),
    {SUMMARY: MORE},
    {**TWIN, **running("17.12.4a")},
    {**PENDING, **running("17.12.4a")},
]


@pytest.mark.parametrize("first", CASES)
@pytest.mark.parametrize("before", [LATE, EARLY])
@pytest.mark.parametrize("number", [1, 2])
def test_no_loss_makes_it_better(first: dict[str, Any], before: timedelta, number: int) -> None:
    def build(a: Answers, b: Answers) -> Snapshot:
        return built(a, b, before)

    assert bettered(RULE, {**healthy(1), **first}, healthy(number), policy(), build) == []
