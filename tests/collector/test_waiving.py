"""Which block is waived, which waiver is told to do nothing, and that no loss lets a waiver do more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

import pytest

from collector import ordering, rules
from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.finding import Finding, Status, Verdict
from collector.result import PairResult
from collector.rules.rule import Rule
from collector.verdict import verdict
from collector.waiving import idle, waive
from inventory.pairs import Member, Pair
from inventory.waivers import Waiver
from tests.demo_fleet import fleet, pairs, snapshot, with_capture

PAIR = Pair("quay", "Harbour Quay", (Member("quay-a", "a", 22), Member("quay-b", "b", 22)), "17.12.4")
OTHER = replace(PAIR, name="pier")
WAIVER = Waiver("quay", "flash-space", "R. Vane", "New flash is ordered.", date(2027, 3, 31))
RULE = Rule("flash-space", "?", "why", "good", "bad", (), lambda snapshot, policy: None)  # type: ignore[arg-type,return-value]


def finding(status: Status = Status.BLOCK, rule: str = "flash-space", waiver: Waiver | None = None) -> Finding:
    return Finding(rule, "?", status, "Said.", "Mend.", waiver=waiver)


def result(pair: Pair, *findings: Finding) -> PairResult:
    return PairResult(pair, verdict(findings), pair.target_release, (), findings)  # type: ignore[arg-type]


def test_a_waived_block_stays_a_block_and_counts_for_nothing() -> None:
    found = waive(RULE, finding(), PAIR, [WAIVER], EVENING)
    assert (found.status, found.waiver, found.decides) == (Status.BLOCK, WAIVER, False)
    assert verdict([found]) is Verdict.GO
    assert verdict([found, finding(rule="clock")]) is Verdict.NO_GO
    assert verdict([found, finding(Status.UNKNOWN, "clock")]) is Verdict.UNDECIDED


@pytest.mark.parametrize("status", [status for status in Status if status is not Status.BLOCK])
def test_only_a_block_can_be_waived(status: Status) -> None:
    assert waive(RULE, finding(status), PAIR, [WAIVER], EVENING).waiver is None


def test_what_is_not_known_cannot_be_waived() -> None:
    assert verdict([waive(RULE, finding(Status.UNKNOWN), PAIR, [WAIVER], EVENING)]) is Verdict.UNDECIDED


def test_what_is_not_known_beside_a_waived_block_cannot_be_waived_either() -> None:
    found = waive(RULE, replace(finding(), unsure=True), PAIR, [WAIVER], EVENING)
    assert (found.waiver, found.counts_as) == (WAIVER, Status.UNKNOWN)
    assert verdict([found]) is Verdict.UNDECIDED
    assert replace(found, waiver=None).counts_as is Status.BLOCK


def test_a_waived_ignored_list_does_not_cover_a_list_that_was_cut_off() -> None:
    described = snapshot("pontoon")
    assert verdict(rules.judge(described, fleet().policy, fleet().waivers)) is Verdict.GO
    for member in described.members:
        capture = member.captures["show redundancy config-sync failures mcl"]
        lost = replace(capture, ending=Ending.CUT_OFF, reason="the session was lost")
        findings = rules.judge(with_capture(described, lost), fleet().policy, fleet().waivers)
        assert verdict(findings) is Verdict.UNDECIDED
        (step,) = ordering.steps(findings)
        assert (step.rule, step.disruptive) == ("config-sync", False)
        assert "can't be used" in step.remedy


@pytest.mark.parametrize(
    "waiver",
    [
        replace(WAIVER, pair="pier"),
        replace(WAIVER, rule="clock"),
        replace(WAIVER, until=EVENING.date() - timedelta(days=1)),
        replace(WAIVER, until=EVENING),
    ],
)
def test_a_waiver_for_something_else_or_of_yesterday_waives_nothing(waiver: Waiver) -> None:
    assert waive(RULE, finding(), PAIR, [waiver], EVENING).waiver is None


def test_what_nobody_may_waive_stays() -> None:
    assert waive(replace(RULE, waivable=False), finding(), PAIR, [WAIVER], EVENING).waiver is None


def test_the_first_that_holds_counts() -> None:
    expired = replace(WAIVER, until=date(2026, 6, 30))
    glob = replace(WAIVER, pair="*")
    assert waive(RULE, finding(), PAIR, [expired, glob, WAIVER], EVENING).waiver == glob


def told(waiver: Waiver, *results: PairResult) -> str:
    sentences = idle([waiver], [PAIR, OTHER], results, EVENING)
    return sentences[0] if sentences else ""


def test_a_waiver_that_is_used_is_not_told_of() -> None:
    assert told(WAIVER, result(PAIR, finding(waiver=WAIVER))) == ""
    assert told(replace(WAIVER, pair="*"), result(PAIR, finding()), result(OTHER, finding(Status.PASS))) == ""


def test_an_expired_waiver_is_told_of() -> None:
    expired = replace(WAIVER, until=date(2026, 6, 30))
    assert told(expired, result(PAIR, finding())) == (
        "waivers.yaml: waivers.0: the waiver of flash-space for quay by R. Vane has expired (2026-06-30) and counts no "
        "more; mend what it was for, renew it, or take it out"
    )


def test_a_waiver_without_a_pair_is_told_of() -> None:
    assert "matches no pair of the inventory" in told(replace(WAIVER, pair="key*"), result(PAIR, finding()))


def test_a_waiver_without_a_block_is_told_of() -> None:
    assert "has nothing to waive: flash-space is pass there" in told(WAIVER, result(PAIR, finding(Status.PASS)))
    assert "flash-space is unknown there" in told(WAIVER, result(PAIR, finding(Status.UNKNOWN)))
    everywhere = replace(WAIVER, pair="*")
    both = (result(PAIR, finding(Status.PASS)), result(OTHER, finding(Status.CAUTION)))
    assert "flash-space blocks none of them" in told(everywhere, *both)


def test_of_a_waiver_for_pairs_that_were_not_asked_nothing_is_told() -> None:
    assert told(WAIVER, result(OTHER, finding())) == ""
    assert told(replace(WAIVER, until=date(2026, 6, 30)), result(OTHER, finding())) == ""


_EVERYTHING = tuple(
    Waiver("*", id, "R. Vane", "All of it.", EVENING + timedelta(days=1)) for id, may in rules.waivable().items() if may
)


def _damaged(capture: Capture) -> Iterator[Capture]:
    yield replace(capture, text="", ending=Ending.MISSING, reason="removed")
    yield replace(capture, ending=Ending.CUT_OFF, reason="the session was lost")
    lines = capture.text.splitlines(keepends=True)
    for kept in range(len(lines)):
        yield replace(capture, text="".join(lines[:kept]))


@pytest.mark.parametrize("pair", pairs())
def test_with_everything_waived_no_loss_makes_a_pair_more_ready(pair: str) -> None:
    """Issue 2's property with waivers for all that may be waived; a block that turns unknown is waived no more."""
    described = snapshot(pair)
    before = verdict(rules.judge(described, fleet().policy, _EVERYTHING))
    if before is Verdict.GO:
        return
    needed = {command for rule in rules.CATALOGUE for command in rule.needs}
    for member in described.members:
        for command, capture in member.captures.items():
            for lost in _damaged(capture) if command in needed else ():
                after = rules.judge(with_capture(described, lost), fleet().policy, _EVERYTHING)
                assert verdict(after) is not Verdict.GO, (member.name, lost)


@pytest.mark.parametrize("pair", ["pontoon", "saltmarsh", "gull-rock"])
def test_losing_what_a_waived_block_rests_on_makes_the_pair_undecided_or_leaves_it(pair: str) -> None:
    described = snapshot(pair)
    assert verdict(rules.judge(described, fleet().policy, _EVERYTHING)) is Verdict.GO
    undecided = 0
    for member in described.members:
        for capture in member.captures.values():
            lost = replace(capture, text="", ending=Ending.MISSING, reason="removed")
            after = verdict(rules.judge(with_capture(described, lost), fleet().policy, _EVERYTHING))
            assert after is not Verdict.NO_GO
            undecided += after is Verdict.UNDECIDED
    assert undecided
