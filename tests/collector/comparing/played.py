"""A pair of the demo before and after a played upgrade, as a baseline and a comparison take it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache

from collector.capture import Capture
from collector.comparing.comparison import Comparison, Difference, Kind, Topic
from collector.comparing.making import compare
from collector.judging import snapshot_of
from collector.played_upgrade import Play, Upgrade
from collector.snapshot import Snapshot
from parsers import catalogue
from tests.collector.playing_pair import BEGINS, IMAGE_BYTES, answering, text
from tests.demo_fleet import fleet, with_capture

TARGET = "17.12.4"
GOOD = Play(Upgrade(TARGET, IMAGE_BYTES, batches=2))


@cache
def taken(play: Play, moment: float, pair: str = "quay") -> Snapshot:
    """The pair as it answers all that a comparison asks, at a moment of a play."""
    started = BEGINS + timedelta(seconds=moment)
    captures = {
        name: [
            Capture(name, each.text, text(play, moment, name, each.text, pair), started=started, seconds=0.2)
            for each in catalogue.needed_by("compare")
        ]
        for name in answering(play, moment, pair)
    }
    found = next(each for each in fleet().pairs if each.name == pair)
    return snapshot_of(found, captures, started + timedelta(seconds=20))


def before(pair: str = "quay") -> Snapshot:
    """The pair before anything was done."""
    return taken(GOOD, 0.0, pair)


def after(pair: str = "quay") -> Snapshot:
    """The pair when all is done."""
    return taken(GOOD, GOOD.moment("after", 1), pair)


def edited(snapshot: Snapshot, member: str, command: str, edit: Callable[[str], str]) -> Snapshot:
    """The snapshot with one answer made otherwise; AssertionError where that changes nothing."""
    own = next(each for each in snapshot.members if each.name == member).captures[command]
    changed = edit(own.text)
    assert changed != own.text
    return with_capture(snapshot, replace(own, text=changed))


def compared(old: Snapshot, new: Snapshot, target: str = TARGET, counts: tuple[Snapshot, ...] = ()) -> Comparison:
    """The comparison by the demo's policy."""
    return compare(old, new, fleet().policy, target, counts)


def of_topic(found: Comparison, topic: Topic) -> list[Difference]:
    """What was found of a topic."""
    return [each for each in found.differences if each.topic is topic]


def kinds(found: Comparison, topic: Topic) -> set[Kind]:
    """The kinds of what was found of a topic."""
    return {each.kind for each in of_topic(found, topic)}


def troubles(found: Comparison) -> dict[Topic, set[Kind]]:
    """The topics that have trouble, with the kinds of it."""
    bad = (Kind.FAULT, Kind.UNKNOWN, Kind.TO_EXPLAIN)
    return {topic: told for topic in Topic if (told := kinds(found, topic) & {*bad})}
