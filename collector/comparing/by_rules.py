"""The topics that rules know all about: what a rule says of the pair after, set against what it said before."""

from __future__ import annotations

import re
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
_FIGURE = re.compile(r"(?<![\w.-])\d[\d,.]*(?![\w-])")
# What a rule adds to a figure only where that is large.
_DAYS = re.compile(r" \([\d,]+ days\)")
_BEFOREHAND = re.compile(r",? before (?:the window|you plan the window|you plan anything)\b")


def by_rules(sides: Sides) -> Iterator[Difference]:
    """One difference a rule."""
    for topic, rule in _RULES:
        before, after = (rule.judge(side, sides.policy) for side in (sides.before, sides.after))
        yield sides.said(
            topic, *_weighed(_is_grave(rule, sides), before, after), (), before.evidence, after.evidence, _remedy(after)
        )


def _is_grave(rule: Rule, sides: Sides) -> bool:
    """Whether its trouble is a fault: by its own weight, or because the site weighs it so."""
    return "block" in (rule.weight, sides.policy.rules.get(rule.id))


def _weighed(grave: bool, before: Answer, after: Answer) -> tuple[Kind, str]:
    """The block of a grave rule is a fault, that of another is to be explained. A caution that stood there
    before is no difference.

    What stood there before is told by what it is about: its figures move from one night to the next.
    """
    if after.status is Status.UNKNOWN:
        return Kind.UNKNOWN, after.statement
    if after.status in _GOOD:
        return Kind.IN_ORDER, after.statement
    same = before.status is after.status and before.statement == after.statement
    if after.status is Status.CAUTION and same:
        return Kind.IN_ORDER, f"As before: {after.statement}"
    if after.status is Status.BLOCK and grave:
        return Kind.FAULT, after.statement
    if same:
        return Kind.TO_EXPLAIN, f"As before: {after.statement}"
    moved = before.status is after.status and _about(before.statement) == _about(after.statement)
    return Kind.TO_EXPLAIN, f"As before, with other figures: {after.statement}" if moved else after.statement


def _about(statement: str) -> str:
    """The statement without its figures; those that belong to a name stay."""
    return _FIGURE.sub("#", _DAYS.sub("", statement))


def _remedy(after: Answer) -> str:
    """The rule's remedy without the words by which it is for the time before a window."""
    return "" if after.status in _GOOD else _BEFOREHAND.sub("", after.remedy)
