"""The topics that rules know all about: what a rule says of the pair after, set against what it said before."""

from __future__ import annotations

from collections.abc import Iterator

from collector.comparing.comparison import Difference, Kind, Topic
from collector.comparing.sides import Sides
from collector.finding import Answer, Status
from collector.rules import (
    boot_variable,
    certificates,
    clock,
    config_sync,
    crash_files,
    install_mode,
    install_state,
    pair_link,
    pair_state,
    rom_monitor,
    upgrade_activity,
)
from collector.rules.rule import Rule

_RULES: tuple[tuple[Topic, Rule], ...] = (
    (Topic.SOFTWARE, install_state.RULE),
    (Topic.SOFTWARE, upgrade_activity.RULE),
    (Topic.SOFTWARE, install_mode.RULE),
    (Topic.REDUNDANCY, pair_state.RULE),
    (Topic.REDUNDANCY, pair_link.RULE),
    (Topic.CONFIGURATION, config_sync.RULE),
    (Topic.CERTIFICATES, certificates.RULE),
    (Topic.CLOCK, clock.RULE),
    (Topic.BOOT, boot_variable.RULE),
    (Topic.ROM_MONITOR, rom_monitor.RULE),
    (Topic.CRASH_FILES, crash_files.RULE),
)
_GOOD = (Status.PASS, Status.NOT_APPLICABLE)


def by_rules(sides: Sides) -> Iterator[Difference]:
    """One difference a rule."""
    for topic, rule in _RULES:
        before, after = (rule.judge(side, sides.policy) for side in (sides.before, sides.after))
        yield sides.said(topic, *_weighed(rule, before, after), (), before.evidence, after.evidence, _remedy(after))


def _weighed(rule: Rule, before: Answer, after: Answer) -> tuple[Kind, str]:
    """A block is a fault, unless it stood there before and isn't the state of the pair itself; a caution that stood
    there before is no difference.
    """
    if after.status is Status.UNKNOWN:
        return Kind.UNKNOWN, after.statement
    if after.status in _GOOD:
        return Kind.IN_ORDER, after.statement
    same = before.status is after.status and before.statement == after.statement
    if after.status is Status.CAUTION:
        return (Kind.IN_ORDER, f"As before: {after.statement}") if same else (Kind.TO_EXPLAIN, after.statement)
    if same and rule.weight != "block":
        return Kind.TO_EXPLAIN, f"As before: {after.statement}"
    return Kind.FAULT, after.statement


def _remedy(after: Answer) -> str:
    return "" if after.status in _GOOD else after.remedy
