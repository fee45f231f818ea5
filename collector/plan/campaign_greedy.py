"""A campaign without a solver: night by night what fits, tried with fewer nights as long as that succeeds."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from collector.plan.campaign_work import Constraint, Kind, StaffedWindow, Upgrade, Work

_TRIES = 30
_SEED = 17


def obvious_clash(work: Work) -> tuple[Constraint, ...] | None:
    """Constraints that can't hold together for a reason that counting alone shows; None where there is none."""
    for each in work.constraints:
        if each.kind is Kind.LENGTH and not work.fitting[each.upgrades[0]]:
            return (each,)
        if each.kind is Kind.SITE and len(each.upgrades) > len(work.nights):
            return (each,)
    people = tuple(each for each in work.constraints if each.kind is Kind.PEOPLE)
    if len(people) == len(work.staffed) and sum(window.people for window in work.staffed) < len(work.upgrades):
        return people
    return _long_chain(work)


def _long_chain(work: Work) -> tuple[Constraint, ...] | None:
    """Orders that need more nights than there are, or that go round in a circle."""
    orders = {each.upgrades: each for each in work.constraints if each.kind is Kind.ORDER}
    try:
        longest = _chains(work)
    except CycleError as error:
        circle: list[str] = error.args[1]
        return tuple(orders[step] for step in pairwise(circle))
    chain = max(longest.values(), key=len, default=())
    if len(chain) <= len(work.nights):
        return None
    chain = chain[: len(work.nights) + 1]
    return tuple(orders[step] for step in pairwise(chain))


def _chains(work: Work) -> dict[str, tuple[str, ...]]:
    """By each upgrade's name the longest chain of upgrades up to it; CycleError where they go round in a circle."""
    after = {upgrade.name: upgrade.after for upgrade in work.upgrades}
    found: dict[str, tuple[str, ...]] = {}
    for name in TopologicalSorter(after).static_order():
        found[name] = (*max((found[before] for before in after[name]), key=len, default=()), name)
    return found


def bound(work: Work) -> int:
    """The nights that are needed at the least: by a site's upgrades, the longest chain, and the people."""
    sites = [len(each.upgrades) for each in work.constraints if each.kind is Kind.SITE]
    chains = [len(chain) for chain in _chains(work).values()]
    return max([*sites, *chains, _nights_for_people(work)])


def _nights_for_people(work: Work) -> int:
    people: dict[int, int] = defaultdict(int)
    for window in work.staffed:
        people[work.night_of[window.id]] += window.people
    left, nights = len(work.upgrades), 0
    for each in sorted(people.values(), reverse=True):
        if left <= 0:
            break
        left -= each
        nights += 1
    return nights


def assign(work: Work) -> dict[str, str] | None:
    """The assignment with the fewest nights of some tries; the window of each upgrade, or None where none was found."""
    lot = random.Random(_SEED)  # noqa: S311 - nothing secret, and the same everywhere
    best: dict[str, str] | None = None
    for _ in range(_TRIES):
        luck = {upgrade.name: lot.random() for upgrade in work.upgrades}
        found = _fewer(work, luck)
        if found is not None and (best is None or _taken(work, found) < _taken(work, best)):
            best = found
    return best


def _taken(work: Work, windows: Mapping[str, str]) -> int:
    return len({work.night_of[id] for id in windows.values()})


def _fewer(work: Work, luck: Mapping[str, float]) -> dict[str, str] | None:
    """Leave out one night after the other, those with the fewest people first, as long as the rest is enough."""
    people: dict[int, int] = defaultdict(int)
    for window in work.staffed:
        people[work.night_of[window.id]] += window.people
    nights = set(people)
    best = _fill(work, nights, luck)
    for night in sorted(people, key=lambda each: (people[each], -each)):
        found = _fill(work, nights - {night}, luck)
        if found is not None:
            best, nights = found, nights - {night}
    return best


def _fill(work: Work, nights: Collection[int], luck: Mapping[str, float]) -> dict[str, str] | None:
    filling = _Filling(work, luck)
    for night in sorted(nights):
        filling.fill(night)
    return filling.windows if len(filling.windows) == len(work.upgrades) else None


class _Filling:
    def __init__(self, work: Work, luck: Mapping[str, float]) -> None:
        self._work = work
        self._behind = _behind(work)
        self._upgrades = {upgrade.name: upgrade for upgrade in work.upgrades}
        self._luck = luck
        self._done: set[str] = set()
        self.windows: dict[str, str] = {}

    def fill(self, night: int) -> None:
        """Give the night's windows to upgrades, the most waited for first, blocked ones when no other is left."""
        self._done = set(self.windows)
        room = {window.id: window.people for window in self._windows(night)}
        tonight: list[Upgrade] = []
        for upgrade in sorted(self._upgrades.values(), key=self._rank):
            if upgrade.name in self.windows or not self._may(upgrade, tonight):
                continue
            id = next((id for id in self._shortest(upgrade, night) if room[id]), None)
            if id is not None:
                room[id] -= 1
                tonight.append(upgrade)
                self.windows[upgrade.name] = id

    def _windows(self, night: int) -> Iterator[StaffedWindow]:
        return (window for window in self._work.staffed if self._work.night_of[window.id] == night)

    def _rank(self, upgrade: Upgrade) -> tuple[bool, int, int, float]:
        return (
            upgrade.blocked,
            -self._behind[upgrade.name],
            len(self._work.fitting[upgrade.name]),
            self._luck[upgrade.name],
        )

    def _may(self, upgrade: Upgrade, tonight: Collection[Upgrade]) -> bool:
        if not self._done.issuperset(upgrade.after) or any(_clash(upgrade, other) for other in tonight):
            return False
        return not upgrade.blocked or all(other.blocked or other.name in self.windows for other in self._work.upgrades)

    def _shortest(self, upgrade: Upgrade, night: int) -> list[str]:
        staffed = sorted(self._windows(night), key=lambda window: window.lasts)
        return [window.id for window in staffed if upgrade.fits(window)]


def _clash(one: Upgrade, other: Upgrade) -> bool:
    return one.site == other.site or one.pair in other.peers or other.pair in one.peers


def _behind(work: Work) -> dict[str, int]:
    """By each upgrade's name how many nights those that wait for it need, one after the other."""
    waiting: dict[str, list[str]] = {upgrade.name: [] for upgrade in work.upgrades}
    for upgrade in work.upgrades:
        for before in upgrade.after:
            waiting[before].append(upgrade.name)
    found: dict[str, int] = {}
    for name in TopologicalSorter(waiting).static_order():
        found[name] = max((found[each] + 1 for each in waiting[name]), default=0)
    return found
