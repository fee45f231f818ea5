"""Tries every loss of one answer and of one value of it on a pair, and tells which made a rule's answer better."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from collector.finding import Status
from collector.rules.rule import Rule
from inventory.policy import Policy
from parsers.facts.core import Facts
from parsers.facts.redundancy import Chassis, Redundancy
from tests.collector.rules.building import CUT_OFF, MISSING, UNREADABLE, Answers, Lost, snapshot

_BAD = (Status.BLOCK, Status.UNKNOWN)


def made_better(rule: Rule, first: Answers, second: Answers, policy: Policy) -> list[str]:
    """The losses that turned a block or an unknown into anything else, or a pass into not-applicable."""
    before = rule.judge(snapshot(first, second), policy).status
    found = []
    for number, answers in enumerate((first, second), 1):
        for command, said in answers.items():
            if command not in rule.needs or isinstance(said, Lost):
                continue
            for what, left in _lessened(said):
                pair = [first, second]
                pair[number - 1] = {**answers, command: left}
                after = rule.judge(snapshot(*pair), policy).status
                if (before in _BAD and after not in _BAD) or (before is Status.PASS and after is Status.NOT_APPLICABLE):
                    found.append(f"{before} became {after}: member {number}, {command}, {what}")
    return found


def _lessened(facts: Facts) -> Iterator[tuple[str, Facts | Lost]]:
    for lost in (CUT_OFF, UNREADABLE, MISSING):
        yield lost.problem, lost
    yield from _without_one(facts)


def _without_one(facts: Facts) -> Iterator[tuple[str, Facts]]:
    for field in dataclasses.fields(facts):
        if field.name != "at":
            yield f"no {field.name}", _changed(facts, **{field.name: field.default})
    if isinstance(facts, Redundancy):
        for name in ("this", "peer"):
            processor = getattr(facts, name)
            if processor is not None:
                yield f"no {name}.state", _changed(facts, **{name: replace(processor, state=None)})
    if isinstance(facts, Chassis):
        for row in facts.members:
            others = tuple(other for other in facts.members if other is not row)
            yield f"no row of chassis {row.number}", replace(facts, members=others)
            for name in ("ip", "rmi_ip"):
                lessened = tuple(_changed(r, **{name: None}) if r is row else r for r in facts.members)
                yield f"no {name} of chassis {row.number}", replace(facts, members=lessened)


def _changed(item: Any, **values: Any) -> Any:
    return replace(item, **values)
