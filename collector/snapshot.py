"""What both members of a pair said, read into facts: all that a rule may look at, besides the policy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Generic, TypeVar, cast

from collector.capture import Capture, Ending
from collector.finding import Evidence
from collector.nights.past import Past
from inventory.pairs import Pair
from parsers import Facts, Refused, Unreadable, read, transcript

F = TypeVar("F", bound=Facts)


@dataclass(frozen=True)
class Reading(Generic[F]):
    """One member's answer to one command: the facts, or why there are none (`problem`, without a full stop).

    `refused` tells a controller's refusal from every other way of having no facts. `whole` says that a session saw the
    answer's end, so that nothing after its last line was lost; of a hand-written capture nobody knows that.
    """

    member: str
    command: str
    facts: F | None
    problem: str = ""
    printed: tuple[str, ...] = ()
    refused: bool = False
    whole: bool = False

    def evidence(self, *fields: str, lines: tuple[int, ...] = ()) -> tuple[Evidence, ...]:
        """The lines that these fields were read from, and these lines besides; nothing where there are none."""
        named = self.facts.lines_of(*fields) if self.facts is not None else ()
        numbers = tuple(n for n in sorted({*named, *lines}) if 1 <= n <= len(self.printed))
        if not numbers:
            return ()
        texts = tuple(self.printed[number - 1] for number in numbers)
        return (Evidence(self.member, self.command, numbers, texts),)


@dataclass(frozen=True)
class MemberSnapshot:
    """One member's captures and the facts that could be read out of them, by the command's text."""

    name: str
    captures: Mapping[str, Capture]
    readings: Mapping[str, Reading[Facts]]

    @property
    def reached(self) -> bool:
        """Whether the member answered anything at all."""
        return any(capture.ending is not Ending.MISSING for capture in self.captures.values())

    def read(self, command: str, facts: type[F]) -> Reading[F]:
        """The member's answer to a command as facts of this type."""
        reading = self.readings.get(command)
        if reading is None:
            return Reading(self.name, command, None, "there is no capture of it")
        if reading.facts is not None and not isinstance(reading.facts, facts):
            raise TypeError(f"{command} gives {type(reading.facts).__name__}, not {facts.__name__}")
        return cast(Reading[F], reading)


@dataclass(frozen=True)
class Snapshot:
    """A pair as its two members described it, in the inventory's order; `moment` is when it is judged.

    `past` is what a store remembers of its earlier nights: no rule may find a pair readier for it.
    """

    pair: Pair
    members: tuple[MemberSnapshot, MemberSnapshot]
    moment: datetime
    past: Past = field(default_factory=Past)

    def other(self, member: MemberSnapshot) -> MemberSnapshot:
        """The member's partner."""
        first, second = self.members
        return second if member.name == first.name else first


def understand(capture: Capture) -> Reading[Facts]:
    """Read one capture; whatever keeps it from being facts becomes the reading's `problem`."""
    printed = tuple(transcript.split(capture.text))
    member, command = capture.member, capture.command
    if capture.ending is Ending.MISSING:
        return Reading(member, command, None, capture.reason or "there is no capture of it")
    if capture.ending is Ending.CUT_OFF:
        reason = f"the answer was cut off ({capture.reason})" if capture.reason else "the answer was cut off"
        return Reading(member, command, None, reason, printed)
    try:
        facts = read(command, capture.text)
        return Reading(member, command, facts, "", printed, whole=capture.started is not None)
    except Unreadable as error:
        return Reading(member, command, None, str(error), printed, isinstance(error, Refused))


def member_snapshot(name: str, captures: list[Capture]) -> MemberSnapshot:
    """A member's snapshot from its captures; of two captures of one command the later in the list counts."""
    by_command = {capture.command: capture for capture in captures}
    return MemberSnapshot(name, by_command, {text: understand(capture) for text, capture in by_command.items()})
