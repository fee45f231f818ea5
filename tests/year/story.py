"""What happens to eight pairs in a year of nights, and what a tool that watches them must make of it.

Everything here is written down beforehand, from the stories and by nothing that the tests look at. What moves by itself
(flash, clocks, counters) comes from a seed; where a truth hangs on such a figure, it is reckoned from the figure here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from enum import Enum
from itertools import pairwise
from random import Random
from zoneinfo import ZoneInfo

from collector.finding import Verdict
from collector.nights.change import Kind
from collector.nights.night import Source
from inventory.waivers import Waiver
from tests.fleet.description import Core, File, Package, PairDescription, Switchover
from tests.fleet.making import access_point_rows, healthy_pair

START, NIGHTS = date(2026, 3, 1), 365
ZONE = ZoneInfo("Europe/Amsterdam")
MEGABYTE = 1_000_000
_DAY = timedelta(days=1)
# A flash counts in blocks.
_BLOCK = 4096
_IMAGE = 1_250 * MEGABYTE
# Three images less the one that is staged, by the demo's policy.
NEEDED = 2 * _IMAGE

Edit = Callable[[PairDescription], PairDescription]


def at(night: date, hours: int, minutes: int, seconds: int = 0) -> datetime:
    """A time of day on the wall clock where the pairs are."""
    return datetime.combine(night, time(hours, minutes, seconds), ZONE)


def nights(first: date, until: date | None = None) -> Iterator[date]:
    """The nights from the first one to before the other, or to the year's last."""
    end = until or START + NIGHTS * _DAY
    while first < end:
        yield first
        first += _DAY


class Region(Enum):
    """A collector of its own, behind its own management network: the southern one sweeps after midnight."""

    NORTH = "north"
    SOUTH = "south"

    def begins(self, night: date) -> datetime:
        """When it begins to sweep."""
        return at(night, 22, 0) if self is Region.NORTH else at(night + _DAY, 0, 30)


@dataclass(frozen=True)
class Chapter:
    """What is otherwise with a pair from a night on, to before another one or to the end."""

    first: date
    until: date | None
    edit: Edit

    def holds(self, night: date) -> bool:
        """Whether the night belongs to it."""
        return self.first <= night and (self.until is None or night < self.until)


@dataclass(frozen=True)
class Boot:
    """A member's start; `member` is its place in the inventory."""

    member: int
    moment: datetime
    reason: str


@dataclass(frozen=True)
class Moved:
    """A change that must be told, and on which night.

    `before` and `after` where the words are beyond doubt: of a finding its status, whatever else is said of it.
    """

    night: date
    kind: Kind
    subject: str = ""
    before: str | None = None
    after: str | None = None
    gained: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()


@dataclass(frozen=True)
class Spell:
    """Nights in a row, from the first to before another one."""

    first: date
    until: date

    def holds(self, night: date) -> bool:
        """Whether the night is one of them."""
        return self.first <= night < self.until


@dataclass(frozen=True)
class Crossing:
    """What must be foretold on a night: the date at which a member's flash no longer holds the images."""

    night: date
    member: str
    crossing: date
    days: int
    """How far off the foretold date may be."""


@dataclass(frozen=True)
class Truth:
    """What must come out of a pair's year.

    `not_go` says of every night that isn't go what it is. On the nights of `caution` the pair must show that it is
    forecast to be no-go on its window's date, on those of `may_caution` it may, on all others it must not.
    `crossings` are forecasts that must come, `level` members (and from when) of which nothing may be foretold.
    """

    moved: tuple[Moved, ...]
    not_go: Mapping[date, Verdict] = field(default_factory=dict)
    caution: tuple[Spell, ...] = ()
    may_caution: tuple[Spell, ...] = ()
    crossings: tuple[Crossing, ...] = ()
    level: Mapping[str, date] = field(default_factory=dict)


@dataclass(frozen=True)
class Story:
    """A pair's year; `free` is each member's free flash in bytes, by the number of the night.

    It is in the inventory from its `first` night to before `until`.
    """

    base: PairDescription
    region: Region
    free: tuple[tuple[int, int], ...]
    truth: Truth
    chapters: tuple[Chapter, ...] = ()
    boots: tuple[Boot, ...] = ()
    first: date = START
    until: date | None = None

    @property
    def name(self) -> str:
        """The pair's."""
        return self.base.name

    @property
    def asked(self) -> tuple[date, ...]:
        """The nights on which somebody came to ask it, answered or not."""
        return _asked(self.region, self.first, self.until)

    def on(self, night: date) -> PairDescription:
        """What the pair is like on a night, but for what moves by itself."""
        first, second = self.base.members
        free = self.free[(night - START).days]
        members = (replace(first, flash_free=free[0]), replace(second, flash_free=free[1]))
        described = replace(self.base, members=members)
        for chapter in self.chapters:
            described = chapter.edit(described) if chapter.holds(night) else described
        return described

    def boot(self, member: int, moment: datetime) -> Boot:
        """The member's latest start before a moment."""
        return max(
            (boot for boot in (*_FIRST_BOOTS, *self.boots) if boot.member == member and boot.moment < moment),
            key=lambda boot: boot.moment,
        )


@dataclass(frozen=True)
class Asking:
    """One sweep or check: who asks, when, and whom, in this order.

    Of `unasked` the deadline left nothing. `finished` is False where it was killed after its last pair. `planned` is
    False where it asked about another release. `in_change`: somebody is at work on the pairs' configuration.
    """

    source: Source
    region: Region
    started: datetime
    pairs: tuple[str, ...]
    whole: bool = True
    finished: bool = True
    planned: bool = True
    unasked: frozenset[str] = frozenset()
    in_change: bool = False


@dataclass(frozen=True)
class Year:
    """All stories, and the waivers that the site has written."""

    seed: int
    stories: tuple[Story, ...]
    waivers: tuple[Waiver, ...]

    def story(self, pair: str) -> Story:
        """The pair's."""
        return next(story for story in self.stories if story.name == pair)

    def askings(self, night: date) -> tuple[Asking, ...]:
        """What was asked that night, in the order of time."""
        found = [self._sweep(region, night) for region in Region if night not in MISSED[region]]
        for asking in _EXTRAS.get(night, ()):
            found.append(asking)
        if night == KILLED:
            # Somebody saw it and began anew: what the first one stored stays, and the later word counts.
            again = replace(found[0], started=at(night, 23, 10))
            found = [replace(found[0], pairs=found[0].pairs[:2], finished=False), again, *found[1:]]
        return tuple(sorted(found, key=lambda asking: asking.started))

    def _sweep(self, region: Region, night: date) -> Asking:
        there = (story for story in self.stories if story.region is region)
        pairs = tuple(story.name for story in there if story.first <= night < (story.until or date.max))
        late = frozenset(pair for pair in pairs if (pair, night) in NOT_IN_TIME)
        return Asking(Source.SWEEP, region, region.begins(night), pairs, unasked=late)


# Nights on which a collector didn't run.
_BOTH = (date(2026, 6, 9), date(2026, 6, 10))
MISSED: Mapping[Region, tuple[date, ...]] = {Region.NORTH: _BOTH, Region.SOUTH: (*_BOTH, date(2026, 11, 20))}
NOT_IN_TIME = frozenset({("lockgate", date(2026, 12, 1))})
# The night on which the northern sweep was killed after two pairs, and begun anew.
KILLED = date(2026, 8, 8)

_FIRST_BOOTS = tuple(Boot(member, at(date(2026, 1, 10), 2, 10 + 7 * member), "Reload Command") for member in (0, 1))
# Three checks of one pair: about another release, which makes no night; before the sweep, whose later word counts; and
# after the sweep, which is the night's last word.
_OTHER_RELEASE, _BEFORE_SWEEP, AFTER_SWEEP = date(2026, 5, 4), date(2026, 5, 6), date(2026, 5, 7)
_CHECK = Asking(Source.CHECK, Region.NORTH, at(_OTHER_RELEASE, 23, 30), ("saltpan",), whole=False)
_EXTRAS: Mapping[date, tuple[Asking, ...]] = {
    _OTHER_RELEASE: (replace(_CHECK, planned=False),),
    _BEFORE_SWEEP: (replace(_CHECK, started=at(_BEFORE_SWEEP, 14, 20), in_change=True),),
    AFTER_SWEEP: (replace(_CHECK, started=at(AFTER_SWEEP, 23, 40), in_change=True),),
}

MISMATCHED = (
    "00:06:31: Config Sync: Starting lines from MCL file:",
    "interface TenGigabitEthernet0/0/5",
    '! <submode> "interface"',
    "- channel-group 7 mode active",
    '! </submode> "interface"',
)


def year(seed: int = 1) -> Year:
    """The year; the same seed gives the same figures."""
    made = (_foreshore, _millrace, _headland, _sluice, _saltpan, _backwater, _towpath, _lockgate)
    stories = tuple(make(Random(f"{seed} {make.__name__}")) for make in made)
    return Year(seed, stories, (_WAIVER,))


def standing_pair(name: str, site: str, number: int, **values: object) -> PairDescription:
    """A healthy pair whose files, configuration and certificate are older than the year."""
    described = healthy_pair(
        name,
        site,
        number,
        certificate=(at(date(2023, 9, 1), 10, 15), at(date(2033, 9, 1), 10, 15)),
        zone="Europe/Amsterdam",
        **values,  # type: ignore[arg-type]
    )
    first, second = (replace(member, files=tuple(_old(file) for file in member.files)) for member in described.members)
    return replace(described, members=(first, second))


def _old(file: File) -> File:
    return replace(file, dated="Jan 9 2026 15:12:40 +00:00")


def about(lot: Random, middle: float, spread: float) -> int:
    """Free flash within a spread of a middle, both in MB; in bytes."""
    return int((middle + lot.uniform(-spread, spread)) * MEGABYTE) // _BLOCK * _BLOCK


def _number(night: date) -> int:
    return (night - START).days


# foreshore: the standby's flash fills up, and nobody looks.

_CLEANED = date(2027, 1, 9)
_FORESHORE_WINDOW = date(2027, 1, 25)
_A_NIGHT, _FULL_AT = 25, 292
FULL = START + _FULL_AT * _DAY


def _foreshore(lot: Random) -> Story:
    free = []
    for night in nights(START):
        n = _number(night)
        left = NEEDED / MEGABYTE + (_FULL_AT - n) * _A_NIGHT
        if night >= _CLEANED:
            left = 11_000 - (n - _number(_CLEANED)) * _A_NIGHT
        free.append((about(lot, 14_000, 150), about(lot, left, 40)))
    full = {night for night in nights(START) if free[_number(night)][1] < NEEDED}
    return Story(
        standing_pair(
            "foreshore",
            "Foreshore Terminal",
            0,
            access_points=access_point_rows("fore", ("Slipway", "Hall"), 12, 0),
            window=at(_FORESHORE_WINDOW, 23, 0).isoformat(),
        ),
        Region.NORTH,
        tuple(free),
        Truth(
            tuple(_flips("flash-space", full, _asked(Region.NORTH))),
            dict.fromkeys(full, Verdict.NO_GO),
            # From sixty nights on the slope is good to a tenth, and the flash is full five weeks before the window.
            caution=(Spell(date(2026, 5, 1), min(full)),),
            # What the nights of the clean-up are to be taken for is open for three weeks, and between two nights on
            # which it is full by a hair the pair is go and still forecast not to be.
            may_caution=(Spell(START, date(2026, 5, 1)), Spell(min(full), _FORESHORE_WINDOW + _DAY)),
            crossings=(
                Crossing(date(2026, 6, 30), "foreshore-b", FULL, 15),
                Crossing(date(2026, 9, 30), "foreshore-b", FULL, 8),
                Crossing(date(2026, 12, 1), "foreshore-b", FULL, 4),
            ),
            level={"foreshore-a": date(2026, 4, 1)},
        ),
    )


def _asked(region: Region, first: date = START, until: date | None = None) -> tuple[date, ...]:
    return tuple(night for night in nights(first, until) if night not in MISSED[region])


def _flips(rule: str, blocked: set[date], asked: tuple[date, ...]) -> Iterator[Moved]:
    """A rule that blocks on these nights and passes on the others, and the verdict with it."""
    for last, night in pairwise(asked):
        if (last in blocked) != (night in blocked):
            before, after = ("block", "pass") if last in blocked else ("pass", "block")
            yield Moved(night, Kind.FINDING, rule, before, after)
            yield Moved(night, Kind.VERDICT, "", *(("no-go", "go") if last in blocked else ("go", "no-go")))


# millrace: a log grows and is rotated every week, an old image lies about for a month; nothing is amiss all year.


def _millrace(lot: Random) -> Story:
    copied, removed = date(2026, 7, 29), date(2026, 8, 29)
    free = []
    for night in nights(START):
        step = 1_240 if copied <= night < removed else 0
        free.append((about(lot, 12_000 - step - 110 * (_number(night) % 7), 15), about(lot, 15_000 - step, 40)))
    month = START + 30 * _DAY
    return Story(
        standing_pair(
            "millrace",
            "Millrace Yard",
            1,
            model="WX-VC",
            access_points=access_point_rows("mill", ("Weir", "Wheel House"), 9, 1, spaced=True),
            window=at(date(2026, 10, 14), 23, 0).isoformat(),
        ),
        Region.NORTH,
        tuple(free),
        Truth(
            (),
            # A week of a growing log looks like a decline, until the rotation has been seen a few times.
            may_caution=(Spell(START, month),),
            level={"millrace-a": month, "millrace-b": month},
        ),
    )


# headland: the certificate that access points join with ends in December, and is renewed six days before.


def _headland(lot: Random) -> Story:
    joined, window = date(2026, 6, 12), date(2026, 7, 10)
    end, renewed = at(date(2026, 12, 15), 10, 15), date(2026, 12, 9)
    # Where no window is to come, the policy wants thirty days from tonight: at ten at night that is one day sooner.
    blocked = set(nights(date(2026, 11, 15), renewed))
    certificate = (at(date(2023, 12, 16), 10, 15), end)
    new = (at(date(2026, 12, 9), 11, 2), at(date(2029, 12, 8), 11, 2))
    return Story(
        standing_pair(
            "headland",
            "Headland Light",
            2,
            access_points=access_point_rows("head", ("Lamp Room", "Stairs"), 7, 2),
            window=at(window, 23, 0).isoformat(),
        ),
        Region.NORTH,
        tuple((about(lot, 18_000, 90), about(lot, 18_500, 90)) for _ in nights(START)),
        Truth(
            (
                *_flips("certificates", blocked, _asked(Region.NORTH, joined)),
                Moved(renewed, Kind.CERTIFICATE),
            ),
            dict.fromkeys(blocked, Verdict.NO_GO),
            level={"headland-a": date(2026, 8, 1), "headland-b": date(2026, 8, 1)},
        ),
        (
            Chapter(START, renewed, lambda pair: replace(pair, certificate=certificate)),
            Chapter(renewed, None, lambda pair: replace(pair, certificate=new)),
        ),
        first=joined,
    )


# sluice: upgraded in its window in August, and planned for the next release after that.

_TO = "17.12.4"
_OLD_IMAGE = Package("IMG", "C", "17.09.04a.0.6")
_NEXT = File("wx-universal.17.12.05.bin", 1_262 * MEGABYTE)


def _sluice(lot: Random) -> Story:
    copied, staged, added = date(2026, 8, 5), date(2026, 8, 9), date(2026, 8, 11)
    window, upgraded, committed = date(2026, 8, 12), date(2026, 8, 13), date(2026, 8, 14)
    planned_anew = date(2026, 8, 20)
    free = []
    for night in nights(START):
        taken = (_IMAGE // MEGABYTE if night >= copied else 0) + (1_030 if night >= added else 0)
        free.append((about(lot, 19_400 - taken, 60), about(lot, 19_400 - taken, 60)))
    switched = Switchover(1, 2, "user_forced", at(upgraded, 0, 41))
    return Story(
        standing_pair(
            "sluice",
            "Sluice Gate Depot",
            3,
            staged=False,
            access_points=access_point_rows("sluice", ("Gate", "Keeper"), 10, 3, staging="None"),
            window=at(window, 23, 0).isoformat(),
        ),
        Region.NORTH,
        tuple(free),
        Truth(
            (
                Moved(copied, Kind.FINDING, "image-staged", "caution", "pass"),
                Moved(staged, Kind.FINDING, "ap-staging", "caution", "pass"),
                Moved(added, Kind.FINDING, "install-state", "pass", "block"),
                Moved(added, Kind.VERDICT, "", "go", "no-go"),
                Moved(added, Kind.INSTALL_STATE, after="IMG I 17.12.04.0.4321"),
                Moved(upgraded, Kind.FINDING, "upgrade-path", "pass", "caution"),
                # What holds of both members alike is told of the pair.
                Moved(upgraded, Kind.RELEASE, "", "17.9.4a", _TO),
                Moved(upgraded, Kind.INSTALL_STATE, after="IMG U 17.12.04.0.4321"),
                Moved(upgraded, Kind.ROM_MONITOR, "", "17.12.1r", "17.12.3r"),
                Moved(upgraded, Kind.ROLE, "", "sluice-a active", "sluice-b active"),
                Moved(committed, Kind.FINDING, "install-state", "block", "pass"),
                Moved(committed, Kind.VERDICT, "", "no-go", "go"),
                Moved(committed, Kind.INSTALL_STATE, "", "IMG U 17.12.04.0.4321", "IMG C 17.12.04.0.4321"),
                Moved(planned_anew, Kind.TARGET, "", _TO, "17.12.5"),
                Moved(planned_anew, Kind.FINDING, "release-support", "pass", "caution"),
                Moved(planned_anew, Kind.FINDING, "upgrade-path", "caution", "pass"),
                Moved(planned_anew, Kind.FINDING, "image-staged", "not-applicable", "caution"),
                Moved(planned_anew, Kind.FINDING, "ap-staging", "pass", "caution"),
            ),
            dict.fromkeys(nights(added, committed), Verdict.NO_GO),
            # A week of steps down looks like a decline.
            may_caution=(Spell(copied, committed),),
        ),
        (
            Chapter(copied, None, _with_file(File("wx-universal.17.12.04.bin", _IMAGE))),
            Chapter(staged, planned_anew, _staging("Complete")),
            Chapter(added, upgraded, _installed(_OLD_IMAGE, Package("IMG", "I", "17.12.04.0.4321"))),
            Chapter(upgraded, None, lambda pair: _upgraded(pair, switched)),
            Chapter(upgraded, committed, _installed(Package("IMG", "U", "17.12.04.0.4321"))),
            Chapter(committed, None, _installed(Package("IMG", "C", "17.12.04.0.4321"))),
            Chapter(planned_anew, None, _planned_anew),
        ),
        (
            Boot(1, at(upgraded, 0, 12), "Image Install"),
            Boot(0, at(upgraded, 0, 44), "Image Install"),
        ),
        first=date(2026, 6, 20),
    )


def _members(**values: object) -> Edit:
    def edit(pair: PairDescription) -> PairDescription:
        first, second = (replace(member, **values) for member in pair.members)  # type: ignore[arg-type]
        return replace(pair, members=(first, second))

    return edit


def _with_file(file: File) -> Edit:
    def edit(pair: PairDescription) -> PairDescription:
        return _members(files=(*pair.members[0].files, file))(pair)

    return edit


def _staging(status: str) -> Edit:
    return lambda pair: replace(pair, access_points=tuple(replace(ap, staging=status) for ap in pair.access_points))


def _installed(*packages: Package) -> Edit:
    return _members(packages=packages)


def _upgraded(pair: PairDescription, switched: Switchover) -> PairDescription:
    pair = _members(release=_TO, build="0.4321", rom_monitor="17.12.3r")(pair)
    return _switched(pair, (switched,), "user forced")


def _switched(pair: PairDescription, history: tuple[Switchover, ...], reason: str) -> PairDescription:
    """With these switchovers behind it, counted since the controllers came up."""
    return replace(
        pair,
        active=history[-1].after - 1,
        history=history,
        switchovers=len(history),
        last_switchover_reason=reason,
    )


def _planned_anew(pair: PairDescription) -> PairDescription:
    return replace(
        _staging("None")(pair),
        target_release="17.12.5",
        image_file=_NEXT.name,
        image_bytes=_NEXT.bytes,
        window=at(date(2027, 3, 9), 23, 0).isoformat(),
    )


# saltpan: quiet, but for two spells of lines that didn't synchronise, a core file, and people at work.


def _saltpan(lot: Random) -> Story:
    spring, winter = date(2026, 4, 20), date(2026, 12, 29)
    crashed, taken_out = date(2026, 8, 2), date(2026, 8, 15)
    blocked = {*nights(spring, spring + 4 * _DAY), AFTER_SWEEP, *nights(winter, date(2027, 1, 3))}
    core = Core("saltpan-b_2_RP_0_wncd_20311.core.gz", 41_203_871, "Aug 2 2026 02:14:22 +00:00")
    return Story(
        standing_pair(
            "saltpan",
            "Saltpan Sheds",
            4,
            access_points=access_point_rows("salt", ("Shed", "Dyke", "Pump"), 15, 4),
            window=at(date(2027, 2, 17), 23, 0).isoformat(),
        ),
        Region.NORTH,
        tuple((about(lot, 17_000, 120), about(lot, 17_200, 120)) for _ in nights(START)),
        Truth(
            (
                *_flips("config-sync", blocked, _asked(Region.NORTH)),
                Moved(crashed, Kind.FINDING, "crash-files", "pass", "caution"),
                Moved(taken_out, Kind.FINDING, "crash-files", "caution", "pass"),
            ),
            dict.fromkeys(blocked, Verdict.NO_GO),
            level={"saltpan-a": date(2026, 4, 1), "saltpan-b": date(2026, 4, 1)},
        ),
        (
            Chapter(spring, spring + 4 * _DAY, in_change),
            Chapter(winter, date(2027, 1, 3), lambda pair: replace(pair, best_effort=("- snmp-server location Dyke",))),
            Chapter(crashed, taken_out, lambda pair: _one(pair, 1, cores=(core,))),
        ),
    )


def in_change(pair: PairDescription) -> PairDescription:
    """The pair with lines that haven't synchronised."""
    return replace(pair, mismatched=MISMATCHED)


def _one(pair: PairDescription, place: int, **values: object) -> PairDescription:
    members = list(pair.members)
    members[place] = replace(members[place], **values)  # type: ignore[arg-type]
    return replace(pair, members=(members[0], members[1]))


# backwater: a line that somebody told the controller to ignore; its waiver ends three weeks before the window.

_WAIVED_UNTIL = date(2026, 9, 30)
# The first night on which the pair is in no inventory any more.
GONE = date(2026, 12, 1)
_WAIVER = Waiver(
    "backwater", "config-sync", "the night shift's lead", "Only the SNMP location; it goes in autumn.", _WAIVED_UNTIL
)


def _backwater(lot: Random) -> Story:
    ignored, mended, window = date(2026, 4, 10), date(2026, 10, 9), date(2026, 10, 20)
    # The southern sweep of that evening asks half an hour into the first of October.
    blocked = set(nights(_WAIVED_UNTIL, mended))
    return Story(
        standing_pair(
            "backwater",
            "Backwater Quay",
            5,
            model="WX-VC",
            access_points=access_point_rows("back", ("Quay", "Office"), 8, 5),
            window=at(window, 23, 0).isoformat(),
        ),
        Region.SOUTH,
        tuple((about(lot, 16_000, 70), about(lot, 16_100, 70)) for _ in nights(START)),
        Truth(
            (
                Moved(ignored, Kind.FINDING, "config-sync", "pass", "block"),
                # Still a block, but nobody accepts it any more.
                Moved(_WAIVED_UNTIL, Kind.FINDING, "config-sync", "block", "block"),
                Moved(_WAIVED_UNTIL, Kind.VERDICT, "", "go", "no-go"),
                Moved(mended, Kind.FINDING, "config-sync", "block", "pass"),
                Moved(mended, Kind.VERDICT, "", "no-go", "go"),
            ),
            dict.fromkeys(blocked, Verdict.NO_GO),
            caution=(Spell(ignored, _WAIVED_UNTIL),),
            level={"backwater-a": date(2026, 4, 1), "backwater-b": date(2026, 4, 1)},
        ),
        (Chapter(ignored, mended, lambda pair: replace(pair, ignored=("- snmp-server location Backwater Quay",))),),
        first=date(2026, 3, 20),
        until=GONE,
    )


# towpath: fails over by itself twice; access points come, go and are renamed.


def _towpath(lot: Random) -> Story:
    first, second = date(2026, 5, 17), date(2026, 11, 2)
    fell, returned = at(first, 4, 12), at(second, 3, 20)
    new, seen = date(2026, 6, 9), date(2026, 6, 11)
    away, forgotten, renamed = date(2026, 9, 3), date(2026, 9, 10), date(2026, 9, 20)
    rows = access_point_rows("tow", ("Lock", "Bridge", "Inn"), 20, 6)
    more = access_point_rows("tow-new", ("Basin",), 22, 6)[20:]
    lost, old = rows[3], rows[7]
    name = "tow-bridge-08-west"
    there = Switchover(1, 2, "active_unit_failed", fell)
    back = Switchover(2, 1, "active_unit_failed", returned)

    def without(*names: str) -> Edit:
        return lambda pair: replace(pair, access_points=tuple(ap for ap in pair.access_points if ap.name not in names))

    def failed(pair: PairDescription) -> PairDescription:
        gone = replace(lost, failure=("Join", "Heartbeat timer expiry"))
        return replace(pair, access_points=tuple(gone if ap == lost else ap for ap in pair.access_points))

    def with_new_name(pair: PairDescription) -> PairDescription:
        named = tuple(replace(ap, name=name) if ap.name == old.name else ap for ap in pair.access_points)
        return replace(pair, access_points=named)

    return Story(
        standing_pair(
            "towpath",
            "Towpath Inn",
            6,
            model="WX-9880",
            access_points=rows,
            window=at(date(2026, 12, 2), 23, 0).isoformat(),
        ),
        Region.SOUTH,
        tuple((about(lot, 20_000, 110), about(lot, 20_000, 110)) for _ in nights(START)),
        Truth(
            (
                Moved(first, Kind.ROLE, "", "towpath-a active", "towpath-b active"),
                Moved(first, Kind.FINDING, "recent-switchover", "pass", "caution"),
                # Asked at half past midnight: on the fourteenth night it is thirteen days and twenty hours ago.
                Moved(date(2026, 5, 31), Kind.FINDING, "recent-switchover", "caution", "pass"),
                # They came on an evening that nobody swept.
                Moved(seen, Kind.ACCESS_POINTS, gained=tuple(sorted(ap.name for ap in more))),
                Moved(away, Kind.ACCESS_POINTS, lost=(lost.name,)),
                Moved(away, Kind.FINDING, "ap-joined", "pass", "caution"),
                Moved(forgotten, Kind.FINDING, "ap-joined", "caution", "pass"),
                Moved(renamed, Kind.ACCESS_POINTS, gained=(name,), lost=(old.name,)),
                Moved(second, Kind.ROLE, "", "towpath-b active", "towpath-a active"),
                Moved(second, Kind.FINDING, "recent-switchover", "pass", "caution"),
                Moved(date(2026, 11, 16), Kind.FINDING, "recent-switchover", "caution", "pass"),
            ),
            level={"towpath-a": date(2026, 4, 1), "towpath-b": date(2026, 4, 1)},
        ),
        (
            Chapter(first, second, lambda pair: _switched(pair, (there,), "active unit failed")),
            Chapter(second, None, lambda pair: _switched(pair, (there, back), "active unit failed")),
            Chapter(new, None, lambda pair: replace(pair, access_points=(*pair.access_points, *more))),
            Chapter(away, forgotten, failed),
            Chapter(forgotten, None, without(lost.name)),
            Chapter(renamed, None, with_new_name),
        ),
        (
            Boot(0, at(first, 4, 19), "Critical process fault"),
            Boot(1, at(second, 3, 27), "Critical process fault"),
        ),
    )


# lockgate: the link between the two is cut for three nights; twice nobody answers, and once the deadline comes first.

_CUT = Spell(date(2026, 7, 20), date(2026, 7, 23))
_SILENT = Spell(date(2026, 10, 3), date(2026, 10, 5))
_LATE = date(2026, 12, 1)
# What only the standby could tell while the link is cut and it doesn't answer.
_ONLY_ITS_OWN = [
    "hardware-support",
    "release-support",
    "upgrade-path",
    "install-mode",
    "boot-variable",
    "flash-space",
    "pair-interface",
    "install-state",
    "one-active",
    "mutual-view",
    "image-staged",
    "headroom",
    "clock",
    "certificates",
    "crash-files",
    "evidence-age",
]
# What one session tells of both.
_OF_BOTH = ["upgrade-activity", "config-sync", "ap-joined", "ap-support", "ap-staging", "saved-configuration"]


def _lockgate(lot: Random) -> Story:
    def cut(pair: PairDescription) -> PairDescription:
        alone = replace(pair, peer_lost=True, operating_mode="Non-redundant")
        return _one(alone, 1, reachable=False)

    return Story(
        standing_pair(
            "lockgate",
            "Lock Gate Cottage",
            7,
            model="WX-VC",
            access_points=access_point_rows("lock", ("Upper Gate", "Lower Gate"), 8, 7),
            window=at(date(2027, 1, 12), 23, 0).isoformat(),
        ),
        Region.SOUTH,
        tuple((about(lot, 15_500, 80), about(lot, 15_600, 80)) for _ in nights(START)),
        Truth(
            (*_cut(), *_silent(), Moved(date(2026, 8, 3), Kind.FINDING, "recent-switchover", "caution", "pass")),
            {
                **dict.fromkeys(nights(_CUT.first, _CUT.until), Verdict.NO_GO),
                **dict.fromkeys((*nights(_SILENT.first, _SILENT.until), _LATE), Verdict.UNDECIDED),
            },
            level={"lockgate-a": date(2026, 8, 1), "lockgate-b": date(2026, 8, 1)},
        ),
        (
            Chapter(_CUT.first, _CUT.until, cut),
            Chapter(_CUT.first, None, lambda pair: replace(pair, standby_failures=1)),
            Chapter(_SILENT.first, _SILENT.until, _members(reachable=False)),
        ),
        (Boot(1, at(_CUT.first, 5, 10), "lost communication with active"),),
        first=date(2026, 6, 15),
    )


def _cut() -> Iterator[Moved]:
    """The link goes, and comes back; the standby came up anew meanwhile, which is no good sign for two weeks."""
    for first, before, after in ((_CUT.first, "answers", "no answer"), (_CUT.until, "no answer", "answers")):
        yield Moved(first, Kind.REACHED, "lockgate-b", before, after)
        yield Moved(first, Kind.NEIGHBOURS, "lockgate-a")
    yield from _found(_CUT, _ONLY_ITS_OWN, "unknown")
    yield from _found(_CUT, ("pair-state", "pair-link"), "block")
    yield from _found(_CUT, ("rom-monitor",), "unknown", well="not-applicable")
    yield Moved(_CUT.first, Kind.FINDING, "recent-switchover", "pass", "unknown")
    yield Moved(_CUT.until, Kind.FINDING, "recent-switchover", "unknown", "caution")
    yield Moved(_CUT.first, Kind.VERDICT, "", "go", "no-go")
    yield Moved(_CUT.until, Kind.VERDICT, "", "no-go", "go")


def _silent() -> Iterator[Moved]:
    """Nobody answers, and then both do, as if nothing had been."""
    yield Moved(_SILENT.first, Kind.REACHED, "", "answers", "no answer")
    yield Moved(_SILENT.until, Kind.REACHED, "", "no answer", "answers")
    nobody_tells = (*_ONLY_ITS_OWN, *_OF_BOTH, "pair-state", "pair-link", "recent-switchover")
    yield from _found(_SILENT, nobody_tells, "unknown")
    yield from _found(_SILENT, ("rom-monitor",), "unknown", well="not-applicable")
    yield Moved(_SILENT.first, Kind.VERDICT, "", "go", "undecided")
    yield Moved(_SILENT.until, Kind.VERDICT, "", "undecided", "go")


def _found(spell: Spell, rules: Iterable[str], status: str, *, well: str = "pass") -> Iterator[Moved]:
    for rule in rules:
        yield Moved(spell.first, Kind.FINDING, rule, well, status)
        yield Moved(spell.until, Kind.FINDING, rule, status, well)
