"""Asks pairs, judges each as soon as both its members have answered, and keeps what they said."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from collector import job, recording
from collector.budget import Budget, spoken
from collector.capture import Capture, Ending
from collector.judging import judge_snapshot, snapshot_of
from collector.nights.past import Past
from collector.passed_windows import passed
from collector.result import Ended, PairResult, Result
from collector.snapshot import Snapshot
from collector.waiving import idle
from inventory.opening import Fleet
from inventory.pairs import Pair
from parsers import catalogue
from parsers.catalogue import Command

# Told of a member whose captures the disk didn't take, and why; "" for the list of the pairs.
Unkept = Callable[[str, OSError], None]


def raised(member: str, error: OSError) -> None:
    """Let what the disk doesn't take end it."""
    raise error


@dataclass(frozen=True)
class Listeners:
    """Who is told while it goes on: of a member's command, of a pair's result, and of what the disk didn't take.

    Unless somebody hears of the last, it ends the sweep.
    """

    asked: Callable[[str, str], None] = field(default=lambda member, what: None)
    judged: Callable[[PairResult], None] = field(default=lambda result: None)
    unkept: Unkept = raised


class Memory(Protocol):
    """Knows of earlier nights and keeps this one. Neither raises anything: a sweep goes on whatever becomes of it."""

    def past(self, snapshot: Snapshot) -> Past:
        """What is known of the pair's nights before the one of this snapshot."""

    def keep(self, snapshot: Snapshot, result: PairResult, *, in_time: bool) -> None:
        """Keep a judged pair; `in_time` is False for one that nobody came to ask."""


class NoMemory:
    """Without a store there is no past, and nothing is kept."""

    def past(self, snapshot: Snapshot) -> Past:
        """Nothing."""
        return Past()

    def keep(self, snapshot: Snapshot, result: PairResult, *, in_time: bool) -> None:
        """Keep nothing."""


def sweep(
    fleet: Fleet,
    pairs: Sequence[Pair],
    *,
    connection: str,
    workers: int,
    keep: Path | None = None,
    listeners: Listeners | None = None,
    shift: timedelta = timedelta(0),
    memory: Memory | None = None,
    budget: Budget | None = None,
    first: Collection[str] = (),
) -> Result:
    """Ask and judge these pairs, `workers` of them at a time, over a registered connection (see collector.job).

    `keep` is the folder that the captures are written to. A pair that an interruption or the end of the `budget` came
    before is judged on nothing, which makes it undecided. The pairs named in `first` are asked before the others, and
    stand in the result where they always do. `memory` has kept a pair before anybody is told of its result. `shift` is
    added to this machine's time throughout: the demo plays another day.
    """
    listeners = listeners or Listeners()
    memory = memory or NoMemory()

    def now() -> datetime:
        return datetime.now().astimezone() + shift

    started = now()
    results: dict[str, PairResult] = {}

    def heard(pair: Pair, captures: dict[str, list[Capture]], in_time: bool = True) -> None:
        snapshot = snapshot_of(pair, received(captures, shift, keep, listeners.unkept), now())
        snapshot = replace(snapshot, past=memory.past(snapshot))
        results[pair.name] = replace(judge_snapshot(snapshot, fleet.policy, fleet.waivers), in_time=in_time)
        memory.keep(snapshot, results[pair.name], in_time=in_time)
        listeners.judged(results[pair.name])

    if keep is not None:
        keep_selection(keep, pairs, listeners.unkept)
    ended = Ended.COMPLETE
    try:
        job.gather(
            fleet.nornir,
            sorted(pairs, key=lambda pair: pair.name not in first),
            connection=connection,
            commands=catalogue.asked(),
            workers=workers,
            heard=heard,
            progress=listeners.asked,
            budget=budget,
        )
    except job.Interrupted as early:
        ended = early.ended
        came = _what_came(ended, budget)
        for pair in pairs:
            if pair.name not in results:
                when = "while it was being asked" if pair in early.under_way else "before it was asked"
                heard(pair, _unasked(pair, f"{came} {when}"), in_time=False)
    found = tuple(results[pair.name] for pair in pairs)
    finished = now()
    notes = (*idle(fleet.waivers, fleet.pairs, found, finished), *passed(pairs, finished))
    return Result(started, finished, str(fleet.folder), found, notes, ended)


def gather_pair(
    fleet: Fleet,
    pair: Pair,
    *,
    connection: str,
    asked: Callable[[str, str], None],
    commands: Sequence[Command] | None = None,
) -> dict[str, list[Capture]]:
    """One pair's captures by member, not judged yet; KeyboardInterrupt where somebody interrupts the asking.

    `commands` are those of a sweep unless others are given.
    """
    gathered: dict[str, list[Capture]] = {}
    try:
        job.gather(
            fleet.nornir,
            [pair],
            connection=connection,
            commands=catalogue.asked() if commands is None else commands,
            workers=1,
            heard=lambda _, captures: gathered.update(captures),
            progress=asked,
        )
    except job.Interrupted:
        raise KeyboardInterrupt from None
    return gathered


def _what_came(ended: Ended, budget: Budget | None) -> str:
    if ended is Ended.DEADLINE and budget is not None and budget.seconds is not None:
        return f"the sweep's deadline of {spoken(budget.seconds)} came"
    return "the sweep was interrupted"


def _unasked(pair: Pair, reason: str) -> dict[str, list[Capture]]:
    return {
        member.name: [
            Capture(member.name, command.text, ending=Ending.MISSING, reason=reason) for command in catalogue.asked()
        ]
        for member in pair.members
    }


def keep_selection(keep: Path, pairs: Sequence[Pair], unkept: Unkept) -> None:
    """Write down in the folder which pairs are asked."""
    try:
        recording.write_selection(keep, [pair.name for pair in pairs])
    except OSError as error:
        unkept("", error)


def received(
    captures: dict[str, list[Capture]], shift: timedelta, keep: Path | None, unkept: Unkept = raised
) -> dict[str, list[Capture]]:
    """A pair's captures, by member, at the time shifted so; written to the folder `keep` where there is one."""
    captures = {member: [_shifted(capture, shift) for capture in own] for member, own in captures.items()}
    if keep is not None:
        for member, own in captures.items():
            try:
                recording.write(keep, member, own)
            except OSError as error:
                unkept(member, error)
    return captures


def _shifted(capture: Capture, shift: timedelta) -> Capture:
    return replace(capture, started=capture.started + shift) if shift and capture.started else capture
