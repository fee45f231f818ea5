"""ap-staging: do the access points hold the target image?

An access point's image version has four parts, such as 17.12.4.22, of which the first three are the release (common
practice, no source). Letters don't show in it: an image of 17.9.4a can't be told from one of 17.9.4. Where the
controller runs such a twin of the target, or its release isn't known, the image that an access point runs proves
nothing, and only another one in reserve does. A reserve image left over from an earlier visit to a twin is not seen
through.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta

from collector.finding import Answer, Status
from collector.rules.ap_tables import NO_ACCESS_POINTS, ROLES, counted, lost, named, rows, tellers
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.sessions import lack, unknown
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers.facts.access_points import ApImage, ApImageRow, ApSummary
from parsers.facts.software import Version
from parsers.release import Release

_IMAGES, _SUMMARY = "show ap image", "show ap summary"
_QUESTION = "whether the access points hold the target image"
_REMEDY = (
    "Have the access points load the image in advance by the vendor's procedure for it, from the pair's target image; "
    "look at what failed one by one. It takes bandwidth to every site, and starting the access points on it drops "
    "their clients, so only the loading belongs before the window: agree it through your change process and, where "
    "lives depend on the network, with the people who run the ward."
)
_DONE = ("complete", "completed", "completed downloading", "completed predownloading", "predownloaded")
_LOADING = ("initiated", "downloading", "predownloading", "pre-downloading")
_IDLE = ("none", "n/a", "na", "-")
_STAGED, _PENDING, _FAILED, _UNSUPPORTED, _OPEN = "staged", "pending", "failed", "unsupported", "open"


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The active one's table.

    An access point that the active one knows and its table of images doesn't list is pending.
    """
    heard, parts = tellers(snapshot, _QUESTION)
    trouble, when = _weight(snapshot, policy)
    for member in heard:
        parts += _told(snapshot, member, trouble, when)
    return answer(parts)


def states(aps: Sequence[ApImageRow], snapshot: Snapshot, member: MemberSnapshot) -> dict[str, str]:
    """What each access point in a member's table comes to, by its name.

    `staged`, `pending`, `failed`, `unsupported`, or `open` where it can't be told.
    """
    return {row.name: kind for kind, found in _held(aps, snapshot, member).items() for row in found}


def _weight(snapshot: Snapshot, policy: Policy) -> tuple[Status, str]:
    """What access points without the image come to at this moment, and the words that say why."""
    window, hours = snapshot.pair.window, policy.staging_hours
    if window is None:
        return Status.CAUTION, "the inventory states no window, so it isn't known when this has to be done"
    if snapshot.moment > window.end:
        return Status.CAUTION, "the window has passed"
    if snapshot.moment < window.start - timedelta(hours=hours):
        return Status.CAUTION, f"this has to be done {hours:g} hours before the window"
    return Status.BLOCK, f"this had to be done {hours:g} hours before the window"


def _told(snapshot: Snapshot, member: MemberSnapshot, trouble: Status, when: str) -> Iterator[Part]:
    images, summary = member.read(_IMAGES, ApImage), member.read(_SUMMARY, ApSummary)
    if images.facts is None:
        yield unknown(f"{lack(member, images)}, so {_QUESTION} isn't known")
    elif reason := lost(member, images, "access points"):
        yield unknown(reason, rows(images, (), "total"))
    if summary.facts is None:
        yield unknown(f"{lack(member, summary)}, so whether `{_IMAGES}` lists all access points isn't known")
    elif reason := lost(member, summary, "access points"):
        yield unknown(reason, rows(summary, (), "count"))
    if images.facts is None:
        return
    held = _held(images.facts.aps, snapshot, member)
    names = {row.name for row in images.facts.aps}
    unlisted = [ap for ap in (summary.facts.aps if summary.facts is not None else ()) if ap.name not in names]
    known = len(images.facts.aps) + len(unlisted)
    if not known:
        clause = f"{member.name} knows of {NO_ACCESS_POINTS}"
        yield Part(Status.PASS, clause, (*rows(images, (), "total"), *rows(summary, (), "count")))
        return
    done = f"{len(held[_STAGED]):,} of {counted(known)} on {member.name} hold {snapshot.pair.target_release}"
    missing = [row for kind in (_FAILED, _UNSUPPORTED, _PENDING) for row in held[kind]]
    yield Part(Status.PASS, done, rows(images, (row.at for row in held[_STAGED]), "total"))
    if missing or unlisted:
        not_listed = [f"{ap.name} (not in `{_IMAGES}`)" for ap in unlisted]
        clause = f"{done}: {_kinds(held, not_listed)}; {when}"
        evidence = (*rows(images, (row.at for row in missing)), *rows(summary, (ap.at for ap in unlisted)))
        yield Part(trouble, clause, evidence, _REMEDY)
    if held[_OPEN]:
        clause = f"whether {counted(len(held[_OPEN]))} hold it can't be told: {named(_states(held[_OPEN]))}"
        yield unknown(clause, rows(images, (row.at for row in held[_OPEN])))


def _kinds(held: Mapping[str, Sequence[ApImageRow]], not_listed: Sequence[str]) -> str:
    said = []
    for kind in (_FAILED, _UNSUPPORTED, _PENDING):
        names = _states(held[kind]) + (list(not_listed) if kind == _PENDING else [])
        if names:
            said.append(f"{len(names):,} {kind} ({named(names)})")
    return ", ".join(said)


def _states(aps: Sequence[ApImageRow]) -> list[str]:
    return [f"{row.name}: {row.status}" if row.status and _word(row) != "none" else row.name for row in aps]


def _held(aps: Sequence[ApImageRow], snapshot: Snapshot, member: MemberSnapshot) -> dict[str, list[ApImageRow]]:
    target = Release.parse(snapshot.pair.target_release)
    twin = _may_run_a_twin(target, member)
    held: dict[str, list[ApImageRow]] = {kind: [] for kind in (_STAGED, _PENDING, _FAILED, _UNSUPPORTED, _OPEN)}
    for row in aps:
        held[_kind(row, target, twin=twin)].append(row)
    return held


def _kind(row: ApImageRow, target: Release, *, twin: bool) -> str:
    """What one row comes to. A status that isn't shown, or a word of no known meaning, leaves it open."""
    word = _word(row)
    if "fail" in word:
        return _FAILED
    if "support" in word:
        return _UNSUPPORTED
    if word in _LOADING:
        return _PENDING
    if word not in (*_DONE, *_IDLE):
        return _OPEN
    reserves = (row.backup, row.version) if word in _DONE else (row.backup,)
    if any(_is_of(version, target) and _in_reserve(version, row, twin=twin) for version in reserves):
        return _STAGED
    if _is_of(row.primary, target):
        return _OPEN if twin else _STAGED
    # With a twin about, an image that isn't shown could be the target's or the twin's.
    return _OPEN if twin and row.primary is None else _PENDING


def _in_reserve(version: str | None, row: ApImageRow, *, twin: bool) -> bool:
    """Whether a version of the target's numbers is another one than what runs, which matters beside a twin only."""
    return not twin or (row.primary is not None and version != row.primary)


def _may_run_a_twin(target: Release, member: MemberSnapshot) -> bool:
    facts = member.read("show version", Version).facts
    if facts is None or facts.release is None:
        return True
    try:
        running = Release.parse(facts.release)
    except ValueError:
        return True
    return running != target and _numbers(running) == _numbers(target)


def _is_of(version: str | None, target: Release) -> bool:
    found = re.fullmatch(r"([0-9]{1,5})\.([0-9]{1,5})\.([0-9]{1,5})(?:\.[0-9]{1,9})*", version or "")
    return found is not None and (int(found[1]), int(found[2]), int(found[3])) == _numbers(target)


def _numbers(release: Release) -> tuple[int, int, int]:
    return release.major, release.minor, release.maintenance


def _word(row: ApImageRow) -> str:
    return " ".join((row.status or "").lower().split())


RULE = Rule(
    id="ap-staging",
    title="Do the access points hold the target image?",
    why="An access point that must load the image during the window is off the air for as long as its line is slow.",
    good="quay-hall-01  17.9.4.27  17.12.4.22  Complete  17.12.4.22  N/A  0  CAPWAP",
    bad="quay-hall-01  17.9.4.27  17.3.6.76   Failed    17.12.4.22  N/A  3  CAPWAP",
    needs=(_IMAGES, _SUMMARY, "show version", *ROLES),
    judge=judge,
)
