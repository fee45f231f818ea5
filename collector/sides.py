"""Where the two sides of a comparison come from: a pair asked now, a stored baseline or night, or a recorded folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

from collector import recording
from collector.capture import Capture, Ending
from collector.comparing.sides import CLIENT_COMMANDS
from collector.judging import judge_snapshot, snapshot_of
from collector.nights import moments
from collector.result import PairResult
from collector.snapshot import Snapshot
from collector.store.store import Store, StoredBaseline
from collector.sweep import Memory, NoMemory, Unkept, gather_pair, keep_selection, raised, received
from inventory.opening import Fleet
from inventory.pairs import Pair
from parsers import catalogue


class SideError(ValueError):
    """A side can't be had; the message is one sentence that says what to do."""


@dataclass(frozen=True)
class Taken:
    """A pair asked for all that a comparison needs, and judged by the rules as any other."""

    snapshot: Snapshot
    result: PairResult


def take(
    fleet: Fleet,
    pair: Pair,
    *,
    connection: str,
    keep: Path | None = None,
    asked: Callable[[str, str], None] = lambda member, what: None,
    memory: Memory | None = None,
    shift: timedelta = timedelta(0),
    unkept: Unkept = raised,
) -> Taken:
    """Ask the pair now, over a registered connection; `keep` and `memory` get what it said, as in a sweep.

    `shift` is added to this machine's time throughout. KeyboardInterrupt where somebody interrupts the asking: half a
    baseline is none.
    """
    memory = memory or NoMemory()
    if keep is not None:
        keep_selection(keep, [pair], unkept)
    needed = catalogue.needed_by("compare")
    captures = gather_pair(fleet, pair, connection=connection, asked=asked, commands=needed)
    snapshot = snapshot_of(pair, received(captures, shift, keep, unkept), datetime.now().astimezone() + shift)
    snapshot = replace(snapshot, past=memory.past(snapshot))
    result = judge_snapshot(snapshot, fleet.policy, fleet.waivers)
    memory.keep(snapshot, result, in_time=True)
    return Taken(snapshot, result)


def baseline(store: Store, pair: Pair, after: datetime) -> StoredBaseline:
    """The pair's latest baseline from before `after` and, if its window has begun by then, from before that.

    Where all of them were taken in the window, the earliest of those is better than none. SideError where there is
    none.
    """
    stored = [each for each in store.baselines(pair.name) if _asked(each) < after]
    if not stored:
        raise SideError(
            f"the store holds no baseline of {pair.name} from before; take one before the next window with: "
            f"readypair baseline {pair.name}, or compare two nights with --from DATE --to DATE"
        )
    if pair.window is None or pair.window.start > after:
        return stored[0]
    start = pair.window.start
    return next((each for each in stored if _asked(each) < start), stored[-1])


def of_baseline(store: Store, pair: Pair, which: StoredBaseline) -> Snapshot:
    """A baseline with all its captures; SideError where they have just been taken away."""
    return _of(store, pair, which.judgement, which.judged, f"the baseline of {which.judged:%Y-%m-%d %H:%M}")


def counts(store: Store, pair: Pair, before: datetime) -> tuple[Snapshot, ...]:
    """The pair's baselines from before that moment, with no more of them than a count of clients needs."""
    found = []
    for each in store.baselines(pair.name):
        if _asked(each) < before:
            captures = {
                member: [capture for capture in own if capture.command in CLIENT_COMMANDS]
                for member, own in store.captures(each.judgement).items()
            }
            found.append(snapshot_of(pair, captures, each.judged))
    return tuple(found)


def of_night(store: Store, pair: Pair, night: date) -> Snapshot:
    """The pair's last word of a stored night; SideError where there is none, or its captures were taken away."""
    found = store.nights(pair.name, since=night, until=night)
    if not found or not found[0].in_time:
        nights = store.nights(pair.name)
        known = f"the latest is {nights[-1].night}" if nights else "it has none of that pair"
        raise SideError(f"the store holds no night {night} of {pair.name} on which it was asked; {known}")
    return _of(store, pair, found[0].id, found[0].judged, f"the night {night}")


def of_folder(given: Path, pair: Pair) -> Snapshot:
    """The pair as recorded in a folder; SideError where that holds nothing of it, RecordingError for a broken one."""
    folder = recording.find(given)
    if not {member.name for member in pair.members} & set(recording.members(folder)):
        raise SideError(f"{given} holds no captures of {pair.name}; name the folder of a sweep or baseline of it")
    captures = {
        member.name: recording.load(folder, member.name, catalogue.needed_by("compare")) for member in pair.members
    }
    snapshot = snapshot_of(pair, _without_unasked(captures), datetime.now().astimezone())
    return replace(snapshot, moment=moments.asked(snapshot) or snapshot.moment)


def _of(store: Store, pair: Pair, judgement: int, judged: datetime, what: str) -> Snapshot:
    captures = store.captures(judgement)
    if not captures:
        raise SideError(f"the captures of {what} of {pair.name} were taken out of the store, as --keep-days says")
    return snapshot_of(pair, captures, judged)


def _without_unasked(captures: dict[str, list[Capture]]) -> dict[str, list[Capture]]:
    """The captures without those that no sweep takes, where none at all of them was recorded."""
    deep = {command.text for command in catalogue.deep()}
    recorded = [each for own in captures.values() for each in own if each.command in deep]
    if any(each.ending is not Ending.MISSING or each.started is not None for each in recorded):
        return captures
    return {name: [each for each in own if each.command not in deep] for name, own in captures.items()}


def _asked(stored: StoredBaseline) -> datetime:
    return stored.asked or stored.judged
