"""mutual-view: does what each member says of the other agree with what that one says of itself?"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, timedelta
from typing import Protocol, TypeVar

from collector.capture import Ending
from collector.finding import Answer, Status
from collector.rules import own_time
from collector.rules.evidence_age import apart
from collector.rules.identity import borrowed, same_controller, strangers
from collector.rules.parts import Part, answer, merged
from collector.rules.roles import claims, role
from collector.rules.rule import Rule
from collector.rules.sessions import listed, unknown
from collector.rules.witnesses import Word, word
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers import catalogue
from parsers.facts.clock import Clock, NtpStatus
from parsers.facts.redundancy import Chassis, ChassisMember, Processor, Redundancy
from parsers.facts.software import Boot, Version
from parsers.release import plain

V = TypeVar("V")

_REMEDY = (
    "Wait until any switchover or reload is over and check again. If the two still disagree, don't start an upgrade: "
    "look at both consoles, and follow the vendor's procedure for a pair whose members disagree. It can reload a "
    "controller and drop clients: agree it through your change process and, where lives depend on the network, with "
    "the people who run the ward."
)

_NTP = "show ntp status"
# No zone is farther from UTC: IANA time zone database.
_FARTHEST_ZONE = timedelta(hours=14)
_AT_ONCE = "Take new captures of both members in one go, then decide by those."


@dataclass(frozen=True)
class _Question:
    """One thing that a member says of its partner, and the partner of itself, each by some of its outputs.

    Values are compared in a plain form, since one may be padded or written in another case.
    """

    what: str
    told: Word[str]
    own: tuple[Word[str], ...]
    silent_on_both: bool = False
    """Whether a thing that neither shows is no loss, since some pairs don't have it."""


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Release, boot variable, state and chassis of each member, by its partner's word and by its own."""
    wrong = same_controller(snapshot) or strangers(snapshot)
    if wrong is not None:
        return answer([wrong])
    questions = [question for member in snapshot.members for question in _questions(snapshot, member)]
    compared = [(question.what, part) for question in questions for part in _compared(question)]
    doubts = _of_one_moment(snapshot, policy)
    return answer(
        [*_in_short(snapshot, compared), *_missed(snapshot, questions), *doubts, *_summary(snapshot, questions)]
    )


def _of_one_moment(snapshot: Snapshot, policy: Policy) -> Iterator[Part]:
    """Whether the answers are the members' own and of one moment: else what they say together was never so."""
    lent = borrowed(snapshot)
    if lent is not None:
        yield lent
    if clause := apart(snapshot, policy):
        yield Part(Status.UNKNOWN, f"{clause}, so the answers aren't those of one moment", remedy=_AT_ONCE)
    for member in snapshot.members:
        yield from _of_another_day(member, policy)
        yield from _of_other_times(snapshot, member, policy)


def _of_another_day(member: MemberSnapshot, policy: Policy) -> Iterator[Part]:
    """A clock that nothing calls unsynchronised and that shows another day than the capture is dated: it is an old one.

    Of a clock that is told not to be synchronised the rule about clocks warns.
    """
    shown, ntp = member.read(own_time.CLOCK, Clock), member.read(_NTP, NtpStatus)
    capture = member.captures.get(own_time.CLOCK)
    if shown.facts is None or shown.facts.time is None or capture is None or capture.started is None:
        return
    if shown.facts.mark or (ntp.facts is not None and ntp.facts.synchronised is False):
        return
    apart_by = abs(shown.facts.time.replace(tzinfo=UTC) - capture.started)
    if apart_by > timedelta(hours=policy.capture_age.nightly_hours) + _FARTHEST_ZONE:
        clause = (
            f"`{shown.command}` on {member.name} is dated {capture.started:%Y-%m-%d} and shows "
            f"{shown.facts.time:%Y-%m-%d}, so the answers of {member.name} may be old ones"
        )
        yield Part(Status.UNKNOWN, clause, shown.evidence("time"), remedy=_AT_ONCE)


def _of_other_times(snapshot: Snapshot, member: MemberSnapshot, policy: Policy) -> Iterator[Part]:
    """A controller in its state for longer than it is up: one answer is old."""
    own, told = _processors(snapshot.other(member), member)
    version = member.read(own_time.VERSION, Version)
    up = word(member, version, lambda facts: facts.uptime_seconds, "uptime_seconds")
    for state in (own(_in_state, "state_seconds"), told(_in_state, "state_seconds")):
        yield from _at_most(state, up, f"{member.name} is in its state for", "it is up for", policy)


def _at_most(shorter: Word[int], longer: Word[int], of_shorter: str, of_longer: str, policy: Policy) -> Iterator[Part]:
    if shorter.value is None or longer.value is None:
        return
    if shorter.value - longer.value <= policy.capture_spread_minutes * 60:
        return
    clause = (
        f"{shorter.by} says by `{shorter.command}` that {of_shorter} {_minutes(shorter.value)}, "
        f"and {longer.by} by `{longer.command}` that {of_longer} {_minutes(longer.value)} only"
    )
    clause += ", so the answers aren't those of one moment and of one controller"
    yield Part(Status.UNKNOWN, clause, (*shorter.evidence, *longer.evidence), remedy=_AT_ONCE)


def _questions(snapshot: Snapshot, about: MemberSnapshot) -> Iterator[_Question]:
    """All that is asked about one member."""
    own, told = _processors(snapshot.other(about), about)
    version = word(about, about.read("show version", Version), lambda facts: _release(facts.release), "release")
    boot = word(about, about.read("show boot", Boot), lambda facts: _boot(facts.boot), "boot")
    yield _Question("state", told(_state, "state"), (own(_state, "state"),))
    yield _Question("release", told(_release_of, "release"), (own(_release_of, "release"), version))
    yield _Question("boot variable", told(_boot_of, "boot"), (own(_boot_of, "boot"), boot))
    for what, value, optional in _OF_CHASSIS:
        mine, partners = _rows(snapshot.other(about), about, value)
        yield _Question(what, partners, (mine,), silent_on_both=optional)


class _Teller(Protocol):
    """Makes a word of what a block says: a value, and the field that it is from."""

    def __call__(self, value: Callable[[Processor], V | None], field: str, /) -> Word[V]: ...


def _processors(speaker: MemberSnapshot, about: MemberSnapshot) -> tuple[_Teller, _Teller]:
    """Words from the member's own block of `show redundancy`, and from the peer's block in its partner's."""

    def own(value: Callable[[Processor], V | None], field: str) -> Word[V]:
        reading = about.read("show redundancy", Redundancy)
        return word(about, reading, lambda facts: value(facts.this) if facts.this else None, f"this.{field}")

    def told(value: Callable[[Processor], V | None], field: str) -> Word[V]:
        reading = speaker.read("show redundancy", Redundancy)
        return word(
            speaker,
            reading,
            lambda facts: value(facts.peer) if facts.peer else None,
            f"peer.{field}",
            about=about.name,
        )

    return own, told


def _rows(
    speaker: MemberSnapshot, about: MemberSnapshot, value: Callable[[ChassisMember], str | None]
) -> tuple[Word[str], Word[str]]:
    """The member's own row of `show chassis rmi`, and its row in its partner's."""

    def row(facts: Chassis, local: bool) -> ChassisMember | None:
        found = [item for item in facts.members if item.is_local is local]
        return found[0] if len(found) == 1 else None

    def shown(member: MemberSnapshot, local: bool) -> Word[str]:
        def printed(facts: Chassis) -> str | None:
            found = row(facts, local)
            return value(found) if found is not None else None

        def line(facts: Chassis) -> tuple[int, ...]:
            found = row(facts, local)
            return (found.at,) if found is not None else ()

        return word(member, member.read("show chassis rmi", Chassis), printed, rows=line, about=about.name)

    return shown(about, True), shown(speaker, False)


def _compared(question: _Question) -> Iterator[Part]:
    """What the partner says beside every own word."""
    told = question.told
    for item in question.own:
        if told.value is None or item.value is None:
            continue
        evidence = (*told.evidence, *item.evidence)
        if told.value == item.value:
            yield Part(Status.PASS, "", evidence)
        else:
            clause = (
                f"{told.by} says by `{told.command}` that {told.about}'s {question.what} is {told.value}, "
                f"and {item.by} says by `{item.command}` that it is {item.value}"
            )
            yield Part(Status.BLOCK, clause, evidence, _REMEDY)


def _in_short(snapshot: Snapshot, compared: Sequence[tuple[str, Part]]) -> list[Part]:
    """The parts; where both claim one role, a single one in place of all disagreements, since they follow from that."""
    first, second = snapshot.members
    one, other = set(claims(first)), set(claims(second))
    against = [(what, part) for what, part in compared if part.status is Status.BLOCK]
    if not against or len(one) != 1 or one != other:
        return [part for _, part in compared]
    clause = f"{first.name} and {second.name} both say that they are {one.pop()}"
    more = sum(what not in _OF_ROLES for what, _ in against)
    if more:
        ways = f"{more} more {'way' if more == 1 else 'ways'}"
        clause += f", and what one says of the other differs from what that one says of itself in {ways}"
    evidence = merged(item for _, part in against for item in part.evidence)
    return [Part(Status.BLOCK, clause, evidence, _REMEDY)]


def _missed(snapshot: Snapshot, questions: Sequence[_Question]) -> Iterator[Part]:
    """What can't be compared, and why: one part for each member that gave no answer, and for each silent answer."""
    for member in snapshot.members:
        if not member.reached:
            yield unknown(f"{member.name} gave no answer, so there is nothing to compare with what is said of it")
    missed: dict[str, dict[str, list[str]]] = {}
    for question in questions:
        words = (question.told, *question.own)
        if question.silent_on_both and all(_is_silent(item) for item in words):
            continue
        for item in words:
            if item.value is None and item.reached and not _is_excused(item, snapshot):
                missed.setdefault(item.lack, {}).setdefault(item.about, []).append(question.what)
    for lack, by_member in missed.items():
        what = " and ".join(f"the {listed(whats)} of {about}" for about, whats in by_member.items())
        yield unknown(f"{lack}, so {what} can't be compared")


def _is_silent(item: Word[str]) -> bool:
    return item.value is None and not item.problem


def _is_excused(item: Word[str], snapshot: Snapshot) -> bool:
    """Whether a limited standby refused it, so that the active one's word stands alone.

    Not where another of its answers is none to its command: they may stand in each other's places.
    """
    speaker = next(member for member in snapshot.members if member.name == item.by)
    return item.refused and role(snapshot, snapshot.other(speaker)) == "active" and not _is_out_of_step(speaker)


def _is_out_of_step(member: MemberSnapshot) -> bool:
    return any(
        reading.facts is None and not reading.refused and member.captures[command].ending is Ending.COMPLETE
        for command, reading in member.readings.items()
        if any(line.strip() for line in reading.printed)
    )


def _summary(snapshot: Snapshot, questions: Sequence[_Question]) -> Iterator[Part]:
    """The sentence of a pair that agrees, with what a limited standby left nothing to compare with."""
    compared = [q for q in questions if q.told.value is not None and any(item.value is not None for item in q.own)]
    first, second = (member.name for member in snapshot.members)
    if compared:
        names = listed(question.what for question in compared)
        yield Part(Status.PASS, f"{first} and {second} say of each other what each says of itself: {names}")
    words = (item for question in questions for item in (question.told, *question.own))
    refused: dict[str, list[str]] = {}
    for item in words:
        if _is_excused(item, snapshot):
            refused.setdefault(item.by, []).append(f"`{item.command}`")
    status = Status.PASS if compared else Status.NOT_APPLICABLE
    for member, commands in refused.items():
        yield Part(status, f"{member} refused {listed(commands)}, so there is nothing to compare there")


def _state(processor: Processor) -> str | None:
    return _words(processor.state)


def _release_of(processor: Processor) -> str | None:
    return _release(processor.release)


def _boot_of(processor: Processor) -> str | None:
    return _boot(processor.boot)


def _in_state(processor: Processor) -> int | None:
    return processor.state_seconds


def _minutes(seconds: int) -> str:
    return f"{seconds / 60:,.0f} minutes"


def _release(printed: str | None) -> str | None:
    try:
        return plain(printed or "")
    except ValueError:
        return None


def _boot(entries: tuple[str, ...] | None) -> str | None:
    """The entries in order; an empty list is what is printed of a processor that isn't ready, and says nothing."""
    found = [re.sub(r"^(?:boot)?flash:/?", "bootflash:", entry.strip()) for entry in entries or ()]
    return ";".join(found) or None


def _words(printed: str | None) -> str | None:
    return " ".join((printed or "").upper().split()) or None


def _mac(row: ChassisMember) -> str | None:
    digits = re.sub(r"[^0-9a-f]", "", row.mac.lower())
    return ".".join(digits[n : n + 4] for n in range(0, len(digits), 4)) or None


def _address(printed: str | None) -> str | None:
    try:
        return str(ipaddress.ip_address(printed or ""))
    except ValueError:
        return printed or None


# What a row of the chassis table says, and whether a pair may be without it.
_OF_CHASSIS: tuple[tuple[str, Callable[[ChassisMember], str | None], bool], ...] = (
    ("chassis number", lambda row: str(row.number), False),
    ("chassis role", lambda row: _words(row.role), False),
    ("chassis state", lambda row: _words(row.state), False),
    ("MAC address", _mac, False),
    ("IP address", lambda row: _address(row.ip), True),
    ("RMI address", lambda row: _address(row.rmi_ip), True),
)

_OF_ROLES = ("state", "chassis role")

RULE = Rule(
    id="mutual-view",
    title="Do the members say of each other what each says of itself?",
    why="Members that see different things of one another aren't in step, and a switchover lands on a surprise.",
    good="quay-a: Current Software state = STANDBY HOT (peer)\nquay-b: Current Software state = STANDBY HOT (its own)",
    bad="quay-a: BOOT = bootflash:packages.conf,1; (peer)\nquay-b: BOOT = bootflash:old.bin,1; (its own)",
    # Beside those that it compares, it asks of every answer whether it is one to its command.
    needs=tuple(command.text for command in catalogue.asked()),
    judge=judge,
)
