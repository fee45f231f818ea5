from __future__ import annotations

import pytest

from collector.finding import Answer, Status
from collector.rules.hardware_support import RULE
from parsers.facts.software import Version
from tests.collector.rules.building import (
    CUT_OFF,
    MISSING,
    REFUSED,
    UNREADABLE,
    Lost,
    changed,
    healthy,
    policy,
    snapshot,
    told,
    unreached,
)


def judged(first: str | None, second: str | None) -> Answer:
    """The answer for a pair of these models."""
    facts = [Version(model=model, at={"model": (3,)} if model else {}) for model in (first, second)]
    pair = snapshot(changed(healthy(1), show_version=facts[0]), changed(healthy(2), show_version=facts[1]))
    return RULE.judge(pair, policy())


def test_a_listed_model_on_both_passes_and_shows_the_lines() -> None:
    found = judged("WX-9840", "WX-9840")
    assert found.status is Status.PASS
    assert told(found.evidence) == {("quay-a", "show version"): (3,), ("quay-b", "show version"): (3,)}
    assert judged("WX-VC", "WX-VC").status is Status.PASS


@pytest.mark.parametrize("model", ["WX-9100", "WX-1", "wx-9840"])
def test_a_model_that_the_policy_excludes_or_does_not_list_blocks(model: str) -> None:
    found = judged(model, model)
    assert found.status is Status.BLOCK
    assert model in found.statement
    assert "ward" in found.remedy


def test_models_that_differ_block_though_both_are_supported() -> None:
    found = judged("WX-9840", "WX-9880")
    assert found.status is Status.BLOCK
    assert "quay-a is a WX-9840, quay-b a WX-9880" in found.statement
    assert set(told(found.evidence)) == {("quay-a", "show version"), ("quay-b", "show version")}


def test_the_standby_alone_blocks() -> None:
    found = judged("WX-9840", "WX-9100")
    assert found.status is Status.BLOCK
    assert "quay-b is a WX-9100" in found.statement


def test_a_model_that_was_not_shown_is_unknown() -> None:
    assert judged("WX-9840", None).status is Status.UNKNOWN


@pytest.mark.parametrize("lost", [REFUSED, CUT_OFF, UNREADABLE, MISSING])
def test_nobody_can_tell_a_standbys_model_for_it(lost: Lost) -> None:
    found = RULE.judge(snapshot(b=changed(healthy(2), show_version=lost)), policy())
    assert found.status is Status.UNKNOWN
    assert "quay-b" in found.statement
    assert "`show version`" in found.statement


def test_an_unreached_standbys_model_is_unknown_and_the_sentence_says_why() -> None:
    found = RULE.judge(snapshot(b=unreached()), policy())
    assert found.status is Status.UNKNOWN
    assert "quay-b gave no answer" in found.statement
