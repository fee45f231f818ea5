"""Who notices the access points' restarts: clients, minutes without service, sites.

Clients are counted as of the captures: how many there will be at the hour of the window nobody can read from them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from collector.plan.plan import BatchNotice, Notice
from collector.plan.staging import site_of
from collector.rules.ap_tables import tellers
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.pairs import Pair
from parsers.facts.neighbours import ApLoad

LOADS = ("show ap dot11 5ghz load-info", "show ap dot11 24ghz load-info")


@dataclass(frozen=True)
class Counted:
    """Clients by the access point's name, None where a radio's figure wasn't shown; when they were counted.

    `lack` says in a clause why they aren't known; empty where they are.
    """

    clients: Mapping[str, int | None]
    at: datetime | None = None
    lack: str = ""


def count(snapshot: Snapshot) -> Counted:
    """The clients on each access point's radios, as the active one told in both bands."""
    heard, parts = tellers(snapshot, "how many clients there are")
    if parts or len(heard) != 1:
        return Counted({}, None, "it isn't certain which member is active")
    member = heard[0]
    found: dict[str, int | None] = {}
    for command in LOADS:
        reading = member.read(command, ApLoad)
        if reading.facts is None:
            return Counted({}, None, f"`{command}` on {member.name}: {reading.problem}")
        for row in reading.facts.loads:
            before = found.get(row.name, 0)
            found[row.name] = None if row.clients is None or before is None else before + row.clients
    return Counted(found, _started(member))


def _started(member: MemberSnapshot) -> datetime | None:
    started = [member.captures[command].started for command in LOADS if command in member.captures]
    return min((each for each in started if each is not None), default=None)


def notice(
    pair: Pair,
    aps: Sequence[str],
    batches: Sequence[Sequence[str]] | None,
    counted: Counted,
    round_seconds: float | None,
) -> Notice:
    """Who notices: each batch by itself where there are batches, all access points together in any case.

    `round_seconds` is how long an access point of a round is likely to be without service.
    """
    told = tuple(_batch(pair, number, batch, counted, round_seconds) for number, batch in enumerate(batches or (), 1))
    return Notice(
        batches=told,
        sites=_sites(pair, aps),
        aps=len(aps),
        clients=_clients(aps, counted),
        ap_minutes=_ap_minutes(len(aps), round_seconds),
        counted_at=counted.at,
        statement=_statement(counted),
    )


def _batch(pair: Pair, number: int, aps: Sequence[str], counted: Counted, round_seconds: float | None) -> BatchNotice:
    return BatchNotice(
        number, tuple(aps), _sites(pair, aps), _clients(aps, counted), _ap_minutes(len(aps), round_seconds)
    )


def _sites(pair: Pair, aps: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(site_of(pair, ap) for ap in aps))


def _clients(aps: Sequence[str], counted: Counted) -> int | None:
    """The sum over all of them; None where one of them isn't known: a sum without it would look like all."""
    found = [counted.clients.get(ap) for ap in aps]
    known = [each for each in found if each is not None]
    return sum(known) if not counted.lack and len(known) == len(found) else None


def _ap_minutes(aps: int, round_seconds: float | None) -> float | None:
    return aps * round_seconds / 60 if round_seconds is not None else None


def _statement(counted: Counted) -> str:
    if counted.lack:
        return f"How many clients notice isn't known: {counted.lack}."
    when = counted.at.isoformat(timespec="minutes") if counted.at is not None else "when the captures were taken"
    return f"Clients are counted as of the captures ({when}), not at the hour of the window."
