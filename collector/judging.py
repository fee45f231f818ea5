"""From a pair's captures to its verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from collector import ordering, rules
from collector.capture import Capture
from collector.finding import Finding, Status
from collector.result import MemberResult, PairResult
from collector.rules.roles import told_role
from collector.snapshot import MemberSnapshot, Snapshot, member_snapshot
from collector.verdict import verdict
from inventory.pairs import Pair
from inventory.policy import Policy
from inventory.waivers import Waiver
from parsers.facts.redundancy import Redundancy
from parsers.facts.software import Version
from parsers.release import plain


def aimed_at(pair: Pair, release: str) -> Pair:
    """The pair with another target release; ValueError where it is none.

    The inventory's image is that of its own target; another target's stands in `images`, or isn't known.
    """
    wanted = plain(release)
    if wanted == pair.target_release:
        return pair
    return replace(pair, target_release=wanted, image=pair.images.get(wanted))


def judge_pair(
    pair: Pair,
    captures: Mapping[str, Sequence[Capture]],
    policy: Policy,
    moment: datetime,
    waivers: Sequence[Waiver] = (),
) -> PairResult:
    """The pair's result by all rules at this moment; a member without captures counts as never reached."""
    return judge_snapshot(snapshot_of(pair, captures, moment), policy, waivers)


def snapshot_of(pair: Pair, captures: Mapping[str, Sequence[Capture]], moment: datetime) -> Snapshot:
    """The pair as its captures tell; a member without any counts as never reached."""
    first, second = (member_snapshot(member.name, list(captures.get(member.name, ()))) for member in pair.members)
    return Snapshot(pair, (first, second), moment)


def judge_snapshot(snapshot: Snapshot, policy: Policy, waivers: Sequence[Waiver] = ()) -> PairResult:
    """The result of the snapshot's pair by all rules."""
    pair, (first, second) = snapshot.pair, snapshot.members
    findings = rules.judge(snapshot, policy, waivers)
    members = (_member_result(snapshot, first), _member_result(snapshot, second))
    return PairResult(
        pair,
        verdict(findings),
        pair.target_release,
        members,
        findings,
        ordering.steps(findings),
        _left_unknown(snapshot, findings),
    )


def _member_result(snapshot: Snapshot, member: MemberSnapshot) -> MemberResult:
    because = None if member.reached else _unreached_because(member)
    return MemberResult(member.name, told_role(snapshot, member), member.reached, _release(snapshot, member), because)


def _unreached_because(member: MemberSnapshot) -> str:
    reasons = list(dict.fromkeys(capture.reason for capture in member.captures.values() if capture.reason))
    # The last one is why no more was asked.
    return reasons[-1] if reasons else "nothing was asked of it"


def _left_unknown(snapshot: Snapshot, findings: Sequence[Finding]) -> tuple[str, ...]:
    """The rules that only the silence of a member leaves unknown: whoever was reached told all that they look at."""
    reached = [member for member in snapshot.members if member.reached]
    if len(reached) == len(snapshot.members):
        return ()

    def told(id: str) -> bool:
        rule = rules.find(id)
        readings = [member.readings.get(need) for member in reached for need in (rule.needs if rule else ())]
        return all(reading is not None and reading.facts is not None for reading in readings)

    unknown = (found for found in findings if found.status is Status.UNKNOWN and not found.evidence)
    return tuple(found.rule for found in unknown if told(found.rule))


def _release(snapshot: Snapshot, member: MemberSnapshot) -> str | None:
    """What the member says that it runs, else what its partner says of it."""
    own = member.read("show version", Version).facts
    if own is not None and own.release is not None:
        return own.release
    told = snapshot.other(member).read("show redundancy", Redundancy).facts
    return told.peer.release if told is not None and told.peer is not None else None
