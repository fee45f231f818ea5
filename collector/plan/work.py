"""What has to be done on one pair, and how long each piece takes: its captures held against the policy's figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from collector.finding import Status
from collector.plan import stages
from collector.plan.plan import STAGES, Estimate, StageId, Staging
from collector.plan.stages import Duration, History
from collector.plan.staging import Known, behind_uplinks, estimate, missing
from collector.rules import image_staged
from collector.rules.roles import with_role
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.pairs import Image
from inventory.policy import Policy
from parsers.facts.flash import Directory
from parsers.facts.upgrade import InstallSummary
from parsers.release import Release

_NO_TIME = Estimate(0, 0, 0)


@dataclass(frozen=True)
class Work:
    """What has to be done: each stage's durations, and why some aren't needed."""

    durations: Mapping[StageId, Duration]
    skipped: Mapping[StageId, str]

    def chain(self, ids: Sequence[StageId]) -> list[Estimate | None]:
        """The durations of those stages among these that are needed, in order."""
        return [self.durations[id].estimate for id in ids if id not in self.skipped]

    def known(self, ids: Sequence[StageId]) -> list[Estimate]:
        """Those of them that are known."""
        return [each for each in self.chain(ids) if each is not None]

    def complete(self, ids: Sequence[StageId]) -> bool:
        """Whether all of them are known."""
        return None not in self.chain(ids)


def work_of(
    snapshot: Snapshot,
    policy: Policy,
    history: History,
    known: Known,
    staging: Staging | None,
    rounds: int | None,
) -> Work:
    """Every stage's durations, and which stages the captures show to be done already."""
    durations: dict[StageId, Duration] = {
        id: stages.whole_stage(id, policy, history) for id in STAGES if id not in ("copy", "stage-aps", "restart-aps")
    }
    skipped: dict[StageId, str] = {}
    to_copy = members_without(snapshot, policy)
    size = snapshot.pair.image.bytes if snapshot.pair.image is not None else None
    durations["copy"] = stages.copy(size, max(1, to_copy), policy, history)
    if to_copy == 0:
        skipped["copy"] = "The image is on both members' flash, with the size that the inventory states."
    if _expanded(snapshot):
        skipped["expand"] = "The target release is listed as inactive on both members: it has been expanded."
    durations["stage-aps"] = _staging_duration(snapshot, policy, known, staging)
    if staging is not None and staging.to_load == 0 and not known.lack:
        skipped["stage-aps"] = (
            "All access points hold the target image." if staging.aps else "There are no access points."
        )
    durations["restart-aps"] = stages.restarts(rounds, all_will_hold(known), policy, history)
    if rounds is None and known.lack:
        durations["restart-aps"] = _not_all_known(known)
    if rounds == 0:
        durations["restart-aps"] = Duration(_NO_TIME, "captures", "there are no access points")
        skipped["restart-aps"] = "There are no access points."
    return Work(durations, skipped)


def members_without(snapshot: Snapshot, policy: Policy) -> int:
    """On how many members' flash the target image isn't known to be, whole, by the rule `image-staged`."""
    status = image_staged.judge(snapshot, policy).status
    if status in (Status.PASS, Status.NOT_APPLICABLE):
        return 0
    image = snapshot.pair.image
    staged = sum(_is_staged(member, image) for member in snapshot.members) if image is not None else 0
    return max(1, len(snapshot.members) - staged)


def _is_staged(member: MemberSnapshot, image: Image) -> bool:
    facts = member.read("dir bootflash:", Directory).facts
    files = (facts.files or ()) if facts is not None else ()
    sizes = [file.bytes for file in files if file.name == image.file]
    return bool(sizes) and all(size == image.bytes for size in sizes)


def _expanded(snapshot: Snapshot) -> bool:
    """Whether the active one lists the target as inactive for both chassis, each in every list of its packages."""
    active = with_role(snapshot, "active")
    facts = active.read("show install summary", InstallSummary).facts if active is not None else None
    if facts is None:
        return False
    target = Release.parse(snapshot.pair.target_release)
    chassis = {location.split("/")[0] for scope in facts.scopes for location in scope.locations}
    return len(chassis - {"R0", "R1"}) > 1 and all(
        any(
            package.type == "IMG" and package.state == "I" and _release(package.name) == target
            for package in scope.packages
        )
        for scope in facts.scopes
    )


def _release(name: str) -> Release | None:
    try:
        return Release.parse(name)
    except ValueError:
        return None


def all_will_hold(known: Known) -> bool:
    """Whether every access point will hold the image at its restart, once the others have loaded it."""
    return not known.lack and not any(ap.open or ap.failing for ap in known.aps)


def staging_of(snapshot: Snapshot, policy: Policy, known: Known) -> Staging | None:
    """The loading in advance; None where it isn't known which access points there are."""
    if not known.aps and known.lack:
        return None
    lines = behind_uplinks(snapshot.pair, known.aps, policy)
    sizes = [line.bytes for line in lines]
    sizes_known = [size for size in sizes if size is not None]
    held = sum(ap.held for ap in known.aps)
    return Staging(
        sites=lines,
        aps=len(known.aps),
        held=held,
        to_load=len(known.aps) - held,
        open=sum(ap.open for ap in known.aps),
        failing=tuple(ap.name for ap in known.aps if ap.failing),
        bytes=sum(sizes_known) if len(sizes_known) == len(sizes) else None,
        transfers=policy.ap_staging.transfers,
        estimate=estimate(lines, policy) if not known.lack else None,
        must_start=None,
        statement=_staging_statement(known, held),
    )


def _staging_statement(known: Known, held: int) -> str:
    said = f"{held:,} of {len(known.aps):,} access points hold the target image and aren't counted."
    if unsure := sum(ap.open for ap in known.aps):
        said += f" Of {unsure:,} it can't be told; they are counted as if they held nothing."
    if known.lack:
        said += f" There may be more access points than these: {known.lack}."
    return said


def _staging_duration(snapshot: Snapshot, policy: Policy, known: Known, staging: Staging | None) -> Duration:
    if staging is None or known.lack:
        return _not_all_known(known)
    if staging.estimate is None:
        lacks = missing(staging.sites, {ap.name: ap for ap in known.aps}, policy)
        return Duration(None, None, f"not stated: {'; '.join(lacks)}", f"State {'; '.join(lacks)}.")
    clause = f"{staging.bytes or 0:,} bytes for {staging.to_load:,} access points over the stated uplinks"
    return Duration(staging.estimate, "captures", clause)


def _not_all_known(known: Known) -> Duration:
    clause = f"it isn't known which access points there are: {known.lack}"
    return Duration(None, None, clause, "Take the active member's captures of `show ap summary` and `show ap image`.")
