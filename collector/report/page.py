"""`report.html`: the result as one page that needs nothing but itself."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from typing import Any

from jinja2 import Environment

from collector.finding import Finding, Status, Verdict
from collector.report import wording
from collector.report.templating import digest, environment, own
from collector.result import PairResult, Result
from collector.rules.rule import Rule

_TROUBLE = (Status.BLOCK, Status.UNKNOWN, Status.CAUTION)
# The template engine hands out bits of a line; so many of them make a piece.
_AT_ONCE = 500


def page(result: Result, rules: Sequence[Rule]) -> str:
    """The whole text of `report.html`; `rules` is the catalogue that its findings came from."""
    return "".join(pieces(result, rules))


def pieces(result: Result, rules: Sequence[Rule]) -> Iterator[str]:
    """The same text, some of it at a time.

    Everything from outside is escaped by the template engine after `visible` has spelled out what can't be seen.
    Style and script stand in the page, and its policy lets nothing else run or load.
    """
    pairs = sorted(result.pairs, key=lambda pair: wording.VERDICTS.index(pair.verdict))
    style, script = own("page.css"), own("page.js")
    stream = (
        _environment()
        .get_template("page.html.jinja")
        .stream(
            result=result,
            rules=rules,
            rule_pages={rule.id: f"#rule-{rule.id}" for rule in rules},
            pairs=list(zip(anchors(pair.pair.name for pair in pairs), pairs, strict=True)),
            concerned=_concerned(result, rules),
            style=style,
            script=script,
            style_hash=digest(style),
            script_hash=digest(script),
        )
    )
    stream.enable_buffering(_AT_ONCE)
    yield from stream


@cache
def _environment() -> Environment:
    return environment(
        **known_of_a_pair(),
        troubled=_troubled,
        VERDICTS=wording.VERDICTS,
        TROUBLE=_TROUBLE,
        GO=Verdict.GO,
    )


def known_of_a_pair() -> dict[str, Any]:
    """What `pair_parts.html.jinja` calls by name: for the environment of every page that shows pairs by it."""
    return {
        "wording": wording,
        "worst_first": wording.worst_first,
        "numbers": _numbers,
        "is_trouble": _is_trouble,
        "at": _at,
        "at_rule": _at_rule,
        "UNKNOWN": Status.UNKNOWN,
        "zip": zip,
    }


def anchors(names: Iterable[str]) -> list[str]:
    """An anchor for every pair, the same in every report that has the pair, as long as no two names come out alike."""
    taken: dict[str, None] = {}
    for name in names:
        wanted = anchor = f"pair-{re.sub(r'[^a-z0-9]+', '-', name.lower()).strip('-') or 'unnamed'}"
        number = 2
        while anchor in taken:
            anchor = f"{wanted}-{number}"
            number += 1
        taken[anchor] = None
    return list(taken)


def _at(anchor: str, part: str) -> str:
    """The id of a part of a pair's own that is no finding."""
    return f"{anchor}-{part}" if anchor else part


def _at_rule(anchor: str, rule: str) -> str:
    """The id of the pair's finding of a rule."""
    return f"{anchor}--{rule}" if anchor else f"finding-{rule}"


def _is_trouble(finding: Finding) -> bool:
    return finding.status in _TROUBLE


def _numbers(pair: PairResult) -> dict[str, int]:
    """The number of each rule's step in the order of mending."""
    return {step.rule: number for number, step in enumerate(wording.steps(pair), start=1)}


def _troubled(pair: PairResult) -> list[str]:
    """The ids of the rules that a filter by rule finds the pair under."""
    return [finding.rule for finding in pair.findings if _is_trouble(finding)]


def _concerned(result: Result, rules: Sequence[Rule]) -> dict[str, int]:
    """For every rule, how many pairs it blocks, leaves unknown or cautions."""
    found = [rule for pair in result.pairs for rule in _troubled(pair)]
    return {rule.id: found.count(rule.id) for rule in rules}
