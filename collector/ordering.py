"""What to do first: the order in which the troubles of a pair are mended, and when each may be.

The table is common practice, no source: a pair is made whole before its members are worked on, a member runs the right
software in the right mode before its flash is cleared, the flash has room before the image comes, and the image is
there before the access points take it. What is marked as disruptive may reload a controller or drop clients.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from graphlib import TopologicalSorter

from collector.finding import Finding, Status


class When(StrEnum):
    """When a step may be taken."""

    ANY_TIME = "any time"
    IN_A_WINDOW = "in a window"


@dataclass(frozen=True)
class Mending:
    """How a rule's block is mended: after which other rules' blocks, when, and whether that may disrupt the site."""

    after: tuple[str, ...] = ()
    when: When = When.ANY_TIME
    disruptive: bool = False


@dataclass(frozen=True)
class Step:
    """One step of a pair's mending: what to do for a rule, and after which rules of the same list."""

    rule: str
    remedy: str
    when: When
    disruptive: bool
    after: tuple[str, ...] = ()


def _disruptive(*after: str) -> Mending:
    return Mending(after, When.IN_A_WINDOW, disruptive=True)


_PAIR = ("pair-state",)

MENDING: Mapping[str, Mending] = {
    "one-active": _disruptive(),
    "upgrade-activity": _disruptive("one-active"),
    "pair-link": _disruptive("one-active", "upgrade-activity"),
    "pair-interface": _disruptive("one-active", "upgrade-activity"),
    "pair-state": _disruptive("one-active", "upgrade-activity", "pair-link", "pair-interface"),
    "mutual-view": _disruptive(*_PAIR),
    "hardware-support": _disruptive(*_PAIR),
    "install-mode": _disruptive(*_PAIR, "hardware-support"),
    "rom-monitor": _disruptive(*_PAIR, "hardware-support"),
    "install-state": _disruptive(*_PAIR, "install-mode"),
    "release-support": _disruptive(*_PAIR, "hardware-support", "install-mode", "install-state"),
    "upgrade-path": _disruptive("hardware-support", "release-support"),
    "ap-support": Mending(("release-support", "upgrade-path"), disruptive=True),
    "config-sync": _disruptive(*_PAIR, "mutual-view"),
    "boot-variable": Mending((*_PAIR, "install-mode")),
    "saved-configuration": Mending(("config-sync", "boot-variable"), disruptive=True),
    "clock": _disruptive(*_PAIR),
    "certificates": _disruptive("clock"),
    "crash-files": Mending(_PAIR),
    "recent-switchover": Mending((*_PAIR, "crash-files")),
    "headroom": _disruptive(*_PAIR),
    "flash-space": Mending((*_PAIR, "install-mode", "install-state", "upgrade-path", "crash-files")),
    "image-staged": Mending(("flash-space",)),
    "ap-joined": Mending((*_PAIR, "certificates"), disruptive=True),
    "ap-staging": Mending(("image-staged", "ap-joined", "ap-support"), disruptive=True),
    "outlook": Mending(("flash-space",)),
}
# Asking again tells something only once the rest is mended.
_LAST = "evidence-age"

_ALL = {**MENDING, _LAST: Mending(tuple(MENDING))}


def known() -> frozenset[str]:
    """The ids of the rules that the table orders."""
    return frozenset(_ALL)


def order() -> tuple[str, ...]:
    """All rules of the table, each after those that must be mended before it."""
    return tuple(TopologicalSorter({id: mending.after for id, mending in _ALL.items()}).static_order())


def steps(findings: Sequence[Finding]) -> tuple[Step, ...]:
    """What must be done before the pair is go, the first thing first: a step for every finding that decides.

    What isn't known is found out at any time, and a plan is changed at any time: neither disrupts anything.
    """
    deciding = {finding.rule: finding for finding in findings if finding.decides}
    ranks = {id: rank for rank, id in enumerate(order())}
    ordered = sorted(deciding, key=ranks.__getitem__)
    return tuple(_step(deciding[id], tuple(each for each in ordered if each in _before(id))) for id in ordered)


def _step(finding: Finding, after: tuple[str, ...]) -> Step:
    if finding.counts_as is Status.UNKNOWN:
        # The remedy of a waived block would mend what somebody accepts.
        remedy = "" if finding.waiver else finding.remedy
        remedy = remedy or f"Find out what isn't known: {finding.statement}"
        return Step(finding.rule, remedy, When.ANY_TIME, disruptive=False, after=after)
    mending = Mending() if finding.replan else _ALL[finding.rule]
    return Step(finding.rule, finding.remedy or finding.statement, mending.when, mending.disruptive, after)


def _before(id: str) -> set[str]:
    """The rules that must be mended before this one, also by way of others."""
    found: set[str] = set()
    waiting = list(_ALL[id].after)
    while waiting:
        each = waiting.pop()
        if each not in found:
            found.add(each)
            waiting += _ALL[each].after
    return found
