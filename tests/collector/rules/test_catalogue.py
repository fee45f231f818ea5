"""The catalogue: DESIGN section 4, `The first thirteen rules`, and issue 3's table give its ids and their order."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector import rules
from collector.demo import EVENING
from collector.finding import Answer, Status
from collector.rules.rule import Found, Rule
from collector.snapshot import Snapshot
from inventory.policy import Policy
from inventory.waivers import Waiver
from parsers import catalogue
from tests.collector.rules.building import policy, snapshot

DESIGN = (
    "hardware-support",
    "release-support",
    "upgrade-path",
    "install-mode",
    "boot-variable",
    "rom-monitor",
    "flash-space",
    "pair-state",
    "pair-link",
    "pair-interface",
    "install-state",
    "upgrade-activity",
    "config-sync",
)
FURTHER = (
    "one-active",
    "mutual-view",
    "recent-switchover",
    "ap-joined",
    "ap-support",
    "ap-staging",
    "image-staged",
    "headroom",
    "clock",
    "certificates",
    "saved-configuration",
    "crash-files",
    "evidence-age",
    # Issue 5: it comes last, since it looks back at what the others found.
    "outlook",
)
# It is about when the captures were taken, whichever they are.
OF_NO_COMMAND = ("evidence-age",)


def test_the_catalogue_holds_the_designs_rules_in_its_order() -> None:
    assert rules.ids() == (*DESIGN, *FURTHER)


@pytest.mark.parametrize("rule", rules.CATALOGUE, ids=lambda rule: rule.id)
def test_every_rule_explains_itself_and_needs_commands_of_the_catalogue(rule: Rule) -> None:
    assert all((rule.title.endswith("?"), rule.why.endswith("."), rule.good, rule.bad))
    assert bool(rule.needs) is (rule.id not in OF_NO_COMMAND)
    asked = {command.text for command in catalogue.asked()}
    assert set(rule.needs) <= asked


def test_a_rule_is_found_by_its_id() -> None:
    found = rules.find("flash-space")
    assert found is not None
    assert found.id == "flash-space"
    assert rules.find("flash_space") is None


def test_every_rule_gives_one_finding_in_the_catalogues_order() -> None:
    findings = rules.judge(snapshot(), policy())
    assert tuple(finding.rule for finding in findings) == rules.ids()


def test_a_healthy_pair_is_blocked_by_nothing() -> None:
    findings = rules.judge(snapshot(), policy())
    assert {f.rule: f.status for f in findings if f.status not in (Status.PASS, Status.NOT_APPLICABLE)} == {}


def test_a_policy_that_weighs_a_rule_that_does_not_exist_is_refused() -> None:
    wrong = policy(rules={"flash-spaces": "off", "flash-space": "off"})
    assert rules.unknown_rules(wrong) == ("flash-spaces",)
    with pytest.raises(ValueError, match="flash-spaces"):
        rules.judge(snapshot(), wrong)


def test_a_rule_that_crashes_is_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    def crash(snapshot: Snapshot, policy: Policy) -> Answer:
        raise ZeroDivisionError

    monkeypatch.setattr(rules, "CATALOGUE", (replace(rules.CATALOGUE[0], judge=crash),))
    with pytest.raises(ZeroDivisionError):
        rules.judge(snapshot(), policy())


def test_a_rule_that_looks_back_hears_what_those_before_it_found_and_every_waiver(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    heard: list[Found] = []

    def judge_after(snapshot: Snapshot, policy: Policy, found: Found) -> Answer:
        heard.append(found)
        return Answer(Status.PASS, "Heard.")

    waiver = Waiver("quay", "headroom", "R. Vane", "why", EVENING.date())
    last = replace(rules.CATALOGUE[-1], judge_after=judge_after)
    monkeypatch.setattr(rules, "CATALOGUE", (*rules.CATALOGUE[:-1], last))
    findings = rules.judge(snapshot(), policy(), [waiver])
    assert [tuple(each.findings) for each in heard] == [findings[:-1]]
    assert [tuple(each.waivers) for each in heard] == [(waiver,)]
    assert findings[-1].statement == "Heard."
