"""Swept: on which nights which fleet was swept as a whole. Several collectors in one store sweep a fleet each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

SweptFleet = tuple[str, str]
"""What is swept together: a collector's name and the path of its inventory."""


@dataclass(frozen=True)
class Swept:
    """The nights of each fleet, oldest first, and the fleets that each pair was ever swept with."""

    nights: Mapping[SweptFleet, tuple[date, ...]] = field(default_factory=dict)
    fleets: Mapping[str, frozenset[SweptFleet]] = field(default_factory=dict)

    def any(self) -> tuple[date, ...]:
        """The nights on which some fleet was swept, oldest first."""
        return tuple(sorted({night for own in self.nights.values() for night in own}))

    def of(self, pair: str) -> tuple[date, ...]:
        """The nights on which the pair's own fleets were swept, oldest first: without a word on it, it was missed."""
        fleets = self.fleets.get(pair, frozenset())
        return tuple(sorted({night for fleet in fleets for night in self.nights.get(fleet, ())}))

    def between(self, since: date | None = None, until: date | None = None) -> Swept:
        """Only the nights from `since` to `until`, both included."""
        first, last = since or date.min, until or date.max
        nights = {fleet: tuple(each for each in own if first <= each <= last) for fleet, own in self.nights.items()}
        return Swept({fleet: own for fleet, own in nights.items() if own}, self.fleets)
