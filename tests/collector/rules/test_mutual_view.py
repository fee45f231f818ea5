from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from collector.demo import EVENING
from collector.finding import Answer, Status
from collector.rules import own_time
from collector.rules.mutual_view import RULE
from parsers.facts.clock import Clock, NtpStatus
from parsers.facts.core import Facts
from parsers.facts.redundancy import Chassis, Redundancy
from parsers.facts.software import Boot, Version
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

REDUNDANCY, CHASSIS, VERSION, BOOT = "show redundancy", "show chassis rmi", "show version", "show boot"


def processor(number: int, which: str, **values: Any) -> dict[str, Facts | Lost]:
    """A healthy member whose `show redundancy` says something else in the block `this` or `peer`."""
    said = healthy(number)[REDUNDANCY]
    assert isinstance(said, Redundancy)
    return changed(healthy(number), show_redundancy=replace(said, **{which: replace(getattr(said, which), **values)}))


def row(whose: int, local: bool, **values: Any) -> dict[str, Facts | Lost]:
    """A healthy member whose `show chassis rmi` says something else in its own row or its partner's."""
    said = healthy(whose)[CHASSIS]
    assert isinstance(said, Chassis)
    rows = tuple(replace(item, **values) if item.is_local is local else item for item in said.members)
    return changed(healthy(whose), show_chassis_rmi=replace(said, members=rows))


def judged(first: Answers | None = None, second: Answers | None = None) -> Answer:
    return RULE.judge(snapshot(first, second), policy())


def test_members_that_agree_pass_with_the_lines_of_both() -> None:
    found = judged()
    assert found.status is Status.PASS
    assert found.statement == (
        "quay-a and quay-b say of each other what each says of itself: state, release, boot variable, chassis number, "
        "chassis role, chassis state, MAC address, IP address and RMI address."
    )
    assert told(found.evidence) == {
        ("quay-a", REDUNDANCY): (11, 12, 13, 21, 22, 23),
        ("quay-b", REDUNDANCY): (11, 12, 13, 21, 22, 23),
        ("quay-a", CHASSIS): (5, 6),
        ("quay-b", CHASSIS): (5, 6),
        ("quay-a", VERSION): (1,),
        ("quay-b", VERSION): (1,),
        ("quay-a", BOOT): (1,),
        ("quay-b", BOOT): (1,),
    }


def test_a_disagreement_blocks_and_names_both_sentences() -> None:
    found = judged(second=processor(2, "this", state="STANDBY COLD"))
    assert found.status is Status.BLOCK
    assert found.statement == (
        "quay-a says by `show redundancy` that quay-b's state is STANDBY HOT, "
        "and quay-b says by `show redundancy` that it is STANDBY COLD."
    )
    assert told(found.evidence) == {("quay-a", REDUNDANCY): (21,), ("quay-b", REDUNDANCY): (11,)}
    assert "agree it through your change process" in found.remedy


@pytest.mark.parametrize(
    ("peer", "more"),
    [
        ("STANDBY HOT", "."),
        (
            "DISABLED",
            ", and what one says of the other differs from what that one says of itself in 2 more ways.",
        ),
    ],
)
def test_two_of_one_role_are_one_sentence_with_the_lines_of_all(peer: str, more: str) -> None:
    first = processor(1, "peer", state=peer, **({"release": "17.9.5"} if peer == "DISABLED" else {}))
    second = {**processor(2, "this", state="ACTIVE"), CHASSIS: row(2, True, role="Active")[CHASSIS]}
    found = judged(first, second)
    assert found.status is Status.BLOCK
    assert found.statement.split(";")[0].rstrip(".") == f"quay-a and quay-b both say that they are active{more}"[:-1]
    assert {item.member for item in found.evidence} == {"quay-a", "quay-b"}
    assert bettered(RULE, first, second, policy()) == []


DISAGREEING: list[tuple[str, Answers, Answers]] = [
    ("state", healthy(1), processor(2, "this", state="STANDBY COLD")),
    ("state", healthy(1), processor(2, "peer", state="STANDBY HOT")),
    ("release", processor(1, "peer", release="17.9.5"), healthy(2)),
    ("release", processor(1, "this", release="17.9.5"), healthy(2)),
    ("release", healthy(1), changed(healthy(2), show_version=Version(release="17.9.5", at={"release": (1,)}))),
    ("boot variable", processor(1, "peer", boot=("bootflash:old.bin",)), healthy(2)),
    ("boot variable", healthy(1), changed(healthy(2), show_boot=Boot(boot=("bootflash:old.bin",), at={"boot": (1,)}))),
    ("chassis number", row(1, False, number=3), healthy(2)),
    ("chassis role", healthy(1), row(2, True, role="Active")),
    ("chassis state", row(1, False, state="Removed"), healthy(2)),
    ("MAC address", row(1, False, mac="0200.5e00.53ff"), healthy(2)),
    ("IP address", healthy(1), row(2, False, ip="198.51.100.9")),
    ("RMI address", row(1, True, rmi_ip="192.0.2.9"), healthy(2)),
]


@pytest.mark.parametrize(("what", "first", "second"), DISAGREEING)
def test_everything_that_is_compared_can_disagree(what: str, first: Answers, second: Answers) -> None:
    found = judged(first, second)
    assert found.status is Status.BLOCK
    assert f"'s {what} is " in found.statement
    assert len({item.member for item in found.evidence}) == 2
    # Each stands in one answer only, and none of its losses lets it go.
    assert bettered(RULE, first, second, policy()) == []


def test_every_entry_of_the_boot_variable_counts() -> None:
    two = ("bootflash:packages.conf", "bootflash:old.bin")
    assert judged(processor(1, "peer", boot=two)).status is Status.BLOCK
    assert judged(processor(1, "peer", boot=two[::-1]), processor(2, "this", boot=two)).status is Status.BLOCK


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (processor(1, "peer", release="17.09.04a"), healthy(2)),
        (processor(1, "peer", state="Standby  hot"), healthy(2)),
        (processor(1, "peer", boot=("flash:/packages.conf",)), healthy(2)),
        (row(1, False, mac="02:00:5E:00:53:02"), healthy(2)),
        (row(1, False, state="ready"), healthy(2)),
        (healthy(2), healthy(1)),
    ],
)
def test_another_spelling_is_no_disagreement(first: Answers, second: Answers) -> None:
    assert judged(first, second).status is Status.PASS


def test_addresses_are_compared_as_addresses() -> None:
    first = row(1, False, ip="2001:db8::2")
    assert judged(first, row(2, True, ip="2001:0DB8:0:0::2")).status is Status.PASS


def test_a_pair_without_the_redundancy_interfaces_addresses_lacks_nothing() -> None:
    def without(number: int) -> Answers:
        said = healthy(number)[CHASSIS]
        assert isinstance(said, Chassis)
        rows = tuple(replace(item, rmi_ip=None) for item in said.members)
        return changed(healthy(number), show_chassis_rmi=replace(said, members=rows))

    found = judged(without(1), without(2))
    assert found.status is Status.PASS
    assert "RMI" not in found.statement
    assert judged(without(1)).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize(("number", "command"), [(n, c) for n in (1, 2) for c in (REDUNDANCY, CHASSIS, VERSION, BOOT)])
def test_a_lost_answer_leaves_it_unknown(number: int, command: str, lost: Lost) -> None:
    answers = {**healthy(number), command: lost}
    found = judged(answers) if number == 1 else judged(None, answers)
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-{'ab'[number - 1]}" in found.statement


def test_what_an_answer_does_not_show_is_named() -> None:
    found = judged(processor(1, "peer", boot=()))
    assert found.status is Status.UNKNOWN
    assert found.statement == (
        "`show redundancy` on quay-a doesn't show it, so the boot variable of quay-b can't be compared."
    )


def test_a_row_too_many_is_no_row() -> None:
    said = healthy(1)[CHASSIS]
    assert isinstance(said, Chassis)
    third = replace(said.members[1], number=3)
    assert judged(changed(healthy(1), show_chassis_rmi=Chassis(members=(*said.members, third)))).status is (
        Status.UNKNOWN
    )


@pytest.mark.parametrize("command", [REDUNDANCY, CHASSIS, VERSION, BOOT])
def test_what_a_limited_standby_refuses_leaves_nothing_to_compare(command: str) -> None:
    limited = {**healthy(2), command: REFUSED}
    found = judged(second=limited)
    assert found.status is Status.PASS
    assert f"quay-b refused `{command}`, so there is nothing to compare there" in found.statement
    assert judged({**healthy(1), command: REFUSED}).status is Status.UNKNOWN
    assert bettered(RULE, healthy(1), limited, policy()) == []


def test_what_the_standby_still_tells_is_compared() -> None:
    limited = {**healthy(2), REDUNDANCY: REFUSED}
    assert judged(processor(1, "peer", release="17.9.5"), limited).status is Status.BLOCK


def test_a_standby_that_refuses_everything_leaves_the_rule_not_applicable() -> None:
    limited = {**healthy(2), **dict.fromkeys((REDUNDANCY, CHASSIS, VERSION, BOOT), REFUSED)}
    found = judged(second=limited)
    assert found.status is Status.NOT_APPLICABLE
    assert "quay-b refused `show redundancy`" in found.statement
    assert judged(changed(healthy(1), show_redundancy=CUT_OFF), limited).status is Status.UNKNOWN


def test_a_member_that_was_not_reached_is_missed() -> None:
    found = judged(second=unreached())
    assert found.status is Status.UNKNOWN
    assert found.statement == "quay-b gave no answer, so there is nothing to compare with what is said of it."
    assert judged(unreached(), unreached()).status is Status.UNKNOWN


def test_no_loss_makes_a_healthy_pair_better() -> None:
    assert bettered(RULE, healthy(1), healthy(2), policy()) == []


def test_answers_of_two_moments_are_not_known_to_belong_together() -> None:
    found = snapshot()
    second = found.members[1]
    for started, status in (
        (EVENING - timedelta(minutes=15), Status.PASS),
        (EVENING - timedelta(days=9), Status.UNKNOWN),
    ):
        old = replace(second.captures["show install summary"], started=started)
        mixed = replace(second, captures={**second.captures, "show install summary": old})
        said = RULE.judge(replace(found, members=(found.members[0], mixed)), policy())
        assert said.status is status
    assert "`show install summary` of quay-b was taken 9 days before" in said.statement
    assert "aren't those of one moment" in said.statement


@pytest.mark.parametrize(("teller", "block"), [(1, "this"), (2, "peer")])
@pytest.mark.parametrize(("minutes", "status"), [(0, Status.PASS), (15, Status.PASS), (17, Status.UNKNOWN)])
def test_nobody_is_in_a_state_for_longer_than_up(teller: int, block: str, minutes: int, status: Status) -> None:
    """An old `show version` among new answers, or the partner's, tells of less time than it has been active."""
    said = healthy(1)[VERSION]
    assert isinstance(said, Version)
    assert said.uptime_seconds is not None
    longer = processor(teller, block, state_seconds=said.uptime_seconds + minutes * 60)
    found = judged(longer) if teller == 1 else judged(second=longer)
    assert policy().capture_spread_minutes == 15
    assert found.status is status
    if status is Status.UNKNOWN:
        assert found.statement == (
            f"quay-{'ab'[teller - 1]} says by `show redundancy` that quay-a is in its state for 129,617 minutes, and "
            "quay-a by `show version` that it is up for 129,600 minutes only, so the answers aren't those of one "
            "moment and of one controller."
        )


@pytest.mark.parametrize(
    ("ahead", "synchronised", "status"),
    [
        (timedelta(hours=-23), True, Status.PASS),
        (timedelta(hours=-44), True, Status.UNKNOWN),
        (timedelta(days=40), True, Status.UNKNOWN),
        (timedelta(days=-40), None, Status.UNKNOWN),
        # The rule about clocks warns of it.
        (timedelta(days=-40), False, Status.PASS),
    ],
)
def test_a_clock_of_another_day_is_an_old_answers(ahead: timedelta, synchronised: bool | None, status: Status) -> None:
    said, ntp = healthy(1)[own_time.CLOCK], healthy(1)["show ntp status"]
    assert isinstance(said, Clock)
    assert isinstance(ntp, NtpStatus)
    assert said.time is not None
    told = MISSING if synchronised is None else replace(ntp, synchronised=synchronised)
    found = judged(changed(healthy(1), show_clock=replace(said, time=said.time + ahead), show_ntp_status=told))
    assert found.status is status
    if status is Status.UNKNOWN:
        assert "so the answers of quay-a may be old ones" in found.statement


def test_a_refusal_is_not_excused_where_another_answer_is_none_to_its_command() -> None:
    limited = changed(healthy(2), show_chassis_rmi=REFUSED)
    assert judged(second=limited).status is Status.PASS
    astray = {**limited, "show ap summary": UNREADABLE}
    found = snapshot(None, astray)
    second = found.members[1]
    printed = {"show ap summary": replace(second.readings["show ap summary"], printed=("Chassis#   Role",))}
    mixed = replace(second, readings={**second.readings, **printed})
    said = RULE.judge(replace(found, members=(found.members[0], mixed)), policy())
    assert said.status is Status.UNKNOWN
    assert said.statement.startswith("quay-b refused `show chassis rmi`, so the ")
