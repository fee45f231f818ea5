"""The store as the rest of the house knows it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Protocol

from collector.capture import Capture
from collector.finding import Verdict
from collector.nights.night import Night, PairState, Room, Source
from collector.nights.swept import Swept
from collector.result import PairResult
from collector.snapshot import Snapshot
from collector.watching.sighting import Happening, Sighting


class StoreError(ValueError):
    """The store can't be used; the message is one sentence that names it, without its password, and what to do."""


class TakenOver(StoreError):  # noqa: N818 - nothing is wrong
    """Somebody else goes on with the watch; the message is one sentence."""


@dataclass(frozen=True)
class Start:
    """What is known of a sweep at its beginning: which machine sweeps, and whether nothing narrows it (`whole`)."""

    source: Source
    collector: str
    inventory: str
    whole: bool
    started: datetime


@dataclass(frozen=True)
class StoredSweep:
    """A sweep as stored; `finished` is None where it was killed or is still going on, `pairs` how many it stored."""

    id: str
    start: Start
    finished: datetime | None
    pairs: int


@dataclass(frozen=True)
class WatchStart:
    """What is known of a watch at its beginning; `opening` is what it began from, as data for JSON."""

    pair: str
    target: str
    inventory: str
    collector: str
    started: datetime
    opening: Mapping[str, Any]


@dataclass(frozen=True)
class StoredWatch:
    """A watch as stored; `ended` and `outcome` are None where it goes on or was killed, `latest` is its last poll."""

    id: str
    start: WatchStart
    ended: datetime | None
    outcome: str | None
    polls: int
    latest: datetime | None


@dataclass(frozen=True)
class Pruned:
    """What a retention took away; `captures` are those of polls, too."""

    reports: int
    captures: int
    bytes: int


@dataclass(frozen=True)
class StoredBaseline:
    """A pair as it was before a window: the number of its judgement, when it was asked (None: undated) and judged."""

    judgement: int
    asked: datetime | None
    judged: datetime


@dataclass(frozen=True)
class StoredJudgement:
    """A pair judged by any command: its number, when it was asked (None: undated) and judged, and what came of it.

    `planned` and `in_time` as for `SweepWriter.keep`; `kept` says that its report and captures are still there.
    """

    number: int
    source: Source
    night: date
    asked: datetime | None
    judged: datetime
    verdict: Verdict
    target_release: str
    planned: bool
    in_time: bool
    kept: bool


class SweepWriter(Protocol):
    """Takes a sweep's pairs in, each whole or not at all."""

    @property
    def id(self) -> str:
        """The sweep's own id."""

    def keep(
        self,
        snapshot: Snapshot,
        result: PairResult,
        *,
        rooms: Sequence[Room] = (),
        planned: bool = True,
        in_time: bool = True,
    ) -> None:
        """Store a judged pair with its captures in one transaction; a pair that this sweep stored already is left.

        `rooms` are those of `collector.rules.flash_space.rooms`; `planned` is whether it was judged for the inventory's
        own target, `in_time` whether it was asked at all before the deadline or an interruption.
        """

    def finish(self, moment: datetime) -> None:
        """Note that the sweep came to its end."""

    def announce(self, moment: datetime) -> None:
        """Note that somebody was told of what the sweep found new, or that there was nothing new to tell."""


class WatchWriter(Protocol):
    """Takes a watch's polls in, each whole or not at all; raises TakenOver once somebody else goes on with it."""

    @property
    def id(self) -> str:
        """The watch's own id."""

    def keep(self, sighting: Sighting, happenings: Sequence[Happening], snapshot: Snapshot) -> None:
        """Store a poll with what it brought and its captures in one transaction; one that is stored already is left."""

    def finish(self, moment: datetime, outcome: str, durations: Mapping[str, float]) -> None:
        """Note how the watch ended.

        `durations` are those of its stages in seconds, as far as plans may count on them; that of `restart-aps` is one
        round's.
        """


class Store(Protocol):
    """Nights by pair, and watches of windows. Everything that reads is ordered, and sees whole pairs only."""

    def begin(self, start: Start) -> SweepWriter:
        """Note that a sweep begins."""

    def pairs(self) -> tuple[str, ...]:
        """The names of all pairs that were ever stored, sorted."""

    def nights(self, pair: str, *, since: date | None = None, until: date | None = None) -> tuple[Night, ...]:
        """The pair's nights, oldest first, from `since` to `until`, both included: of each night its last word.

        Only what was judged for the inventory's own target. A pair that wasn't asked in time never hides the same
        night's answer, nor does a replay or a demo hide a live one, or what is undated hide a dated recording. A demo
        is no night at all in a store that holds anything else.
        """

    def fleet(self, *, since: date | None = None, until: date | None = None) -> Iterator[tuple[str, tuple[Night, ...]]]:
        """Every pair with its nights as `nights` gives them, in the order of names; it takes the memory of one pair."""

    def fleet_nights(self, pair: str | None = None) -> tuple[date, ...]:
        """The nights on which some whole sweep was stored, oldest first; with a pair, of those fleets that it is of.

        A pair without a word on one of its own was missed. A replay or a demo counts only where nobody sweeps.
        """

    def swept(self) -> Swept:
        """The same of every pair at once."""

    def state(self, number: int) -> PairState:
        """What the number in `Night.state` stands for."""

    def ap_set(self, number: int) -> tuple[str, ...]:
        """The names of access points that the number in `Night.aps` stands for, sorted."""

    def announced(self) -> Mapping[str, int]:
        """Of each pair the number of the state that somebody was last told of; pairs that nobody was told of lack.

        Where there are sweeps, replays and demos don't count.
        """

    def report(self, judgement: int) -> Mapping[str, Any] | None:
        """The pair of that judgement as in report.json; None once it was taken away."""

    def captures(self, judgement: int) -> dict[str, list[Capture]]:
        """The captures of that judgement by member; empty once they were taken away."""

    def baselines(self, pair: str) -> tuple[StoredBaseline, ...]:
        """The pair's baselines whose captures are still there, the newest first."""

    def judgements(self, pair: str) -> tuple[StoredJudgement, ...]:
        """Every judgement of the pair, whichever command made it, in the order in which it was asked."""

    def missed(self, inventory: str, collector: str) -> tuple[str, ...]:
        """The pairs that this collector's last whole sweep of the inventory didn't reach in time: next time's first.

        It may have been killed; what it left then are pairs that sweeps before it knew. Sorted.
        """

    def sweeps(self, *, last: int) -> tuple[StoredSweep, ...]:
        """The latest sweeps, the newest first."""

    def begin_watch(self, start: WatchStart) -> WatchWriter:
        """Note that a watch begins."""

    def take_up(self, watch: str) -> WatchWriter:
        """Go on with a watch that was left, whoever began it; who began it can store nothing more in it."""

    def watches(self, pair: str | None = None) -> tuple[StoredWatch, ...]:
        """The watches of the pair, or of all pairs, the newest first."""

    def sightings(self, watch: str) -> tuple[Sighting, ...]:
        """What the polls of a watch saw, in their order; none once they were taken away."""

    def happenings(self, watch: str) -> tuple[Happening, ...]:
        """The log of a watch, in its order."""

    def poll_captures(self, watch: str, number: int) -> dict[str, list[Capture]]:
        """The captures of a poll by member; empty once they were taken away."""

    def stage_durations(self) -> Mapping[str, tuple[float, ...]]:
        """How long each stage took in the watches that saw their pair done, in seconds; `restart-aps` is one round."""

    def prune(self, before: date) -> Pruned:
        """Take away reports, polls and captures of the nights before that date; verdicts, logs and figures stay.

        A pair's latest baseline stays until a comparison after it is that old, too: the window may be far off.
        A text that a report which stays still cites is kept, and what a sweep stores meanwhile is not touched.
        """

    def close(self) -> None:
        """Let go of it."""


def opened(url: str, *, existing: bool = False) -> AbstractContextManager[Store]:
    """Open the store at a SQLAlchemy URL, or in a file of SQLite's by its plain path, and bring its schema up to date.

    With `existing` no store is made where there is none: what only reads would find nothing in it. Raises StoreError
    where it can't be reached, isn't a store, or is of a later readypair.
    """
    from collector.store import database

    return database.opened(url, existing=existing)
