from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from collector.finding import Answer, Status
from collector.rules.release_support import RULE
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


def running(number: int, own: str, other: str | None = None) -> Answers:
    """A member that runs a release and says that its partner runs another, by default the same."""
    answers = healthy(number)
    version, redundancy = answers["show version"], answers["show redundancy"]
    assert isinstance(version, Version)
    assert isinstance(redundancy, Redundancy)
    assert redundancy.this is not None
    assert redundancy.peer is not None
    return changed(
        answers,
        show_version=replace(version, release=own),
        show_redundancy=replace(
            redundancy,
            this=replace(redundancy.this, release=own),
            peer=replace(redundancy.peer, release=other or own),
        ),
    )


def judged(first: str, second: str, target: str = "17.12.4", **changes: Any) -> Answer:
    pair = snapshot(running(1, first, second), running(2, second, first), target=target)
    return RULE.judge(pair, policy(**changes))


def test_supported_releases_pass_and_show_every_witness() -> None:
    found = judged("17.9.4a", "17.09.04a")
    assert found.status is Status.PASS
    assert told(found.evidence) == {
        ("quay-a", "show version"): (1,),
        ("quay-b", "show version"): (1,),
        ("quay-a", "show redundancy"): (12, 22),
        ("quay-b", "show redundancy"): (12, 22),
    }


def test_the_minimum_itself_is_enough() -> None:
    assert judged("17.3.1", "17.3.1").status is Status.PASS


@pytest.mark.parametrize(
    ("release", "words"),
    [
        ("16.12.8", "below the minimum 17.3.1"),
        ("17.13.1", "train 17.13 isn't long-lived"),
        ("17.11.1", "the policy doesn't list train 17.11 as long-lived"),
    ],
)
def test_a_running_release_that_is_not_supported_blocks(release: str, words: str) -> None:
    found = judged(release, release)
    assert found.status is Status.BLOCK
    assert words in found.statement
    assert "ward" in found.remedy


@pytest.mark.parametrize(
    ("target", "words"),
    [
        ("17.2.9", "below the minimum 17.3.1"),
        ("17.13.1", "train 17.13 isn't long-lived"),
        ("17.15.1", "the policy doesn't list train 17.15 as long-lived"),
    ],
)
def test_a_target_that_is_not_supported_blocks(target: str, words: str) -> None:
    found = judged("17.9.4a", "17.9.4a", target)
    assert found.status is Status.BLOCK
    assert f"the target is {target}" in found.statement
    assert words in found.statement


def test_another_target_than_the_recommended_one_is_a_caution() -> None:
    found = judged("17.9.4a", "17.9.4a", "17.12.3")
    assert found.status is Status.CAUTION
    assert "recommends 17.12.4" in found.statement
    assert judged("17.9.4a", "17.9.4a", "17.12.3", recommended_release=None).status is Status.PASS


@pytest.mark.parametrize("second", ["17.9.5", "17.9.4"])
def test_members_that_run_different_releases_block(second: str) -> None:
    found = judged("17.9.4a", second)
    assert found.status is Status.BLOCK
    assert f"the members don't run the same release: quay-a runs 17.9.4a, quay-b runs {second}." in found.statement


def test_what_one_member_says_of_the_other_is_enough_to_block() -> None:
    found = RULE.judge(snapshot(running(1, "17.9.4a", "17.9.5")), policy())
    assert found.status is Status.BLOCK
    assert "quay-b runs 17.9.5 as quay-a tells it" in found.statement


def test_the_redundancy_tells_the_release_of_a_standby_that_refuses_or_is_not_reached() -> None:
    refusing = changed(healthy(2), show_version=REFUSED, show_redundancy=REFUSED)
    found = RULE.judge(snapshot(b=refusing), policy())
    assert found.status is Status.PASS
    assert "quay-b runs 17.9.4a, told by quay-a, since quay-b refused `show version`" in found.statement
    assert RULE.judge(snapshot(b=unreached()), policy()).status is Status.PASS
    assert RULE.judge(snapshot(running(1, "17.9.4a", "17.9.5"), unreached()), policy()).status is Status.BLOCK


@pytest.mark.parametrize("lost", [CUT_OFF, UNREADABLE, MISSING])
@pytest.mark.parametrize("command", ["show version", "show redundancy"])
def test_a_lost_answer_is_unknown_whatever_the_partner_says(command: str, lost: Lost) -> None:
    found = RULE.judge(snapshot(b={**healthy(2), command: lost}), policy())
    assert found.status is Status.UNKNOWN
    assert f"`{command}` on quay-b" in found.statement


def test_a_release_that_was_not_shown_is_unknown() -> None:
    assert RULE.judge(snapshot(b=changed(healthy(2), show_version=Version())), policy()).status is Status.UNKNOWN
