"""Tries every loss of an answer, of a value anywhere inside one and of a row, and tells which made an answer better."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from collector.finding import Status
from collector.rules.rule import Rule
from collector.snapshot import Snapshot
from inventory.policy import Policy
from parsers.facts.core import Facts
from tests.collector.rules.building import CUT_OFF, MISSING, UNREADABLE, Answers, Lost, snapshot

Build = Callable[[Answers, Answers], Snapshot]
_BADNESS = {Status.NOT_APPLICABLE: 0, Status.PASS: 1, Status.CAUTION: 2, Status.UNKNOWN: 3, Status.BLOCK: 3}


def bettered(
    rule: Rule, first: Answers, second: Answers, policy: Policy, build: Build = snapshot, *, rows: bool = True
) -> list[str]:
    """The losses after which the rule says something better; block and unknown are equally bad.

    `rows` is False where the loss of a whole row can't be noticed.
    """
    before = rule.judge(build(first, second), policy).status
    found = []
    for number, answers in enumerate((first, second)):
        for command, said in answers.items():
            if command in rule.needs and not isinstance(said, Lost):
                for what, left in _lessened(said, rows=rows):
                    pair = [first, second]
                    pair[number] = {**answers, command: left}
                    after = rule.judge(build(*pair), policy).status
                    if _BADNESS[after] < _BADNESS[before]:
                        found.append(f"{before} became {after}: member {number + 1}, {command}, {what}")
    return found


def _lessened(facts: Facts, *, rows: bool) -> Iterator[tuple[str, Facts | Lost]]:
    for lost in (CUT_OFF, UNREADABLE, MISSING):
        yield lost.problem, lost
    yield from _without_one(facts, "", rows=rows)


def _without_one(item: Any, where: str, *, rows: bool) -> Iterator[tuple[str, Any]]:
    """The item without one of its values, or one of the items inside it so lessened or gone."""
    for field in dataclasses.fields(item):
        value, name = getattr(item, field.name), f"{where}{field.name}"
        if field.name == "at" or value is None:
            continue
        if field.default is None:
            yield f"no {name}", replace(item, **{field.name: None})
        if dataclasses.is_dataclass(value):
            for what, left in _without_one(value, f"{name}.", rows=rows):
                yield what, replace(item, **{field.name: left})
        if isinstance(value, tuple):
            for what, items in _fewer(value, name, rows=rows):
                yield what, replace(item, **{field.name: items})


def _fewer(items: tuple[Any, ...], name: str, *, rows: bool) -> Iterator[tuple[str, tuple[Any, ...]]]:
    for place, inner in enumerate(items):
        before, behind = items[:place], items[place + 1 :]
        if rows:
            yield f"no {name}[{place}]", (*before, *behind)
        if dataclasses.is_dataclass(inner):
            for what, left in _without_one(inner, f"{name}[{place}].", rows=rows):
                yield what, (*before, left, *behind)
