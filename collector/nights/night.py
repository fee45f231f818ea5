"""A night: what the sweeps between one noon and the next found, by the date on which it began."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from collector.finding import Status, Verdict

_HALF_A_DAY = timedelta(hours=12)


class Source(StrEnum):
    """Which command judged a pair."""

    SWEEP = "sweep"
    CHECK = "check"
    REPLAY = "replay"
    DEMO = "demo"
    BASELINE = "baseline"
    COMPARE = "compare"


def night_of(moment: datetime) -> date:
    """The night that a moment belongs to, by the moment's own offset: 03:00 belongs to the evening before."""
    return (moment - _HALF_A_DAY).date()


@dataclass(frozen=True)
class RuleState:
    """What a rule said that night, as far as drift looks at it. `waived`: a block that somebody accepted."""

    status: Status
    decides: bool
    waived: bool = False


@dataclass(frozen=True)
class CertificateEnd:
    """When a member's certificate for joining ends, on the wall clock in the pair's own zone; `label` says which."""

    label: str
    end: datetime


@dataclass(frozen=True)
class MemberState:
    """The facts of one member that drift looks at; None where it wasn't known that night, which is no fact.

    `reached`: whether it answered at all. `packages` are the install table's rows that concern it, such as
    `IMG C 17.09.04a.0.6`, sorted; `boot` the boot variable's entries in their order; `neighbours` what it sees over
    the redundancy link, each as one line of words that doesn't change while nothing moves, sorted.
    """

    reached: bool = True
    role: str | None = None
    release: str | None = None
    install_mode: str | None = None
    packages: tuple[str, ...] | None = None
    boot: tuple[str, ...] | None = None
    rom_monitor: str | None = None
    neighbours: tuple[str, ...] | None = None
    certificates: tuple[CertificateEnd, ...] | None = None


@dataclass(frozen=True)
class PairState:
    """What drift compares: it holds nothing that moves by itself, so most nights equal the one before.

    `rules` by id, `members` by name.
    """

    verdict: Verdict
    target_release: str
    rules: Mapping[str, RuleState]
    members: Mapping[str, MemberState]


@dataclass(frozen=True)
class Room:
    """A member's flash that night, in bytes; `needed` is what the images take, less what is staged already.

    None where it wasn't known.
    """

    member: str
    free: int | None
    total: int | None
    needed: int | None


@dataclass(frozen=True)
class Night:
    """A pair's last word of one night: what the store keeps for good.

    `aps` identifies the set of its access points' names (None: not known); `id` and `state` are the store's own
    numbers of the judgement and of its PairState: two nights with the same `state` number are equal. `asked` is when
    the latest capture was taken, None for undated ones. `in_time` is False for a pair that the sweep's deadline or an
    interruption left unasked.
    """

    id: int
    pair: str
    site: str
    night: date
    source: Source
    asked: datetime | None
    judged: datetime
    verdict: Verdict
    target_release: str
    in_time: bool
    state: int
    aps: int | None
    rooms: tuple[Room, ...] = ()
