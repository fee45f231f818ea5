"""Waivers at work: which block is waived, and which waiver waives nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from collector.finding import Finding, Status
from inventory.pairs import Pair
from inventory.waivers import Waiver

if TYPE_CHECKING:
    from collector.result import PairResult
    from collector.rules.rule import Rule


def waive(rule: Rule, finding: Finding, pair: Pair, waivers: Sequence[Waiver], moment: datetime) -> Finding:
    """The finding, marked with the first waiver that holds for it at this moment.

    Only a block can be waived: nobody accepts what nobody knows. A rule that nobody may waive stays as it is.
    """
    if finding.status is not Status.BLOCK or not rule.waivable:
        return finding
    held = (each for each in waivers if each.rule == rule.id and each.matches(pair.name) and each.holds(pair, moment))
    return replace(finding, waiver=next(held, None))


def idle(
    waivers: Sequence[Waiver], pairs: Sequence[Pair], results: Sequence[PairResult], moment: datetime
) -> tuple[str, ...]:
    """A sentence on every waiver that has expired or has nothing to waive, so that none is silently dropped.

    `pairs` are all of the inventory, `results` those that were asked; of a waiver that is meant for others only, nobody
    can tell.
    """
    sentences = []
    for number, waiver in enumerate(waivers):
        said = _why_idle(waiver, pairs, results, moment)
        if said:
            name = f"waivers.{number}: the waiver of {waiver.rule} for {waiver.pair} by {waiver.who}"
            sentences.append(f"waivers.yaml: {name} {said}")
    return tuple(sentences)


def _why_idle(waiver: Waiver, pairs: Sequence[Pair], results: Sequence[PairResult], moment: datetime) -> str:
    if not any(waiver.matches(pair.name) for pair in pairs):
        return "matches no pair of the inventory; correct the name or take it out"
    asked = [result for result in results if waiver.matches(result.pair.name)]
    held = [result for result in asked if waiver.holds(result.pair, moment)]
    if asked and not held:
        return f"has expired ({waiver.until}) and counts no more; mend what it was for, renew it, or take it out"
    found = [finding for result in held for finding in result.findings if finding.rule == waiver.rule]
    if not asked or any(finding.status is Status.BLOCK for finding in found):
        return ""
    where = f"{waiver.rule} is {found[0].status} there" if len(found) == 1 else f"{waiver.rule} blocks none of them"
    return f"has nothing to waive: {where}; take it out once it isn't needed any more"
