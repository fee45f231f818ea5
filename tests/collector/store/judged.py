"""Judged pairs for the store's tests."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from pathlib import Path

from collector import demo, recording, rules
from collector.capture import Capture, Ending
from collector.judging import judge_snapshot, snapshot_of
from collector.nights.night import Room, Source
from collector.result import PairResult
from collector.rules.flash_space import rooms
from collector.simulated_shell import later
from collector.snapshot import Snapshot
from collector.store.store import Start, Store
from inventory.opening import Fleet, open_inventory
from inventory.pairs import Pair
from parsers import catalogue

EAST = timezone(timedelta(hours=1))
EVENING = datetime(2026, 11, 20, 23, 0, tzinfo=EAST)


@dataclass(frozen=True)
class Judged:
    """A pair on its way into a store."""

    snapshot: Snapshot
    result: PairResult
    rooms: tuple[Room, ...]


@cache
def fleet() -> Fleet:
    """The demo's."""
    return open_inventory(demo.inventory_folder(), rules.waivable())


def pair(name: str = "quay") -> Pair:
    """A pair of the demo's."""
    return next(pair for pair in fleet().pairs if pair.name == name)


@cache
def recorded(name: str = "quay") -> Mapping[str, tuple[Capture, ...]]:
    """What the demo's fixtures hold of a pair, undated."""
    folder: Path = demo.fixtures_folder()
    return {member.name: tuple(recording.load(folder, member.name, catalogue.asked())) for member in pair(name).members}


def judged(
    name: str = "quay",
    moment: datetime = EVENING,
    *,
    asked: datetime | None = None,
    edit: Callable[[Capture], Capture | None] = lambda capture: capture,
    target: str | None = None,
) -> Judged:
    """The pair judged at this moment on its recordings, taken at `asked`, each as `edit` makes it (None: left out)."""
    captures = {
        member: [changed for capture in own if (changed := edit(_taken(capture, asked))) is not None]
        for member, own in recorded(name).items()
    }
    snapshot = snapshot_of(replace(pair(name), target_release=target or pair(name).target_release), captures, moment)
    return Judged(snapshot, judge_snapshot(snapshot, fleet().policy), rooms(snapshot, fleet().policy))


def _taken(capture: Capture, asked: datetime | None) -> Capture:
    """The capture as of this moment, which the controller's clock shows, too."""
    text = later(capture.text, asked - demo.EVENING) if asked and capture.command == "show clock" else capture.text
    return replace(capture, text=text, started=asked)


def silent(capture: Capture) -> Capture:
    """The capture as of a controller that nobody asked."""
    return Capture(capture.member, capture.command, ending=Ending.MISSING, reason="nobody asked it")


def start(moment: datetime = EVENING, source: Source = Source.SWEEP, *, whole: bool = True) -> Start:
    """The beginning of a sweep at this moment."""
    return Start(source, "north", "/etc/readypair", whole, moment)


def kept(
    store: Store,
    each: Judged,
    *,
    source: Source = Source.SWEEP,
    planned: bool = True,
    in_time: bool = True,
) -> None:
    """Store it as a sweep of its own."""
    writer = store.begin(start(each.snapshot.moment, source))
    writer.keep(each.snapshot, each.result, rooms=each.rooms, planned=planned, in_time=in_time)
    writer.finish(each.snapshot.moment)


def utc(*parts: int) -> datetime:
    """A moment in UTC."""
    return datetime(*parts, tzinfo=UTC)  # type: ignore[misc,arg-type]
