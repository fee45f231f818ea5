"""The access points' restarts in batches, from the active one's neighbour reports, and in how many rounds they end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

from collector.plan.batches import BatchPlan, Heard, plan_batches
from collector.plan.staging import Known, KnownAp, area_of, site_of
from collector.rules.ap_tables import tellers
from collector.snapshot import Snapshot
from inventory.policy import Policy
from parsers.facts.neighbours import ApNeighbours

NEIGHBOURS = "show ap neighbor summary"


@dataclass(frozen=True)
class Restarts:
    """The batches; None where they can't be computed: `lack` says why in a clause, `needed` what would help.

    `rounds` is into how many rounds the restarts are computed; None without batches: `note` tells what is known then.
    """

    batches: BatchPlan | None
    rounds: int | None
    lack: str = ""
    needed: str = ""
    note: str = ""


def restarts_of(snapshot: Snapshot, policy: Policy, known: Known) -> Restarts:
    """The restarts of the access points that are known."""
    if not known.aps and not known.lack:
        return Restarts(None, 0)
    lack, needed = _lack(snapshot, policy, known)
    if lack:
        note = "" if known.lack else _rolling_note(known, policy)
        return Restarts(None, None, lack, needed, note)
    plan = _batches(snapshot, policy, known)
    return Restarts(plan, len(plan.batches))


def _lack(snapshot: Snapshot, policy: Policy, known: Known) -> tuple[str, str]:
    """Why there can be no batches, and what would help."""
    if policy.ap_restarts.neighbour_dbm is None:
        return "the policy has no `ap_restarts.neighbour_dbm`", "Add `ap_restarts.neighbour_dbm` to the policy."
    if policy.ap_restarts.site_share_percent is None:
        clause = "the policy has no `ap_restarts.site_share_percent`"
        return clause, "Add `ap_restarts.site_share_percent` to the policy."
    if known.lack:
        again = "Take the active member's captures of `show ap summary` and `show ap image`."
        return f"it isn't known which access points there are: {known.lack}", again
    member = tellers(snapshot, "whom the access points hear")[0][0]
    reading = member.read(NEIGHBOURS, ApNeighbours)
    if reading.facts is None:
        return (
            f"`{NEIGHBOURS}` on {member.name}: {reading.problem}",
            f"Take the active member's capture of `{NEIGHBOURS}`.",
        )
    return "", ""


def _batches(snapshot: Snapshot, policy: Policy, known: Known) -> BatchPlan:
    table, pair = policy.ap_restarts, snapshot.pair
    facts = tellers(snapshot, "whom the access points hear")[0][0].read(NEIGHBOURS, ApNeighbours).facts
    assert facts is not None
    assert table.neighbour_dbm is not None
    assert table.site_share_percent is not None
    critical = [ap.name for ap in known.aps if (area := area_of(pair, ap.name)) is not None and area.critical]
    return plan_batches(
        _heard(facts, known.aps),
        {ap.name: site_of(pair, ap.name) for ap in known.aps},
        level_dbm=table.neighbour_dbm,
        share=table.site_share_percent / 100,
        critical=critical,
        reported={row.name for row in facts.neighbours} | {row.name for row in facts.alone},
        percentages=table.rolling_percents,
    )


def _heard(facts: ApNeighbours, aps: tuple[KnownAp, ...]) -> Iterator[Heard]:
    """The neighbour reports, with names in place of radio addresses."""
    names = {_radio(ap.radio_mac): ap.name for ap in aps if ap.radio_mac is not None}
    for row in facts.neighbours:
        yield Heard(row.name, names.get(_radio(row.neighbour), row.neighbour), row.dbm)


def _radio(mac: str) -> str:
    """An address without its last digit: a radio's networks have the addresses behind its own (common practice)."""
    digits = "".join(each for each in mac.lower() if each in "0123456789abcdef")
    return digits[:11] if len(digits) == 12 else mac


def _rolling_note(known: Known, policy: Policy) -> str:
    """At how many rounds each share of the controller's own rolling restart begins: no plan can be computed from it.

    How many it takes depends on whom the access points hear, which isn't known here.
    """
    shares = policy.ap_restarts.rolling_percents
    if not shares:
        return ""
    told = ", ".join(f"{share:g} per cent {min(ceil(100 / share - 1e-9), len(known.aps)):,}" for share in shares)
    return (
        "In how many rounds the access points restart isn't known without batches. The controller's own rolling "
        f"restart takes at least so many rounds at the policy's shares: {told}."
    )
