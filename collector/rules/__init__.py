"""The rules: one file a concern, each a pure function of what a pair said and the policy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from collector.finding import Answer, Finding
from collector.rules import (
    ap_joined,
    ap_staging,
    ap_support,
    boot_variable,
    certificates,
    clock,
    config_sync,
    crash_files,
    evidence_age,
    flash_space,
    hardware_support,
    headroom,
    image_staged,
    install_mode,
    install_state,
    mutual_view,
    one_active,
    outlook,
    pair_interface,
    pair_link,
    pair_state,
    recent_switchover,
    release_support,
    rom_monitor,
    saved_configuration,
    upgrade_activity,
    upgrade_path,
)
from collector.rules.parts import with_capital
from collector.rules.rule import Found, Rule
from collector.snapshot import Snapshot
from collector.verdict import weigh
from collector.waiving import waive
from inventory.policy import Policy
from inventory.waivers import Waiver

CATALOGUE: tuple[Rule, ...] = (
    hardware_support.RULE,
    release_support.RULE,
    upgrade_path.RULE,
    install_mode.RULE,
    boot_variable.RULE,
    rom_monitor.RULE,
    flash_space.RULE,
    pair_state.RULE,
    pair_link.RULE,
    pair_interface.RULE,
    install_state.RULE,
    upgrade_activity.RULE,
    config_sync.RULE,
    one_active.RULE,
    mutual_view.RULE,
    recent_switchover.RULE,
    ap_joined.RULE,
    ap_support.RULE,
    ap_staging.RULE,
    image_staged.RULE,
    headroom.RULE,
    clock.RULE,
    certificates.RULE,
    saved_configuration.RULE,
    crash_files.RULE,
    evidence_age.RULE,
    # It looks back at what all the others found.
    outlook.RULE,
)


def ids() -> tuple[str, ...]:
    """The ids of all rules, in the catalogue's order: what a policy may weigh."""
    return tuple(rule.id for rule in CATALOGUE)


def waivable() -> dict[str, bool]:
    """Of every rule's id, in the catalogue's order, whether a site may waive the rule or weigh it otherwise."""
    return {rule.id: rule.waivable for rule in CATALOGUE}


def weights() -> dict[str, str]:
    """Of every rule's id, in the catalogue's order, what its trouble weighs where a policy says nothing."""
    return {rule.id: rule.weight for rule in CATALOGUE}


def find(id: str) -> Rule | None:
    """The rule with this id; None where there is none."""
    return next((rule for rule in CATALOGUE if rule.id == id), None)


def unknown_rules(policy: Policy) -> tuple[str, ...]:
    """The ids that the policy weighs though there is no such rule."""
    return tuple(id for id in policy.rules if find(id) is None)


def judge(snapshot: Snapshot, policy: Policy, waivers: Sequence[Waiver] = ()) -> tuple[Finding, ...]:
    """Every rule's finding about a pair, in the catalogue's order, as the policy weighs it and a waiver marks it.

    ValueError where the policy weighs a rule that doesn't exist: a weight that has no effect would be taken for one
    that has. Whatever else a rule raises is a mistake of its own and goes through, lest it pass for an answer.
    """
    if unknown := unknown_rules(policy):
        raise ValueError(f"the policy weighs rules that don't exist: {', '.join(unknown)}")
    names = [member.name for member in snapshot.members]
    findings: list[Finding] = []
    for rule in CATALOGUE:
        said = _said(rule, snapshot, policy, Found(tuple(findings), waivers))
        weighed = weigh(rule, replace(said, statement=with_capital(said.statement, names)), policy)
        findings.append(waive(rule, weighed, snapshot.pair, waivers, snapshot.moment))
    return tuple(findings)


def _said(rule: Rule, snapshot: Snapshot, policy: Policy, found: Found) -> Answer:
    return rule.judge_after(snapshot, policy, found) if rule.judge_after else rule.judge(snapshot, policy)
