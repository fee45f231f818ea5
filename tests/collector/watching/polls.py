"""What a watch of a played upgrade polls at set moments of the play, without a session."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from datetime import timedelta
from functools import cache

from collector import recording
from collector.capture import Capture, Ending
from collector.plan import making
from collector.plan.plan import Plan
from collector.played_upgrade import Failure, Play, Upgrade
from collector.snapshot import MemberSnapshot, Reading, Snapshot, member_snapshot, understand
from collector.watching.following import begin, replay
from collector.watching.recognising import baseline_of, sight
from collector.watching.sighting import Baseline, Happening, Sighting, WatchState
from inventory.pairs import Pair
from parsers import Facts, catalogue
from tests.collector.playing_pair import BEGINS, IMAGE_BYTES, answering, text
from tests.demo_fleet import FIXTURES, fleet

TARGET = "17.12.4"
UPGRADE = Upgrade(TARGET, IMAGE_BYTES, batches=3)
WATCHED = tuple(command.text for command in catalogue.needed_by("watch"))
Damage = Callable[[Capture], Capture]


def pair(name: str = "quay") -> Pair:
    return next(each for each in fleet().pairs if each.name == name)


def play(failure: Failure | None = None, **changes: object) -> Play:
    return Play(Upgrade(TARGET, IMAGE_BYTES, **{"batches": 3, "failure": failure, **changes}))  # type: ignore[arg-type]


def missing(member: str, command: str) -> Capture:
    return Capture(member, command, ending=Ending.MISSING, reason="the connection was refused")


def _captures(of: Play, moment: float, member: str, name: str) -> list[Capture]:
    if member not in answering(of, moment, name):
        return [missing(member, command) for command in WATCHED]
    started = BEGINS + timedelta(seconds=moment)
    return [
        Capture(member, command, text(of, moment, member, command, name), started=started, seconds=0.2)
        for command in WATCHED
    ]


@cache
def _understood(capture: Capture) -> Reading[Facts]:
    return understand(capture)


def member(name: str, captures: Iterable[Capture]) -> MemberSnapshot:
    """A member's snapshot; an answer that was read before isn't read again."""
    found = {capture.command: capture for capture in captures}
    same_time = {command: replace(each, started=each.started and BEGINS) for command, each in found.items()}
    return MemberSnapshot(name, found, {command: _understood(each) for command, each in same_time.items()})


def snapshot(of: Play, moment: float, *, damage: Damage = lambda capture: capture, name: str = "quay") -> Snapshot:
    """What both members answer at a moment; a capture may be damaged on the way."""
    first, second = (
        member(each.name, [damage(capture) for capture in _captures(of, moment, each.name, name)])
        for each in pair(name).members
    )
    return Snapshot(pair(name), (first, second), BEGINS + timedelta(seconds=moment))


def nobody(moment: float, name: str = "quay") -> Snapshot:
    """A poll in which nobody answers."""
    first, second = (member(each.name, [missing(each.name, row) for row in WATCHED]) for each in pair(name).members)
    return Snapshot(pair(name), (first, second), BEGINS + timedelta(seconds=moment))


def every(seconds: float, of: Play, begin: float = 0.0, end: float | None = None) -> list[float]:
    """The moments of polls so many seconds apart, until somewhat after the play's last cue."""
    last = of.cues[-1] + 600 if end is None else end
    return [begin + number * seconds for number in range(int((last - begin) / seconds) + 1)]


def sightings(
    of: Play,
    moments: Iterable[float],
    lost: Collection[int] = (),
    before: Sighting | None = None,
    baseline: Baseline | None = None,
) -> list[Sighting]:
    """The sightings of a watch that polls at these moments; of the `lost` polls (from 1) nobody answers."""
    found: list[Sighting] = []
    for number, moment in enumerate(moments, 1):
        poll = nobody(moment) if number in lost else snapshot(of, moment)
        found.append(sight(number, poll, TARGET, found[-1] if found else before, baseline))
    return found


@cache
def polled(
    seconds: float,
    failure: Failure | None = None,
    *,
    alone: bool = False,
    older_train: bool = False,
    begin: float = 0.0,
) -> tuple[Play, tuple[Sighting, ...]]:
    """A play and what polls so many seconds apart see of it; `alone`: the crash of the active one without a standby."""
    crash = "reload-standby" if alone else "restart-aps"
    of = play(failure, crash_during=crash, older_train=older_train)
    return of, tuple(sightings(of, every(seconds, of, begin)))


@cache
def plan() -> Plan:
    """The plan of quay's window, by the demo's policy."""
    members = [
        member_snapshot(each.name, recording.load(FIXTURES, each.name, list(catalogue.COMMANDS)))
        for each in pair().members
    ]
    return making.make(Snapshot(pair(), (members[0], members[1]), BEGINS), fleet().policy)


def baseline() -> Baseline:
    """What the first poll of a play tells of the access points and clients."""
    return baseline_of(snapshot(play(), 0.0))


def watched(
    seen: Iterable[Sighting], *, planned: bool = True, based: bool = True
) -> tuple[WatchState, list[Happening]]:
    """A watch: its state after the last poll, and all that happened."""
    state, happened = replay(start(planned=planned, based=based), tuple(seen))
    return state, list(happened)


def start(*, planned: bool = True, based: bool = True) -> WatchState:
    """A watch of quay before its first poll."""
    return begin(pair(), TARGET, plan() if planned else None, baseline() if based else None)


def raised(happened: Iterable[Happening]) -> list[tuple[str, str, str]]:
    """The warnings and failures that were told, each with its id and subject."""
    return [(each.kind, str(each.id), each.subject) for each in happened if each.kind in ("warning", "failed")]


def after(happening: Happening) -> float:
    """The play's second at which something was told."""
    return (happening.moment - BEGINS).total_seconds()
