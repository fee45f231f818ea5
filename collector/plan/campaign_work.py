"""What a campaign has to place and where: upgrades, windows, and what may not be."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from functools import cached_property
from itertools import combinations


@dataclass(frozen=True)
class StaffedWindow:
    """A window to give to pairs: from `start` to `end`, which know their offset from UTC, with the people on shift.

    With a `shift` they are that shift's people, who do no other shift's upgrade.
    """

    id: str
    start: datetime
    end: datetime
    people: int
    shift: str | None = None

    @property
    def lasts(self) -> timedelta:
        """Its real length, also where the clocks change inside it."""
        return self.end.astimezone(UTC) - self.start.astimezone(UTC)

    @property
    def night(self) -> date:
        """The day on which its night begins, by its own clock: a night goes from noon to noon."""
        return (self.start - timedelta(hours=12)).date()


@dataclass(frozen=True)
class Upgrade:
    """One upgrade of a pair, with a name of its own where the pair needs two.

    `peers` are the names of pairs that are mobility peers, told by either side; those of pairs that the campaign
    doesn't place don't matter. `after` are the names of upgrades that must be done on an earlier night. `shift` is
    whose work it is; None where anybody may do it.
    """

    name: str
    pair: str
    site: str
    lasts: timedelta
    peers: frozenset[str] = frozenset()
    blocked: bool = False
    after: tuple[str, ...] = ()
    shift: str | None = None

    def fits(self, window: StaffedWindow) -> bool:
        """Whether the window is long enough for it, and its people may do it."""
        return window.lasts >= self.lasts and (None in (self.shift, window.shift) or window.shift == self.shift)


class Kind(StrEnum):
    """What a constraint is about."""

    LENGTH = "length"
    PEOPLE = "people"
    SITE = "site"
    PEERS = "peers"
    ORDER = "order"
    BLOCKED_LAST = "blocked last"


@dataclass(frozen=True)
class Constraint:
    """One thing that must hold, in plain words; of ORDER the first upgrade comes before the second.

    PEOPLE has the id of its window; LENGTH and BLOCKED_LAST have one upgrade, SITE and PEERS those that share no night.
    """

    kind: Kind
    upgrades: tuple[str, ...]
    sentence: str
    window: str | None = None


@dataclass(frozen=True)
class Work:
    """The upgrades and the windows of a campaign, the windows by their start."""

    upgrades: tuple[Upgrade, ...]
    staffed: tuple[StaffedWindow, ...]

    @cached_property
    def nights(self) -> tuple[date, ...]:
        """The nights that have a window, the first one first."""
        return tuple(sorted({window.night for window in self.staffed}))

    @cached_property
    def night_of(self) -> Mapping[str, int]:
        """The place of each window's night among the nights, from 0, by the window's id."""
        return {window.id: self.nights.index(window.night) for window in self.staffed}

    @cached_property
    def fitting(self) -> Mapping[str, tuple[str, ...]]:
        """By an upgrade's name the ids of the windows that are long enough for it, and whose people may do it."""
        return {
            upgrade.name: tuple(window.id for window in self.staffed if upgrade.fits(window))
            for upgrade in self.upgrades
        }

    @cached_property
    def constraints(self) -> tuple[Constraint, ...]:
        """All that must hold, beside that each upgrade gets one window."""
        return (*self._lengths(), *self._people(), *self._sites(), *self._peers(), *self._orders(), *self._blocked())

    def _lengths(self) -> list[Constraint]:
        return [
            Constraint(Kind.LENGTH, (upgrade.name,), _length(upgrade, self.fitting[upgrade.name]))
            for upgrade in self.upgrades
            if len(self.fitting[upgrade.name]) < len(self.staffed)
        ]

    def _people(self) -> list[Constraint]:
        names = tuple(upgrade.name for upgrade in self.upgrades)
        return [
            Constraint(Kind.PEOPLE, names, f"{_people(window.people)} on shift in the window {window.id}.", window.id)
            for window in self.staffed
            if window.people < len(names)
        ]

    def _sites(self) -> list[Constraint]:
        at: dict[str, list[str]] = defaultdict(list)
        for upgrade in self.upgrades:
            at[upgrade.site].append(upgrade.name)
        return [
            Constraint(Kind.SITE, tuple(names), f"{_at(names, site)}, and a site has one of them a night.")
            for site, names in at.items()
            if len(names) > 1
        ]

    def _peers(self) -> list[Constraint]:
        return [
            Constraint(
                Kind.PEERS,
                (one.name, other.name),
                f"{one.name} and {other.name} are mobility peers and share no night.",
            )
            for one, other in combinations(self.upgrades, 2)
            if one.pair != other.pair and (other.pair in one.peers or one.pair in other.peers)
        ]

    def _orders(self) -> list[Constraint]:
        return [
            Constraint(Kind.ORDER, (before, upgrade.name), f"{before} comes on an earlier night than {upgrade.name}.")
            for upgrade in self.upgrades
            for before in upgrade.after
        ]

    def _blocked(self) -> list[Constraint]:
        if all(upgrade.blocked for upgrade in self.upgrades):
            return []
        return [
            Constraint(
                Kind.BLOCKED_LAST, (upgrade.name,), f"{upgrade.name} is blocked, so no pair that isn't comes after it."
            )
            for upgrade in self.upgrades
            if upgrade.blocked
        ]


def work(upgrades: Sequence[Upgrade], staffed: Sequence[StaffedWindow]) -> Work:
    """The campaign's work. ValueError, with what is wrong, where it makes no sense."""
    _once("upgrade", [upgrade.name for upgrade in upgrades])
    _once("window", [window.id for window in staffed])
    names = {upgrade.name for upgrade in upgrades}
    for upgrade in upgrades:
        for before in upgrade.after:
            if before not in names:
                raise ValueError(f"{upgrade.name} comes after {before}, which the campaign doesn't have")
    for window in staffed:
        _check(window)
    return Work(tuple(upgrades), tuple(sorted(staffed, key=lambda window: (window.start, window.id))))


def _once(what: str, names: Sequence[str]) -> None:
    for name, times in Counter(names).items():
        if times > 1:
            raise ValueError(f"the {what} {name} is given {times} times")


def _check(window: StaffedWindow) -> None:
    if window.start.utcoffset() is None or window.end.utcoffset() is None:
        raise ValueError(f"the window {window.id} doesn't say its offset from UTC")
    if window.lasts <= timedelta(0):
        raise ValueError(f"the window {window.id} ends before it begins")
    if window.people < 0:
        raise ValueError(f"the window {window.id} has fewer than no people on shift")


def _length(upgrade: Upgrade, fitting: Sequence[str]) -> str:
    minutes = f"{upgrade.name} takes {upgrade.lasts / timedelta(minutes=1):g} minutes"
    if upgrade.shift is not None:
        minutes += f" and is the work of the shift {upgrade.shift}"
        if not fitting:
            return f"{minutes}: no window is long enough and has that shift's people."
        return f"{minutes}: only {_listed(fitting)} {'is' if len(fitting) == 1 else 'are'} long enough and theirs."
    if not fitting:
        return f"{minutes}, longer than every window."
    return f"{minutes}, for which only {_listed(fitting)} {'is' if len(fitting) == 1 else 'are'} long enough."


def _at(names: Sequence[str], site: str) -> str:
    return f"{_listed(names)} are {'both' if len(names) == 2 else 'all'} at {site}"


def _people(number: int) -> str:
    return {0: "Nobody is", 1: "One person is"}.get(number, f"{number} people are")


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
