from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from collector import rules
from collector.demo import EVENING, fixtures_folder, inventory_folder
from collector.finding import Finding, Status
from collector.judging import judge_pair
from collector.nights.night import PairState, RuleState
from collector.recording import load
from collector.report.document import document
from collector.report.stored import pair_result
from collector.result import PairResult, Result
from inventory.opening import open_inventory
from inventory.waivers import Waiver
from parsers import catalogue
from tests.collector.report.sample import LATE, RESULT, SHORT, WAIVER


def told(result: PairResult) -> dict[str, object]:
    text = json.dumps(document(replace(RESULT, pairs=(result,))))
    found: dict[str, object] = json.loads(text)["pairs"][0]
    return found


def state_of(result: PairResult) -> PairState:
    kept = {each.rule: RuleState(each.status, each.decides, each.waiver is not None) for each in result.findings}
    return PairState(result.verdict, result.target_release, kept, {})


def restored(result: PairResult) -> PairResult:
    return pair_result(told(result), state_of(result))


@pytest.mark.parametrize("result", LATE.pairs, ids=lambda each: each.pair.name)
def test_what_was_written_is_what_is_read(result: PairResult) -> None:
    assert told(restored(result)) == told(result)


def test_every_pair_of_the_demo_comes_back(tmp_path: Path) -> None:
    fleet = open_inventory(inventory_folder(), rules.waivable())
    for pair in fleet.pairs:
        captures = {each.name: load(fixtures_folder(), each.name, catalogue.asked()) for each in pair.members}
        result = judge_pair(pair, captures, fleet.policy, EVENING, fleet.waivers)
        again = restored(result)
        assert told(again) == told(result)
        assert [each.counts_as for each in again.findings] == [each.counts_as for each in result.findings]


def waived(finding: Finding, waiver: Waiver) -> PairResult:
    return replace(RESULT.pairs[1], findings=(replace(finding, waiver=waiver),))


@pytest.mark.parametrize("until", [date(2027, 3, 31), datetime(2027, 3, 31, 6, tzinfo=UTC)])
def test_a_waiver_comes_back_with_its_end(until: date) -> None:
    again = restored(waived(SHORT, replace(WAIVER, until=until))).findings[0]
    assert again.waiver == replace(WAIVER, until=until, why=WAIVER.why, who=WAIVER.who)
    assert not again.decides


def test_what_is_not_known_beside_a_waived_block_is_not_taken_for_waived() -> None:
    again = restored(waived(replace(SHORT, unsure=True), WAIVER)).findings[0]
    assert again.counts_as is Status.UNKNOWN


def test_what_is_no_pair_of_a_report_raises() -> None:
    for broken in ({}, {**told(RESULT.pairs[0]), "verdict": "perhaps"}, {**told(RESULT.pairs[0]), "members": []}):
        with pytest.raises((KeyError, TypeError, ValueError)):
            pair_result(broken, state_of(RESULT.pairs[0]))


def test_the_result_needs_no_inventory() -> None:
    again = restored(RESULT.pairs[0])
    assert isinstance(replace(RESULT, pairs=(again,)), Result)
    assert {member.hostname for member in again.pair.members} == {""}
