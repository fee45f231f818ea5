"""ap-joined: are all known access points registered now?

A pair that knows of no access points passes: both tables say so, nothing that is known is missing, and a pair that
waits for another site's access points has none. Those that have left still stand in the join summary.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from collector.finding import Answer, Status
from collector.rules.ap_tables import NO_ACCESS_POINTS, ROLES, TABLES, counted, lost, named, rows, tellers
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import lack, unknown
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from inventory.policy import Policy
from parsers.facts.access_points import AccessPoint, ApSummary
from parsers.facts.joining import JoinRecord, JoinSummary

_SUMMARY, _JOINS = "show ap summary", "show wireless stats ap join summary"
_QUESTION = "whether all access points are registered"
_REMEDY = (
    "Find out why these access points aren't registered (power, the way to the controller, a certificate, an image "
    "that they couldn't load), or take those that are gone for good out of the statistics. An access point that is "
    "away misses the new image and comes back to a longer outage. Restarting one drops its clients: agree it with the "
    "site and, where lives depend on the network, with the people who run the ward."
)

# What an access point is told by: any of them that two rows share makes them one.
_Marks = set[str]


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The active one's two tables."""
    heard, parts = tellers(snapshot, _QUESTION)
    for member in heard:
        parts += _told(member)
    return answer(parts)


def _told(member: MemberSnapshot) -> list[Part]:
    summary, joins = member.read(_SUMMARY, ApSummary), member.read(_JOINS, JoinSummary)
    aps = summary.facts.aps if summary.facts is not None else ()
    records = joins.facts.aps if joins.facts is not None else ()
    registered = [ap for ap in aps if ap.state is not None and _is(ap.state, "registered")]
    parts = [*_lacks(member, summary, joins)]
    if summary.facts is not None:
        parts += _not_registered(member, summary, records)
    if joins.facts is not None:
        parts += _not_joined(member, joins, aps if summary.facts is not None else None)
    if not aps and not records:
        clause = f"{member.name} knows of {NO_ACCESS_POINTS}"
    else:
        clause = f"{counted(len(registered))} known to {member.name}, all registered"
    return [Part(Status.PASS, clause, (*rows(summary, (), "count"), *rows(joins, (), "count"))), *parts]


def _lacks(member: MemberSnapshot, summary: Reading[ApSummary], joins: Reading[JoinSummary]) -> Iterator[Part]:
    if summary.facts is None:
        yield unknown(f"{lack(member, summary)}, so {_QUESTION} isn't known")
    elif reason := lost(member, summary, "access points"):
        yield unknown(reason, rows(summary, (), "count"))
    if joins.facts is None:
        yield unknown(f"{lack(member, joins)}, so {_QUESTION} isn't known")
    elif reason := lost(member, joins, "access points"):
        yield unknown(reason, rows(joins, (), "count"))


def _not_registered(member: MemberSnapshot, summary: Reading[ApSummary], records: Sequence[JoinRecord]) -> list[Part]:
    aps = summary.facts.aps if summary.facts is not None else ()
    silent = [ap for ap in aps if ap.state is None]
    away = [ap for ap in aps if ap.state is not None and not _is(ap.state, "registered")]
    history = _history(records) if away else {}
    names = [f"{ap.name} ({_why([ap.state or ''], _record(ap, history))})" for ap in away]
    parts = []
    if away:
        clause = f"{counted(len(away))} in {member.name}'s table not registered: {named(names)}"
        parts.append(Part(Status.BLOCK, clause, rows(summary, (ap.at for ap in away)), _REMEDY))
    if silent:
        clause = f"the state of {counted(len(silent))} isn't shown: {named([ap.name for ap in silent])}"
        parts.append(unknown(clause, rows(summary, (ap.at for ap in silent))))
    return parts


def _not_joined(
    member: MemberSnapshot, joins: Reading[JoinSummary], listed: Sequence[AccessPoint] | None
) -> Iterator[Part]:
    """Those whose record isn't `Joined`, and those that the table of access points (None: not readable) lacks."""
    records = joins.facts.aps if joins.facts is not None else ()
    known = set[str]().union(*map(_marks_of_row, listed)) if listed is not None else None
    away: list[tuple[JoinRecord, str]] = []
    silent: list[JoinRecord] = []
    for record in records:
        missing = known is not None and known.isdisjoint(_marks_of_record(record))
        states = [record.status] if record.status is not None and not _is(record.status, "joined") else []
        states += ["not in the list of access points"] if missing else []
        if states:
            away.append((record, _why(states, record)))
        elif record.status is None:
            silent.append(record)
    if away:
        names = [f"{_name(record)} ({why})" for record, why in away]
        clause = f"{counted(len(away))} in {member.name}'s join summary not joined now: {named(names)}"
        yield Part(Status.BLOCK, clause, rows(joins, (record.at for record, _ in away)), _REMEDY)
    if silent:
        clause = f"the join status of {counted(len(silent))} isn't shown: {named([_name(item) for item in silent])}"
        yield unknown(clause, rows(joins, (record.at for record in silent)))


def _why(states: Sequence[str], record: JoinRecord | None) -> str:
    said = [*states]
    if record is not None and not _nothing(record.last_failure_phase):
        said.append(f"last failure: {record.last_failure_phase}")
    if record is not None and not _nothing(record.last_disconnect_reason):
        said.append(f"last disconnect: {record.last_disconnect_reason}")
    return ", ".join(said)


def _name(record: JoinRecord) -> str:
    return record.base_mac if _nothing(record.name) else record.name or record.base_mac


def _history(records: Sequence[JoinRecord]) -> dict[str, JoinRecord]:
    return {mark: record for record in records for mark in _marks_of_record(record)}


def _record(ap: AccessPoint, history: dict[str, JoinRecord]) -> JoinRecord | None:
    return next((history[mark] for mark in sorted(_marks_of_row(ap)) if mark in history), None)


def _marks_of_row(ap: AccessPoint) -> _Marks:
    return _marks(ap.name, ap.ethernet_mac, ap.radio_mac)


def _marks_of_record(record: JoinRecord) -> _Marks:
    return _marks(record.name, record.ethernet_mac, record.base_mac)


def _marks(name: str | None, ethernet: str | None, radio: str | None) -> _Marks:
    """The name, and each address in one spelling; an address stands for itself only among those of its kind."""
    found = set() if name is None or _nothing(name) else {f"name {name}"}
    for kind, mac in (("ethernet", ethernet), ("radio", radio)):
        digits = re.sub(r"[^0-9a-f]", "", (mac or "").lower())
        if digits.strip("0"):
            found.add(f"{kind} {digits}")
    return found


def _is(printed: str, word: str) -> bool:
    return printed.strip().lower() == word


def _nothing(text: str | None) -> bool:
    return (text or "").strip().lower() in ("", "na", "n/a", "none", "-")


RULE = Rule(
    id="ap-joined",
    title="Are all known access points registered now?",
    why="What was away before the window can't be told from what the upgrade lost, and it misses the image beforehand.",
    good="quay-hall-01  2  WX-AP20  0200.5e10.0001  0200.5e80.0010  NL  -E  203.0.113.1  Registered  Hall",
    bad="0200.5e80.0010  0200.5e10.0001  quay-hall-01  203.0.113.1  Not Joined  Join  Heartbeat timer expiry",
    needs=(*TABLES, _JOINS, *ROLES),
    judge=judge,
    weight="caution",
)
