"""certificates: is the certificate that access points join with present on both members, and does it hold long enough?

A certificate's end is read as wall clock time in the window's own offset: its zone isn't told, so it may be some hours
off, which the policy's days are there to cover. A certificate that the maker installed may not be listed at all; then
its end isn't known. Each chassis has its own of those, so only others have to be the same on both members.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, timedelta

from collector.finding import Answer, Evidence, Status
from collector.rules.ap_tables import capped
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import hear_each, listed, quiet, unknown
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.certificates import Certificate, Certificates, Trustpoint

_TRUSTPOINT, _LIST = "show wireless management trustpoint", "show crypto pki certificates"
_QUESTION = "whether access points can join there"
_ASK = (
    "Access points whose session rests on it may drop and join again: agree it through your change process and, where "
    "lives depend on the network, with the people who run the ward."
)
_ABSENT = f"Bring the certificate and its private key onto that member by the vendor's procedure. {_ASK}"
_ENDS = f"Renew the certificate by the vendor's procedure before the window, and check both members again. {_ASK}"
_DIFFER = (
    "Find out whether the two members are meant to have different certificates; if not, bring the active one's onto "
    f"the standby by the vendor's procedure. {_ASK}"
)
_LOOK = "Look up when that certificate ends, by the vendor's procedure for certificates that the maker installed."


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each member's own word on its certificate: nobody can tell what its partner holds."""
    names = hear_each(snapshot, [_TRUSTPOINT], Trustpoint, _QUESTION, stand_in=False)
    lists = hear_each(snapshot, [_LIST], Certificates, _QUESTION, stand_in=False)
    held: list[tuple[Reading[Certificates], Certificate]] = []
    parts: list[Part] = []
    for named in names.readings:
        parts += _available(named)
    for member in snapshot.members:
        for reading, certificate in joined_with(member):
            held.append((reading, certificate))
            parts += _holds(reading, certificate, snapshot, policy)
        parts += _unlisted(member)
    members = listed(member.name for member in snapshot.members)
    ends = [certificate.end for _, certificate in held if certificate.end is not None]
    until = f" until {min(ends):%Y-%m-%d} at least" if ends else ""
    clause = f"The certificate that access points join with is on {members} and holds{until}"
    return answer([Part(Status.PASS, clause), *parts, *_same(snapshot), *names.parts, *lists.parts])


def _available(reading: Reading[Trustpoint]) -> Iterator[Part]:
    facts = reading.facts
    if facts is None or not facts.name:
        yield unknown(f"`{_TRUSTPOINT}` on {reading.member} doesn't name a trustpoint", reading.evidence("name"))
    for field, what in (("certificate_available", "certificate"), ("private_key_available", "private key")):
        available: bool | None = getattr(facts, field)
        evidence = reading.evidence("name", field)
        if available is None:
            yield unknown(f"`{_TRUSTPOINT}` on {reading.member} doesn't say whether the {what} is there", evidence)
        elif available:
            yield quiet(*evidence)
        else:
            clause = f"the {what} that access points join with isn't available on {reading.member}"
            yield Part(Status.BLOCK, clause, evidence, _ABSENT)


def joined_with(member: MemberSnapshot) -> list[tuple[Reading[Certificates], Certificate]]:
    """The member's own certificates of the trustpoint that access points join with: one, or more while one is new."""
    trustpoint = member.read(_TRUSTPOINT, Trustpoint).facts
    reading = member.read(_LIST, Certificates)
    name = (trustpoint.name or "").strip() if trustpoint is not None else ""
    if reading.facts is None or not name:
        return []
    found = [item for item in reading.facts.certificates if _is_of(item, name)]
    return [(reading, item) for item in found]


def _is_of(certificate: Certificate, name: str) -> bool:
    return certificate.kind == "certificate" and name in (word.strip() for word in certificate.trustpoints)


def _unlisted(member: MemberSnapshot) -> Iterator[Part]:
    trustpoint, reading = member.read(_TRUSTPOINT, Trustpoint), member.read(_LIST, Certificates)
    if trustpoint.facts is None or not trustpoint.facts.name or reading.facts is None or joined_with(member):
        return
    clause = f"`{_LIST}` on {member.name} lists no certificate of {trustpoint.facts.name}, so its end isn't known"
    yield Part(Status.UNKNOWN, clause, trustpoint.evidence("name"), _LOOK)


def _holds(
    reading: Reading[Certificates], certificate: Certificate, snapshot: Snapshot, policy: Policy
) -> Iterator[Part]:
    evidence = _lines(reading, certificate)
    what = f"the certificate that access points join with on {reading.member}"
    status = (certificate.status or "").strip()
    if not status:
        yield unknown(f"the status of {what} isn't shown", evidence)
    elif status.lower() != "available":
        yield Part(Status.BLOCK, f"{what} is {status}, not Available", evidence, _ABSENT)
    needed, words = _needed(snapshot, policy)
    if certificate.end is None:
        yield unknown(f"the end of {what} isn't shown", evidence)
    elif certificate.end < needed:
        clause = f"{what} ends on {certificate.end:%Y-%m-%d %H:%M}, before {words}"
        yield Part(Status.BLOCK, clause, evidence, _ENDS)
    else:
        yield quiet(*evidence)
    if certificate.start is None:
        yield unknown(f"the start of {what} isn't shown", evidence)
    elif certificate.start > _wall_clock(snapshot.moment, snapshot):
        yield Part(Status.BLOCK, f"{what} begins only on {certificate.start:%Y-%m-%d %H:%M}", evidence, _ENDS)


def _needed(snapshot: Snapshot, policy: Policy) -> tuple[datetime, str]:
    """Until when a certificate has to hold, and that in words: the policy's days after the window or, later, now."""
    window = snapshot.pair.window
    after_window = window is not None and window.end >= snapshot.moment
    end = window.end if window is not None and after_window else snapshot.moment
    needed = _wall_clock(end, snapshot) + timedelta(days=policy.certificate_days)
    since = "after the window" if after_window else "from now"
    return needed, f"{needed:%Y-%m-%d %H:%M}, {policy.certificate_days:g} days {since}"


def _wall_clock(moment: datetime, snapshot: Snapshot) -> datetime:
    """The moment without an offset, in the window's own offset where there is a window."""
    window = snapshot.pair.window
    return (moment.astimezone(window.start.tzinfo) if window is not None else moment).replace(tzinfo=None)


def _same(snapshot: Snapshot) -> Iterator[Part]:
    """Whether both members hold the same certificates, where they aren't of the kind that each chassis has its own."""
    first, second = snapshot.members
    if _from_the_maker(first) and _from_the_maker(second):
        return
    own, partners = joined_with(first), joined_with(second)
    if not own or not partners:
        return
    evidence = tuple(line for reading, item in (*own, *partners) for line in _lines(reading, item))
    if any(item.serial is None for _, item in (*own, *partners)):
        clause = f"whether {first.name} and {second.name} hold the same certificate isn't known: no serial is shown"
        yield unknown(clause, evidence)
    elif {_identity(item) for _, item in own} != {_identity(item) for _, item in partners}:
        clause = f"{first.name} and {second.name} hold different certificates for access points to join with"
        yield Part(Status.CAUTION, clause, evidence, _DIFFER)


def _from_the_maker(member: MemberSnapshot) -> bool:
    facts = member.read(_TRUSTPOINT, Trustpoint).facts
    return facts is not None and re.search(r"\bMIC\b", facts.certificate_type or "", re.IGNORECASE) is not None


def _identity(certificate: Certificate) -> tuple[str, str]:
    serial = (certificate.serial or "").replace(" ", "").replace(":", "").lower().removeprefix("0x").lstrip("0")
    return serial, " ".join((certificate.subject or "").split()).lower()


def _lines(reading: Reading[Certificates], certificate: Certificate) -> tuple[Evidence, ...]:
    return capped(reading.evidence(lines=certificate.at))


RULE = Rule(
    id="certificates",
    title="Is the certificate that access points join with on both members, and does it outlive the window?",
    why="A member without a valid certificate can't take an access point back, whatever else is in order.",
    good="Trustpoint Name  : quay-join\nCertificate Info : Available\nend   date: 10:15:00 CET Nov 3 2029",
    bad="Trustpoint Name  : quay-join\nCertificate Info : Available\nend   date: 10:15:00 CET Feb 9 2027",
    needs=(_TRUSTPOINT, _LIST),
    judge=judge,
    # Nobody can tell what its partner holds, and many a standby's limited shell refuses to: as a block, every such pair
    # would be undecided. Where the standbys tell, a site does well to weigh it as one.
    weight="caution",
)
