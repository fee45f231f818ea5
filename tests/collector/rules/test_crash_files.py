from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.crash_files import RULE
from parsers.facts.clock import Clock
from parsers.facts.flash import Directory, File
from parsers.facts.redundancy import Chassis, Redundancy
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

OWN, PEER = "dir bootflash:core", "dir stby-bootflash:core"
TOP, PEER_TOP = "dir bootflash:", "dir stby-bootflash:"
CLOCK, VERSION = "show clock", "show version"
# Ninety days before the evening.
RELOAD = datetime(2026, 11, 7, 22, 0)
NEW, OLD = RELOAD + timedelta(days=80), RELOAD - timedelta(days=2)
CORE = "wncd_1_core.gz"


def files(*dates: datetime | None, name: str = CORE) -> Directory:
    """A directory with one file of each date."""
    return Directory(
        bytes_total=10**11,
        bytes_free=10**10,
        files=tuple(
            File(name=f"{n}_{name}" if n else name, bytes=9, modified=d, at=4 + n) for n, d in enumerate(dates)
        ),
    )


def named(name: str) -> Directory:
    return files(NEW, name=name)


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


def with_(number: int, **answers: Any) -> dict[str, Any]:
    keys = {"own": OWN, "peer": PEER, "top": TOP, "peer_top": PEER_TOP, "clock": CLOCK, "version": VERSION}
    return {**healthy(number), **{keys[key]: value for key, value in answers.items()}}


def test_no_crash_files_pass() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == (
        "quay-a has no crash files in its core directory; quay-b has no crash files in its core directory; "
        "quay-a has no crash files on its flash; quay-b has no crash files on its flash."
    )
    assert RULE.weight == "caution"


def test_a_new_file_on_the_standby_is_named_with_the_lines_it_rests_on() -> None:
    found = judged(with_(1, peer=files(NEW)), with_(2, own=files(NEW)))
    assert found.status is Status.BLOCK
    assert found.statement == (
        "quay-b has crash files in its core directory newer than its last reload on 2026-11-07 at 22:00: "
        f"{CORE} (2027-01-26 at 22:00)."
    )
    assert told(found.evidence) == {
        ("quay-b", OWN): (4,),
        ("quay-b", CLOCK): (1,),
        ("quay-b", VERSION): (5,),
        ("quay-a", PEER): (4,),
    }
    assert "vendor" in found.remedy
    assert "drop clients" in found.remedy


def test_older_ones_are_told_and_pass() -> None:
    found = judged(with_(1, own=files(OLD)))
    assert found.status is Status.PASS
    assert f"from before its last reload on 2026-11-07 at 22:00 only: {CORE} (2026-11-05 at 22:00)" in found.statement


def test_many_files_are_counted() -> None:
    found = judged(with_(1, own=files(*[NEW] * 6, OLD)))
    assert f"3_{CORE} (2027-01-26 at 22:00) and 2 more." in found.statement


@pytest.mark.parametrize(
    ("after", "status"),
    [(timedelta(minutes=-1), Status.BLOCK), (timedelta(minutes=-1, seconds=-1), Status.PASS)],
)
def test_a_minute_of_the_uptimes_coarseness_counts_as_newer(after: timedelta, status: Status) -> None:
    assert judged(with_(1, own=files(RELOAD + after))).status is status


@pytest.mark.parametrize(
    ("name", "is_one"),
    [
        ("crashinfo_RP_00_00_20270126-220000-CET", True),
        ("system-report_1_20270126-220000-CET.tar.gz", True),
        ("wx_1_RP_0_wncd_4711.core.gz", True),
        ("packages.conf", False),
        ("old-crashinfo-notes.txt", False),
    ],
)
def test_on_the_flash_itself_the_name_tells(name: str, is_one: bool) -> None:
    """The names are common practice, no source."""
    found = judged(with_(1, top=named(name)))
    assert found.status is (Status.BLOCK if is_one else Status.PASS)
    assert (name in found.statement) is is_one


def test_in_the_core_directory_every_file_is_one() -> None:
    assert judged(with_(1, own=named("anything.txt"))).status is Status.BLOCK


@pytest.mark.parametrize("clock", [CUT_OFF, MISSING, UNREADABLE, REFUSED, Clock()])
def test_without_a_clock_files_are_of_unknown_age_and_none_are_none(clock: Any) -> None:
    found = judged(with_(1, clock=clock, own=files(OLD)))
    assert found.status is Status.UNKNOWN
    assert f"{CORE} (2026-11-05 at 22:00)), and when it was last reloaded isn't known" in found.statement
    assert judged(with_(1, clock=clock)).status is Status.PASS


def test_without_an_uptime_they_are_so_too() -> None:
    assert judged(with_(1, version=CUT_OFF, own=files(OLD))).status is Status.UNKNOWN
    assert judged(with_(1, version=CUT_OFF)).status is Status.PASS


def test_the_active_ones_clock_serves_a_standby_that_refuses_to_show_its_own() -> None:
    assert judged(second=with_(2, own=files(OLD), clock=REFUSED)).status is Status.PASS
    assert judged(second=with_(2, own=files(NEW), clock=REFUSED)).status is Status.BLOCK


def test_a_file_without_a_date_is_unknown_unless_another_one_is_newer() -> None:
    found = judged(with_(1, own=files(None, OLD)))
    assert found.status is Status.UNKNOWN
    assert f"newer than its last reload: {CORE}." in found.statement
    assert judged(with_(1, own=files(None, NEW))).status is Status.BLOCK


CET = timezone(timedelta(hours=1))


@pytest.mark.parametrize(
    ("zone", "modified", "status"),
    [
        # A listing with an offset shows the controller's own time.
        ("CET", (RELOAD + timedelta(minutes=5)).replace(tzinfo=CET), Status.BLOCK),
        ("CET", (RELOAD - timedelta(minutes=5)).replace(tzinfo=CET), Status.PASS),
        # A clock that shows UTC beside a listing that doesn't: turned into UTC.
        ("UTC", (RELOAD + timedelta(minutes=65)).replace(tzinfo=CET), Status.BLOCK),
        ("GMT", (RELOAD + timedelta(minutes=55)).replace(tzinfo=CET), Status.PASS),
        ("utc", (RELOAD + timedelta(minutes=5)).replace(tzinfo=UTC), Status.BLOCK),
        # A listing in UTC beside a clock whose zone's offset nobody knows.
        ("CET", (RELOAD + timedelta(hours=12)).replace(tzinfo=UTC), Status.BLOCK),
        ("CET", (RELOAD + timedelta(hours=11)).replace(tzinfo=UTC), Status.UNKNOWN),
        ("CET", (RELOAD - timedelta(hours=14)).replace(tzinfo=UTC), Status.UNKNOWN),
        ("CET", (RELOAD - timedelta(hours=14, minutes=2)).replace(tzinfo=UTC), Status.PASS),
        (None, (RELOAD + timedelta(minutes=5)).replace(tzinfo=CET), Status.UNKNOWN),
        (None, (RELOAD + timedelta(hours=13)).replace(tzinfo=CET), Status.BLOCK),
        (None, RELOAD + timedelta(minutes=5), Status.BLOCK),
        (None, RELOAD - timedelta(minutes=5), Status.PASS),
    ],
)
def test_dates_and_clocks_in_different_zones(zone: str | None, modified: datetime, status: Status) -> None:
    clock = Clock(time=datetime(2027, 2, 5, 22, 0), zone=zone)
    first = with_(1, clock=clock, own=files(modified))
    assert judged(first).status is status
    assert bettered(RULE, first, healthy(2), policy(), rows=False) == []


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize(("number", "command"), [(1, OWN), (1, PEER), (1, TOP), (1, PEER_TOP), (2, OWN), (2, TOP)])
def test_a_lost_listing_is_unknown(number: int, command: str, lost: Lost) -> None:
    answers = {**healthy(number), command: lost}
    found = judged(answers) if number == 1 else judged(None, answers)
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-{'ab'[number - 1]}" in found.statement


def test_files_that_were_not_listed_are_unknown() -> None:
    unlisted = Directory(bytes_total=10**11, bytes_free=10**10)
    assert judged(with_(1, own=unlisted)).status is Status.UNKNOWN
    assert judged(with_(1, top=unlisted)).status is Status.UNKNOWN


@pytest.mark.parametrize("second", [{**healthy(2), OWN: REFUSED, TOP: REFUSED}, unreached()])
def test_the_active_one_stands_in_for_the_standby(second: Answers) -> None:
    found = judged(second=second)
    assert found.status is Status.PASS
    assert "told by quay-a, since quay-b" in found.statement
    assert judged(with_(1, peer=files(NEW)), second).status is (
        Status.BLOCK if second[VERSION] == healthy(2)[VERSION] else Status.UNKNOWN
    )
    assert judged(with_(1, peer=REFUSED), second).status is Status.UNKNOWN
    assert judged(with_(1, own=REFUSED)).status is Status.UNKNOWN


def test_a_standby_that_is_not_known_has_no_known_reload() -> None:
    nobody = {"show_redundancy": Redundancy(), "show_chassis_rmi": Chassis()}
    first, second = changed(with_(1, peer=files(NEW)), **nobody), changed(healthy(2), **nobody)
    found = judged(first, second)
    assert found.status is Status.UNKNOWN
    assert "it isn't known which member that is" in found.statement


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (healthy(1), healthy(2)),
        (with_(1, own=files(NEW)), healthy(2)),
        (healthy(1), with_(2, own=files(NEW, OLD))),
        (with_(1, peer=files(NEW)), healthy(2)),
        (with_(1, peer_top=named("crashinfo_1")), healthy(2)),
        (healthy(1), with_(2, top=named("crashinfo_1"))),
        (with_(1, peer=files(NEW)), with_(2, own=REFUSED, clock=REFUSED)),
        (with_(1, own=files(None)), healthy(2)),
    ],
)
def test_no_loss_makes_it_better(first: Answers, second: Answers) -> None:
    # A row that is lost among the files can't be noticed here: the parser gives no list then.
    assert bettered(RULE, first, second, policy(), rows=False) == []
