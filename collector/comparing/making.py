"""Compares a pair with itself, topic by topic."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from collector.comparing.access_points import access_points, images
from collector.comparing.by_rules import by_rules
from collector.comparing.comparison import Comparison, Difference, MemberThen, Side, Topic
from collector.comparing.members import flash, held, packages, release, roles
from collector.comparing.radio import clients, radios, wlans
from collector.comparing.sides import Sides, asked_at
from collector.nights.night import MemberState
from collector.nights.state import member_state
from collector.snapshot import Snapshot
from inventory.policy import Policy
from parsers.release import plain

_TOPICS = (release, packages, roles, by_rules, access_points, images, clients, radios, wlans, held, flash)


def compare(
    before: Snapshot, after: Snapshot, policy: Policy, target: str, counts: Sequence[Snapshot] = ()
) -> Comparison:
    """What differs between two snapshots of one pair, and what of it the upgrade to `target` explains.

    Where both sides ran the target already there was no upgrade, and nothing is put down to one. `counts` are further
    baselines, of which only the clients at their hour matter. ValueError where the snapshots are of different members,
    or the target is no release.
    """
    names = [[member.name for member in side.members] for side in (before, after)]
    if names[0] != names[1]:
        raise ValueError(f"the two sides are of other members: {', '.join(names[0])} and {', '.join(names[1])}")
    sides = Sides(before, after, policy, plain(target), counts)
    order = list(Topic)
    return Comparison(
        pair=after.pair,
        target=sides.target,
        upgrade=sides.upgrade,
        before=_side(sides, before, sides.states[0]),
        after=_side(sides, after, sides.states[1]),
        differences=tuple(sorted(_differences(sides), key=lambda each: order.index(each.topic))),
    )


def target_of(before: Snapshot, after: Snapshot) -> str:
    """What two nights are compared for: the release that both ran on both, else the inventory's target."""
    ran = {member_state(side, member).release for side in (before, after) for member in side.members}
    only = ran.pop() if len(ran) == 1 else None
    return only or after.pair.target_release


def _differences(sides: Sides) -> Iterator[Difference]:
    for topic in _TOPICS:
        yield from topic(sides)


def _side(sides: Sides, snapshot: Snapshot, states: dict[str, MemberState]) -> Side:
    first, second = (
        MemberThen(member.name, states[member.name].role, states[member.name].release, member.reached)
        for member in snapshot.members
    )
    return Side(asked_at(sides.after, snapshot), (first, second))
