"""What one poll says of each member and of the pair: every witness is heard; what they contradict isn't known."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from collector.capture import Ending
from collector.finding import Evidence, Status
from collector.rules.install_state import controllers_of, numbers_of
from collector.rules.parts import merged
from collector.rules.roles import claims, told_role
from collector.rules.sessions import hear_each
from collector.rules.witnesses import running_releases
from collector.snapshot import MemberSnapshot, Snapshot
from collector.watching.sighting import MemberSighting
from parsers.facts.redundancy import ConfigSync, Processor, Redundancy
from parsers.facts.software import Version
from parsers.facts.upgrade import InstallSummary, IssuState, Package
from parsers.facts.wireless import WirelessSummary
from parsers.release import Release, named

INSTALL, ISSU, MISMATCHES = "show install summary", "show issu state detail", "show redundancy config-sync failures mcl"
_GONE = ("DISABLED", "REMOVED")
_MOST_LINES = 12


def member_sighting(snapshot: Snapshot, member: MemberSnapshot, target: Release) -> MemberSighting:
    """What a poll says of one member, in its own session and in its partner's."""
    partner = snapshot.other(member)
    own, told = (each.read("show redundancy", Redundancy).facts for each in (member, partner))
    this = own.this if own is not None else None
    peer = told.peer if told is not None else None
    version = member.read("show version", Version).facts
    releases = _releases(snapshot, member)
    states, other = _installed(snapshot, member, target)
    own_release = version.release if version is not None and version.release else this.release if this else None
    return MemberSighting(
        name=member.name,
        answered=member.reached,
        why_not="" if member.reached else _why_not(member),
        role=told_role(snapshot, member),
        state=this.state if this is not None and this.state else _peer_state(peer),
        release=own_release or (peer.release if peer is not None else None),
        by="itself" if own_release else "partner" if peer is not None and peer.release else None,
        uptime_seconds=version.uptime_seconds if version is not None else None,
        reload_reason=version.last_reload_reason if version is not None else None,
        target=states,
        other=other,
        on_target=_agreed(release == target for release in releases),
    )


def _why_not(member: MemberSnapshot) -> str:
    missing = (each.reason for each in member.captures.values() if each.ending is Ending.MISSING and each.reason)
    return next(missing, "it gave no answer")


def _peer_state(peer: Processor | None) -> str | None:
    return peer.state if peer is not None else None


def _releases(snapshot: Snapshot, member: MemberSnapshot) -> list[Release]:
    own, others = running_releases(snapshot, member)
    return [word.value for word in (own, *others) if word.value is not None]


def _agreed(values: Iterable[bool]) -> bool | None:
    """What all say alike; None where nobody says it, or they contradict each other."""
    said = set(values)
    return said.pop() if len(said) == 1 else None


def _installed(
    snapshot: Snapshot, member: MemberSnapshot, target: Release
) -> tuple[tuple[str, ...] | None, bool | None]:
    """The states of the target's image on a member by all sessions, and whether another image is more than inactive."""
    numbers, states, others, heard = numbers_of(snapshot), set[str](), False, False
    for speaker in snapshot.members:
        facts = speaker.read(INSTALL, InstallSummary).facts
        for scope in facts.scopes if facts is not None else ():
            if member.name not in controllers_of(scope, speaker.name, numbers):
                continue
            heard = True
            images = [package for package in scope.packages if package.type == "IMG"]
            states |= {package.state for package in images if is_of(package.name, target)}
            others |= any(package.state != "I" for package in images if not is_of(package.name, target))
    return (tuple(sorted(states)), others) if heard else (None, None)


def is_of(name: str, target: Release) -> bool:
    """Whether a package's name, which may be a path, names a release: `wx-universal.17.12.04.bin` is 17.12.4."""
    return named(name) == target


def installed_openly(snapshot: Snapshot, target: Release) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What keeps the target from being committed on both by all sessions, and what isn't known of it; clauses.

    An inactive image of another release is no obstacle: the one that was replaced may be left.
    """
    numbers = numbers_of(snapshot)
    heard = hear_each(snapshot, [INSTALL], InstallSummary, "what is committed there")
    unknown = [part.clause for part in heard.parts if part.status is Status.UNKNOWN]
    against: list[str] = []
    for reading in heard.readings:
        facts, by = reading.facts, f"`{INSTALL}` on {reading.member}"
        scopes = facts.scopes if facts is not None else ()
        abouts = {about for scope in scopes for about in controllers_of(scope, reading.member, numbers)}
        if reading.member not in abouts:
            unknown.append(f"{by} doesn't show that controller's own software")
        if facts is not None and facts.auto_abort is None:
            unknown.append(f"no line of {by} tells about the auto-abort timer")
        for package in (each for scope in scopes for each in scope.packages):
            if package.state not in ("C", "I") or (package.state == "C") is not _is_wanted(package, target):
                against.append(f"{by} lists {package.type} {package.name} as {package.state}")
    return tuple(dict.fromkeys(against)), tuple(dict.fromkeys(unknown))


def _is_wanted(package: Package, target: Release) -> bool:
    """Whether a package has to be committed: the target's image; others than images may be either way."""
    return is_of(package.name, target) if package.type == "IMG" else package.state == "C"


@dataclass(frozen=True)
class Upgrade:
    """What both sessions say of the upgrade: the timer, whether it goes on, and its own words for where it is.

    `timer` and `operating` are the worst that is said: active before inactive, True before False; None: nobody says.
    `committing`: its last operation is the commit. What else was the last one may be of an earlier attempt.
    """

    timer: bool | None
    seconds_left: int | None
    operating: bool | None
    words: tuple[str, ...]
    committing: bool

    def says(self, *words: str) -> bool:
        """Whether any of its own words holds one of these."""
        return any(word in said for said in self.words for word in words)


def upgrade(snapshot: Snapshot) -> Upgrade:
    """The upgrade by all sessions."""
    summaries = [each for m in snapshot.members if (each := m.read(INSTALL, InstallSummary).facts) is not None]
    states = [state for m in snapshot.members if (state := m.read(ISSU, IssuState).facts) is not None]
    left = [each.auto_abort_seconds_left for each in summaries if each.auto_abort_seconds_left is not None]
    words = [each for state in states for each in (state.operation, state.stage) if each]
    last = [state.last_operation for state in states if state.last_operation]
    return Upgrade(
        timer=_worst([each.auto_abort == "active" for each in summaries if each.auto_abort is not None]),
        seconds_left=min(left, default=None),
        operating=_worst([each.in_progress for each in states if each.in_progress is not None]),
        words=tuple(dict.fromkeys(word.lower() for word in words)),
        committing=any(word.lower().startswith("commit") for word in (*words, *last)),
    )


def _worst(said: Sequence[bool]) -> bool | None:
    return any(said) if said else None


def mismatches(snapshot: Snapshot) -> int | None:
    """How many lines didn't synchronise, by the session that lists the most; None where nobody says."""
    facts = [each for m in snapshot.members if (each := m.read(MISMATCHES, ConfigSync).facts) is not None]
    counts = [max(len(each.lines), 0 if each.empty else 1) for each in facts if each.empty is not None or each.lines]
    return max(counts, default=None)


def clients(snapshot: Snapshot, active: str | None) -> int | None:
    """How many clients there are, by the active one's count."""
    member = next((each for each in snapshot.members if each.name == active), None)
    facts = member.read("show wireless summary", WirelessSummary).facts if member is not None else None
    return facts.clients if facts is not None else None


def both_active(snapshot: Snapshot) -> bool:
    """Whether both members say that they are active."""
    return all("active" in claims(member) for member in snapshot.members)


def is_gone(member: MemberSighting) -> bool:
    """Whether a member is away: it doesn't answer, and its partner sees no state of it either, or says that it is."""
    state = (member.state or "").upper()
    return not member.answered and (not state or any(word in state for word in _GONE))


def is_hot(member: MemberSighting) -> bool:
    """Whether a member is the hot standby by its redundancy state."""
    return " ".join((member.state or "").upper().split()) == "STANDBY HOT"


def lines(snapshot: Snapshot, target: Release) -> tuple[Evidence, ...]:
    """The lines that a stage is recognised by, of both sessions, at most a dozen of each answer."""
    found: list[Evidence] = []
    for member in snapshot.members:
        found += member.read("show version", Version).evidence("release")
        found += member.read("show redundancy", Redundancy).evidence("this.state", "peer.state", "communications")
        install = member.read(INSTALL, InstallSummary)
        scopes = install.facts.scopes if install.facts is not None else ()
        rows = [package.at for scope in scopes for package in scope.packages if package.type == "IMG"]
        found += install.evidence("auto_abort", "auto_abort_seconds_left", lines=tuple(rows))
        found += member.read(ISSU, IssuState).evidence("in_progress", "operation", "stage")
    return tuple(
        Evidence(each.member, each.command, each.numbers[:_MOST_LINES], each.lines[:_MOST_LINES])
        for each in merged(found)
    )
