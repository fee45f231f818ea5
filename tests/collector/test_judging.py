from __future__ import annotations

import pytest

from collector.capture import Capture, Ending
from collector.demo import EVENING
from collector.finding import Status, Verdict
from collector.judging import aimed_at, judge_pair
from parsers import catalogue
from tests.demo_fleet import fleet


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
