"""News: what of a sweep somebody who was told of an earlier one must be told again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum

from collector.finding import Finding, Status, Verdict
from collector.nights.night import PairState
from collector.result import PairResult
from collector.rules import outlook


class Turn(IntEnum):
    """What became of a pair, the worst first."""

    WORSE = 0
    """It was go and isn't any more."""
    FORECAST = 1
    """It is go, and forecast not to be in its window."""
    FIRST = 2
    """It isn't go, and nobody was told of it before."""
    OTHERWISE = 3
    """Its verdict is neither better nor worse, but what it rests on is another."""
    AGAIN = 4
    """It is go again."""


@dataclass(frozen=True)
class News:
    """What is new of a pair.

    `was` is its verdict when somebody was last told of it, None where that never was. `against` are the findings that
    newly keep it from being go, `no_longer` the rules whose findings don't any more, `forecast` what is newly feared
    for its window. `silent` are the members that no longer answer, `back` those that do again.
    """

    pair: PairResult
    turn: Turn
    was: Verdict | None = None
    against: tuple[Finding, ...] = ()
    no_longer: tuple[str, ...] = ()
    forecast: Finding | None = None
    silent: tuple[str, ...] = ()
    back: tuple[str, ...] = ()


def news(pairs: Sequence[PairResult], told: Mapping[str, PairState], now: datetime) -> list[News]:
    """What is new of these pairs, the worst and the soonest window first; `told` is what was last told of each.

    Of a pair that the sweep didn't reach in time nothing is known, and so nothing is new.
    """
    found = (_news(pair, told.get(pair.pair.name)) for pair in pairs if pair.in_time)
    return in_order([each for each in found if each is not None], now)


def standing(pairs: Sequence[PairResult], now: datetime) -> list[News]:
    """What is to be told of these pairs when nothing is known of what was told before: of all that aren't go."""
    return news(pairs, {}, now)


def in_order(items: Sequence[News], now: datetime) -> list[News]:
    """The worst first, and of equals the one whose window comes first; one that has passed is no hurry."""

    def rank(item: News) -> tuple[int, bool, float, str]:
        window = item.pair.pair.window
        coming = window is not None and window.end > now
        return item.turn, not coming, window.start.timestamp() if window else 0.0, item.pair.pair.name

    return sorted(items, key=rank)


def _news(pair: PairResult, before: PairState | None) -> News | None:
    if before is None:
        told = _told(pair, pair.findings)
        return None if pair.verdict is Verdict.GO else News(pair, Turn.FIRST, against=told, silent=_silent(pair))
    was_go = before.verdict is Verdict.GO
    against = _told(pair, [finding for finding in pair.findings if _newly_against(finding, before)])
    no_longer = tuple(
        finding.rule
        for finding in pair.findings
        if not finding.decides and (rule := before.rules.get(finding.rule)) is not None and rule.decides
    )
    silent = tuple(name for name in _silent(pair) if _reached(name, before))
    back = tuple(member.name for member in pair.members if member.reached and not _reached(member.name, before))
    forecast = next((finding for finding in pair.findings if _newly_feared(finding, before)), None)
    other = before.verdict is not pair.verdict or any((against, no_longer, silent, back, forecast))
    if not other:
        return None
    turn = _turn(was_go, pair.verdict is Verdict.GO, forecast is not None)
    return News(pair, turn, before.verdict, against, no_longer, forecast, silent, back)


def _turn(was_go: bool, go: bool, feared: bool) -> Turn:
    if go:
        return Turn.AGAIN if not was_go else Turn.FORECAST if feared else Turn.OTHERWISE
    return Turn.WORSE if was_go else Turn.OTHERWISE


def _told(pair: PairResult, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Those that decide, blocks first, without those that say no more than that a member didn't answer."""
    deciding = [finding for finding in findings if finding.decides and finding.rule not in pair.left_unknown]
    return tuple(sorted(deciding, key=lambda finding: finding.counts_as is not Status.BLOCK))


def _newly_against(finding: Finding, before: PairState) -> bool:
    rule = before.rules.get(finding.rule)
    if rule is None or not rule.decides:
        return finding.decides
    # What wasn't known and turns out to be a block is another thing to do; the other way round it isn't.
    return finding.counts_as is Status.BLOCK and (rule.status is not Status.BLOCK or rule.waived)


def _newly_feared(finding: Finding, before: PairState) -> bool:
    if finding.rule != outlook.RULE.id or finding.status is not Status.CAUTION:
        return False
    rule = before.rules.get(finding.rule)
    return rule is None or rule.status is not Status.CAUTION


def _silent(pair: PairResult) -> tuple[str, ...]:
    return tuple(member.name for member in pair.members if not member.reached)


def _reached(member: str, before: PairState) -> bool:
    """Whether it answered then; of a member that has been given to the pair since nobody knows that it didn't."""
    state = before.members.get(member)
    return state is None or state.reached
