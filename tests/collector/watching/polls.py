"""What a watch of a played upgrade polls at set moments of the play, without a session."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import timedelta
from functools import cache

from collector import recording
from collector.capture import Capture, Ending
from collector.plan import making
from collector.plan.plan import Plan
from collector.played_upgrade import Failure, Play, Upgrade
from collector.snapshot import Snapshot, member_snapshot
from collector.watching.following import begin, replay
from collector.watching.recognising import baseline_of, sight
from collector.watching.sighting import Baseline, Happening, Sighting, WatchState
from inventory.pairs import Pair
from parsers import catalogue
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


def snapshot(of: Play, moment: float, *, damage: Damage = lambda capture: capture, name: str = "quay") -> Snapshot:
    """What both members answer at a moment; a capture may be damaged on the way."""
    first, second = (
        member_snapshot(each.name, [damage(capture) for capture in _captures(of, moment, each.name, name)])
        for each in pair(name).members
    )
    return Snapshot(pair(name), (first, second), BEGINS + timedelta(seconds=moment))


def every(seconds: float, of: Play, begin: float = 0.0, end: float | None = None) -> list[float]:
    """The moments of polls so many seconds apart, until somewhat after the play's last cue."""
    last = of.cues[-1] + 600 if end is None else end
    return [begin + number * seconds for number in range(int((last - begin) / seconds) + 1)]


def sightings(of: Play, moments: Iterable[float], target: str = TARGET) -> list[Sighting]:
    """The sightings of a watch that polls at these moments."""
    found: list[Sighting] = []
    for number, moment in enumerate(moments, 1):
        found.append(sight(number, snapshot(of, moment), target, found[-1] if found else None))
    return found


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
    of: Play, moments: Iterable[float], *, planned: bool = True, based: bool = True
) -> tuple[WatchState, list[Happening]]:
    """A watch of a play: its state after the last poll, and all that happened."""
    state = begin(pair(), TARGET, plan() if planned else None, baseline() if based else None)
    state, happened = replay(state, sightings(of, moments))
    return state, list(happened)


def after(happening: Happening) -> float:
    """The play's second at which something was told."""
    return (happening.moment - BEGINS).total_seconds()
