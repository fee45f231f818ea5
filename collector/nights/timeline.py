"""A pair's story, in which nights like the one before take one line, and the fleet's nights as counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum
from itertools import groupby

from collector.finding import Verdict
from collector.nights.change import Change, Kind
from collector.nights.drift import LoadAps, LoadState, is_worse, walk
from collector.nights.night import Night
from collector.nights.swept import Swept

LOOK_BACK = timedelta(days=60)
"""How far before the nights that are told what was last known counts: who tells of them reads that much more."""

# A pair that no sweep of the fleet has seen for longer was taken out of the inventory, and isn't missed any more.
_MISSED_FOR = timedelta(days=7)


def looked_back(since: date | None) -> date | None:
    """From which night on somebody reads who tells of those from `since` on; None: of all of them."""
    return max(since, date.min + LOOK_BACK) - LOOK_BACK if since is not None else None


class Silence(StrEnum):
    """Why there is no word on a pair of a night on which the fleet was swept."""

    NOT_SWEPT = "not swept"
    NOT_IN_TIME = "not in time"


@dataclass(frozen=True)
class Stretch:
    """Nights in a row on which nothing moved: so many were asked, the others among them nobody swept."""

    verdict: Verdict
    first: date
    last: date
    nights: int


@dataclass(frozen=True)
class Missed:
    """Nights in a row on which the fleet was swept, and the pair wasn't asked."""

    why: Silence
    first: date
    last: date
    nights: int


@dataclass(frozen=True)
class Moved:
    """A night on which something was otherwise; a stretch follows it, or another one."""

    night: date
    changes: tuple[Change, ...]


Entry = Stretch | Missed | Moved


@dataclass(frozen=True)
class Story:
    """A pair's nights, oldest first: every night told of is in one stretch or one that was missed."""

    pair: str
    site: str
    nights: tuple[Night, ...]
    entries: tuple[Entry, ...]


@dataclass(frozen=True)
class Moves:
    """What changed of a pair over some nights; `was` is its verdict before them, or on the first of them."""

    pair: str
    site: str
    was: Verdict
    now: Verdict
    nights: tuple[Moved, ...]

    @property
    def number(self) -> int:
        """How many changes there are."""
        return sum(len(night.changes) for night in self.nights)


@dataclass(frozen=True)
class FleetNight:
    """What the fleet was like on a night, in numbers of pairs; `silent` weren't asked, in time or at all.

    `moved` counts the changes by pair, `subjects` by what they are about.
    """

    night: date
    verdicts: Counter[Verdict] = field(default_factory=Counter)
    silent: int = 0
    moved: Counter[str] = field(default_factory=Counter)
    subjects: Counter[tuple[Kind, str]] = field(default_factory=Counter)


def story(
    nights: Sequence[Night],
    fleet_nights: Iterable[date],
    load_state: LoadState,
    load_aps: LoadAps,
    *,
    since: date | None = None,
) -> Story:
    """The story of a pair with one night at least, from `since` on; nights before it tell what was known.

    `fleet_nights` are those of the pair's own fleets: one without the pair counts as missed from its first night on.
    """
    shown = [night for night in nights if since is None or night.night >= since]
    moved = {
        day: tuple(found)
        for day, found in groupby(walk(nights, load_state, load_aps, since=since), lambda change: change.night)
    }
    first = max(nights[0].night, since or date.min)
    silent = {day for day in fleet_nights if day >= first} - {night.night for night in shown}
    entries: list[Entry] = []
    for day, night in sorted([*((each.night, each) for each in shown), *((day, None) for day in silent)], key=_day):
        _tell(entries, day, night, moved.get(day, ()))
    return Story(nights[-1].pair, nights[-1].site, tuple(shown), tuple(entries))


def moves(
    nights: Sequence[Night], load_state: LoadState, load_aps: LoadAps, *, since: date | None = None
) -> Moves | None:
    """What changed of a pair from `since` on; None for one that wasn't asked since, and so has no verdict."""
    asked = [night for night in nights if night.in_time]
    if not asked or (since is not None and asked[-1].night < since):
        return None
    before = [night for night in asked if since is not None and night.night < since] or asked[:1]
    found = groupby(walk(nights, load_state, load_aps, since=since), lambda change: change.night)
    moved = tuple(Moved(day, tuple(those)) for day, those in found)
    return Moves(nights[-1].pair, nights[-1].site, before[-1].verdict, asked[-1].verdict, moved)


def worst_first(found: Iterable[Moves]) -> list[Moves]:
    """Those that changed: first the pairs that are worse than they were, then by name."""
    changed = [each for each in found if each.nights]
    return sorted(changed, key=lambda each: (not is_worse(each.was, each.now), each.pair))


def fleet_story(
    fleet: Iterable[tuple[str, Sequence[Night]]],
    swept: Swept,
    load_state: LoadState,
    load_aps: LoadAps,
    *,
    since: date | None = None,
) -> list[FleetNight]:
    """The fleet's nights from `since` on, oldest first; holds the nights of one pair at a time."""
    found = {day: FleetNight(day) for day in swept.between(since).any()}
    silent: Counter[date] = Counter()
    for pair, nights in fleet:
        silent.update(_missed(nights, swept.of(pair)))
        for night in nights:
            if since is not None and night.night < since:
                continue
            if night.in_time:
                found.setdefault(night.night, FleetNight(night.night)).verdicts[night.verdict] += 1
            else:
                silent[night.night] += 1
        for change in walk(nights, load_state, load_aps, since=since):
            found[change.night].moved[pair] += 1
            found[change.night].subjects[about(change)] += 1
    return [replace(found[day], silent=silent[day]) for day in sorted(found)]


def about(change: Change) -> tuple[Kind, str]:
    """What the change is about in any pair: a rule, or a kind of facts whichever member they are of."""
    return change.kind, change.subject if change.kind is Kind.FINDING else ""


def _day(dated: tuple[date, Night | None]) -> date:
    return dated[0]


def _tell(entries: list[Entry], day: date, night: Night | None, changes: tuple[Change, ...]) -> None:
    """Add one more night to the entries, or make the last of them longer by it."""
    if changes:
        entries.append(Moved(day, changes))
    last = entries[-1] if entries else None
    if night is None or not night.in_time:
        why = Silence.NOT_SWEPT if night is None else Silence.NOT_IN_TIME
        if isinstance(last, Missed) and last.why is why:
            entries[-1] = replace(last, last=day, nights=last.nights + 1)
        else:
            entries.append(Missed(why, day, day, 1))
    elif isinstance(last, Stretch):
        entries[-1] = replace(last, last=day, nights=last.nights + 1)
    else:
        entries.append(Stretch(night.verdict, day, day, 1))


def _missed(nights: Sequence[Night], fleet_nights: Iterable[date]) -> Iterator[date]:
    """The nights of the fleet's on which nobody asked the pair, as long as it can be taken to be there."""
    if not nights:
        return
    seen = {night.night for night in nights}
    first, last = nights[0].night, nights[-1].night + _MISSED_FOR
    yield from (day for day in fleet_nights if first <= day <= last and day not in seen)
