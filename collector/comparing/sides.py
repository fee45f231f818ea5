"""The two sides of a comparison, and what several topics need of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from collector.comparing.comparison import Difference, Kind, Topic
from collector.finding import Evidence
from collector.nights import moments
from collector.nights.night import MemberState
from collector.nights.state import member_state
from collector.rules.ap_tables import capped, roles_are_certain
from collector.rules.parts import merged, with_capital
from collector.rules.roles import with_role
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers import catalogue

_NAMES = 10
CLIENT_COMMANDS = ("show redundancy", "show chassis rmi", "show wireless summary")
"""What is looked at of an earlier baseline whose only part is the count of clients at its hour."""


@dataclass(frozen=True)
class Sides:
    """A pair before and after, the policy, the release that it should run, and earlier baselines to count clients by.

    `names` as the inventory gives them are the same on both sides.
    """

    before: Snapshot
    after: Snapshot
    policy: Policy
    target: str
    counts: Sequence[Snapshot] = field(default=())

    @cached_property
    def states(self) -> tuple[dict[str, MemberState], dict[str, MemberState]]:
        """Each member's facts on both sides, by its name."""
        return _states(self.before), _states(self.after)

    @cached_property
    def upgrade(self) -> bool | None:
        """Whether it ran something else than the target before; None where that isn't known."""
        releases = {state.release for state in self.states[0].values()}
        if releases - {None, self.target}:
            return True
        return None if None in releases else False

    def then(self, member: MemberSnapshot) -> MemberSnapshot:
        """The same member before."""
        return next(each for each in self.before.members if each.name == member.name)

    def said(
        self,
        topic: Topic,
        kind: Kind,
        statement: str,
        names: Iterable[str] = (),
        before: Iterable[Evidence] = (),
        after: Iterable[Evidence] = (),
        remedy: str = "",
    ) -> Difference:
        """A difference; the statement gets its capital and full stop, and of each capture no more than twenty lines."""
        members = [member.name for member in self.after.members]
        sentence = with_capital(statement if statement.endswith(".") else f"{statement}.", members)
        return Difference(
            topic, kind, sentence, tuple(sorted(names)), capped(merged(before)), capped(merged(after)), remedy
        )

    def unasked(self, topic: Topic, commands: Iterable[str]) -> Difference | None:
        """The difference which says that a topic's commands were not asked on a night; None where they were.

        Ordinary nights don't ask what only a comparison needs. Across an upgrade that is not enough.
        """
        lacking = [
            side for side, words in ((self.before, "before"), (self.after, "after")) if is_unasked(side, commands)
        ]
        if not lacking:
            return None
        sides = " and ".join("before" if side is self.before else "after" for side in lacking)
        what = " and ".join(f"`{command}`" for command in commands)
        kind = Kind.NOT_COMPARED if self.upgrade is False else Kind.UNKNOWN
        remedy = "" if kind is Kind.NOT_COMPARED else "Compare with a baseline: readypair baseline asks for it."
        return self.said(topic, kind, f"{what} wasn't asked {sides}: an ordinary night's sweep doesn't", remedy=remedy)


def is_unasked(snapshot: Snapshot, commands: Iterable[str]) -> bool:
    """Whether nobody was asked any of what only a plan or a comparison asks, these commands among it."""
    deep = {command.text for command in catalogue.deep()}
    asked = {command for member in snapshot.members for command in member.captures}
    return deep.issuperset(commands) and deep.isdisjoint(asked)


def active(snapshot: Snapshot) -> MemberSnapshot | None:
    """The active member where it is certain who that is."""
    return with_role(snapshot, "active") if roles_are_certain(snapshot) else None


def asked_at(after: Snapshot, side: Snapshot) -> datetime:
    """When a side was asked, or judged where nothing is dated: in the inventory's zone, else the window's offset."""
    pair, moment = after.pair, moments.asked(side) or moments.aware(side.moment)
    if pair.time_zone is not None:
        return moment.astimezone(ZoneInfo(pair.time_zone))
    return moment.astimezone(pair.window.start.tzinfo) if pair.window is not None else moment


def some(names: Sequence[str], shown: int = _NAMES) -> str:
    """The first of the names, and how many more there are."""
    more = len(names) - shown
    return ", ".join(names[:shown]) + (f" and {more:,} more" if more > 0 else "")


def many(number: int, what: str) -> str:
    """So many of something, in words: `1 radio`, `1,204 radios`."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _states(snapshot: Snapshot) -> dict[str, MemberState]:
    return {member.name: member_state(snapshot, member) for member in snapshot.members}
