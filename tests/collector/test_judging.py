from __future__ import annotations

from dataclasses import replace
from itertools import zip_longest

import pytest

from collector import recording
from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.finding import Status, Verdict
from collector.judging import aimed_at, judge_pair
from parsers import catalogue
from tests.demo_fleet import FIXTURES, fleet, taken


def test_another_target_has_no_image() -> None:
    pair = fleet().pairs[0]
    assert aimed_at(pair, "17.12.04") == pair
    other = aimed_at(pair, "17.9.5")
    assert (other.target_release, other.image) == ("17.9.5", None)
    with pytest.raises(ValueError, match="is not a release"):
        aimed_at(pair, "17.12")


def test_a_pair_that_said_nothing_is_undecided_and_nothing_passes() -> None:
    pair = fleet().pairs[0]
    for captures in ({}, {m.name: [Capture(m.name, c.text, ending=Ending.MISSING, reason="no answer")
                                   for c in catalogue.asked()] for m in pair.members}):  # fmt: skip
        result = judge_pair(pair, captures, fleet().policy, EVENING)
        assert result.verdict is Verdict.UNDECIDED
        assert [f.rule for f in result.findings if f.status is Status.PASS] == []
        assert [(member.reached, member.role, member.release) for member in result.members] == [(False, None, None)] * 2


def missing(member: str, *reasons: str) -> list[Capture]:
    """A member that gave no answer: the commands' reasons in turn, the last one for all that follow."""
    rows = zip_longest(catalogue.asked(), reasons, fillvalue=reasons[-1])
    return [Capture(member, c.text, ending=Ending.MISSING, reason=r) for c, r in rows if not isinstance(c, str)]


def test_why_a_member_was_not_reached_is_said_of_the_member_and_by_no_rule() -> None:
    pair = fleet().pairs[0]
    first, second = (member.name for member in pair.members)
    captures = {first: missing(first, "its host key isn't known"), second: missing(second, "lost", "lost twice")}
    result = judge_pair(pair, captures, fleet().policy, EVENING)
    because = [member.unreached_because for member in result.members]
    assert because == ["its host key isn't known", "lost twice"]
    assert [f.statement for f in result.findings if "host key" in f.statement] == []
    assert result.left_unknown == tuple(f.rule for f in result.findings if f.status is Status.UNKNOWN)
    never_asked = judge_pair(pair, {}, fleet().policy, EVENING).members[0]
    assert never_asked.unreached_because == "nothing was asked of it"


def test_what_is_unknown_for_another_reason_too_is_not_left_to_the_silence() -> None:
    pair = fleet().pairs[0]
    first, second = (member.name for member in pair.members)
    own = [taken(each) for each in recording.load(FIXTURES, first, catalogue.asked())]
    spoilt = [replace(each, text="~~~~") if each.command == "show version" else each for each in own]
    whole, broken = (
        judge_pair(pair, {first: told, second: missing(second, "no answer")}, fleet().policy, EVENING)
        for told in (own, spoilt)
    )
    assert {"install-mode", "hardware-support", "clock"} <= set(whole.left_unknown)
    assert {"install-mode", "hardware-support"} & set(broken.left_unknown) == set()
    assert "clock" in broken.left_unknown
    assert [member.unreached_because for member in broken.members] == [None, "no answer"]
    reached = judge_pair(pair, {first: own, second: own}, fleet().policy, EVENING)
    assert reached.left_unknown == ()


@pytest.mark.parametrize(
    ("pair", "silent", "role"),
    [("quay", "quay-b", "standby"), ("quay", "quay-a", "active"), ("farholm", "farholm-b", None)],
)
def test_a_member_that_was_not_reached_has_the_role_that_its_partner_says(
    pair: str, silent: str, role: str | None
) -> None:
    found = next(each for each in fleet().pairs if each.name == pair)
    captures = {
        member.name: [taken(each) for each in recording.load(FIXTURES, member.name, catalogue.asked())]
        for member in found.members
        if member.name != silent
    }
    members = judge_pair(found, captures, fleet().policy, EVENING).members
    assert [member.role for member in members if member.name == silent] == [role]
    assert [member.role for member in members if member.reached] == ["standby" if role == "active" else "active"]
