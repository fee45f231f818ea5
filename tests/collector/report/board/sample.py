"""A store in memory with the nights of the report's sample fleet, for the tests of the board."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Any, cast

from collector.finding import Status, Verdict
from collector.nights.night import CertificateEnd, MemberState, Night, PairState, Room, RuleState, Source
from collector.nights.swept import Swept
from collector.report import document
from collector.result import PairResult
from collector.store.store import Store
from tests.collector.report.sample import HOSTILE, RESULT, WAIVER

LAST = date(2027, 2, 6)
MADE = datetime(2027, 2, 7, 7, 30, tzinfo=UTC)
NEEDED = 3_750_000_000


@dataclass
class MemoryStore:
    """What the board reads of a store, kept in dictionaries."""

    kept: dict[str, list[Night]] = field(default_factory=dict)
    states: list[PairState] = field(default_factory=list)
    sets: list[tuple[str, ...]] = field(default_factory=list)
    reports: dict[int, Mapping[str, Any]] = field(default_factory=dict)
    whole: set[date] = field(default_factory=set)
    elsewhere: set[str] = field(default_factory=set)
    whole_elsewhere: set[date] = field(default_factory=set)

    def add(
        self,
        result: PairResult,
        night: date,
        *,
        whole: bool = True,
        in_time: bool = True,
        rooms: Sequence[Room] = (),
        aps: tuple[str, ...] | None = None,
        members: Mapping[str, MemberState] | None = None,
        report: bool = True,
        dated: bool = True,
    ) -> Night:
        """Store a pair's last word of a night."""
        number = sum(map(len, self.kept.values())) + 1
        moment = datetime.combine(night, time(21), UTC)
        own = Night(
            id=number,
            pair=result.pair.name,
            site=result.pair.site,
            night=night,
            source=Source.SWEEP,
            asked=moment if in_time and dated else None,
            judged=moment + timedelta(minutes=1),
            verdict=result.verdict,
            target_release=result.target_release,
            in_time=in_time,
            state=self._number(self.states, state_of(result, members)),
            aps=None if aps is None else self._number(self.sets, aps),
            rooms=tuple(rooms),
        )
        self.kept.setdefault(result.pair.name, []).append(own)
        if report:
            self.reports[number] = document.document(replace(RESULT, pairs=(result,)))["pairs"][0]
        if whole:
            (self.whole_elsewhere if result.pair.name in self.elsewhere else self.whole).add(night)
        return own

    def pairs(self) -> tuple[str, ...]:
        return tuple(sorted(self.kept))

    def nights(self, pair: str, *, since: date | None = None, until: date | None = None) -> tuple[Night, ...]:
        return tuple(each for each in self.kept.get(pair, ()) if since is None or each.night >= since)

    def swept(self) -> Swept:
        """Everything is one collector's, but for the pairs of `elsewhere`, which another one sweeps on its nights."""
        north, south = ("north", "/etc/readypair"), ("south", "/etc/readypair")
        fleets = {name: frozenset({south if name in self.elsewhere else north}) for name in self.kept}
        return Swept({north: tuple(sorted(self.whole)), south: tuple(sorted(self.whole_elsewhere))}, fleets)

    def state(self, number: int) -> PairState:
        return self.states[number]

    def ap_set(self, number: int) -> tuple[str, ...]:
        return self.sets[number]

    def report(self, judgement: int) -> Mapping[str, Any] | None:
        return self.reports.get(judgement)

    @property
    def store(self) -> Store:
        """Itself, as the board knows it."""
        return cast(Store, self)

    @staticmethod
    def _number(kept: list[Any], value: Any) -> int:
        if value not in kept:
            kept.append(value)
        return kept.index(value)


def state_of(result: PairResult, members: Mapping[str, MemberState] | None = None) -> PairState:
    """What is kept for good of a judged pair."""
    kept = {each.rule: RuleState(each.status, each.decides, each.waiver is not None) for each in result.findings}
    known = members or {
        each.name: MemberState(each.reached, role=each.role, release=each.release) for each in result.members
    }
    return PairState(result.verdict, result.target_release, kept, known)


def named(result: PairResult, name: str, site: str | None = None) -> PairResult:
    """The same pair under another name."""
    return replace(result, pair=replace(result.pair, name=name, site=site or result.pair.site))


def rooms(name: str, first: int, second: int) -> tuple[Room, ...]:
    """Both members' flash, in bytes free."""
    total = 26_458_804_224
    return Room(f"{name}-a", first, total, NEEDED), Room(f"{name}-b", second, total, NEEDED)


def nights(number: int, last: date = LAST) -> Iterable[date]:
    """So many nights up to the last one."""
    return (last - timedelta(days=back) for back in range(number - 1, -1, -1))


QUAY, PONTOON, SLIPWAY, BUOYYARD, LIGHTER, FERRY, BREAKWATER = RESULT.pairs
WAIVED = replace(
    PONTOON,
    verdict=Verdict.GO,
    findings=tuple(replace(each, waiver=WAIVER) if each.status is Status.BLOCK else each for each in PONTOON.findings),
)
CERTIFIED = {
    "quay-a": MemberState(
        role="active",
        release="17.9.4a",
        certificates=(CertificateEnd("CN=quay <join> (serial 02)", datetime(2027, 2, 20, 4, 0)),),
    ),
    "quay-b": MemberState(role="standby", release="17.9.4a"),
}


@cache
def fleet() -> MemoryStore:
    """Forty nights: quay's flash falls, pontoon is waived last, lighter isn't asked, and so on; to be read only."""
    store = MemoryStore()
    for number, night in enumerate(nights(40)):
        last = night == LAST
        free = 17_000_000_000 - 300_000_000 * number
        store.add(QUAY, night, rooms=rooms("quay", 19_000_000_000, free), members=CERTIFIED, aps=_aps(number))
        store.add(WAIVED if last else PONTOON, night, rooms=rooms("pontoon", 9_000_000_000, 2_503_411_200))
        store.add(QUAY_AT_SLIPWAY if number % 9 else SLIPWAY, night)
        if not last:
            store.add(LIGHTER, night)
        if number > 20:
            store.add(BREAKWATER, night)
    store.add(FERRY, LAST, in_time=False)
    store.add(BUOYYARD, LAST - timedelta(days=1))
    store.add(named(QUAY, HOSTILE), LAST)
    store.add(named(QUAY, "gone"), LAST - timedelta(days=35), whole=False)
    return store


QUAY_AT_SLIPWAY = named(QUAY, "slipway", SLIPWAY.pair.site)


def _aps(number: int) -> tuple[str, ...]:
    return ("deck-1", "deck-2") if number < 39 else ("deck-1", "deck-3")
