"""Makes fixtures of a pair's captures: scrubs them, sees that nothing was lost and nothing is left, writes them."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from collector import recording, rules, scrub
from collector.capture import Capture, Ending
from collector.patterns import is_address, is_mac
from collector.recording import RecordingError
from collector.scrub import Known, Replaced
from collector.snapshot import Snapshot, member_snapshot
from collector.standins import Exhausted, Kind, lower, mac_digits
from inventory.pairs import Member, Pair
from inventory.policy import Policy
from parsers import Facts, Unreadable, read

NAMES = ("member-a", "member-b")
# Values that are told in several fields, and must have one stand-in in all of them.
_OF_ONE_KIND = {
    **dict.fromkeys(("ip", "rmi_ip", "reference"), "address"),
    **dict.fromkeys(("mac", "ethernet_mac", "radio_mac", "base_mac"), "mac"),
}


@dataclass(frozen=True)
class Refusal:
    """A capture that isn't recorded, by its member's stand-in and its command, and why, in one clause."""

    member: str
    command: str
    why: str


@dataclass(frozen=True)
class Fixtures:
    """What may be written: the pair under its stand-in names, its captures, what was replaced, what is left out."""

    pair: Pair
    captures: tuple[Capture, ...]
    replaced: Mapping[Kind, Replaced]
    refusals: tuple[Refusal, ...]

    @property
    def recorded(self) -> int:
        """How many captures hold an answer."""
        return sum(capture.ending is not Ending.MISSING for capture in self.captures)

    @property
    def silent(self) -> tuple[str, ...]:
        """The members that answered nothing, by their stand-ins."""
        answered = {capture.member for capture in self.captures if capture.ending is not Ending.MISSING}
        refused = {refusal.member for refusal in self.refusals}
        return tuple(member.name for member in self.pair.members if member.name not in answered | refused)


def check(folder: Path, names: Sequence[str], source: Path | None) -> None:
    """See that fixtures can go into the folder under these names; RecordingError where they can't.

    Nothing that stands there is written over: it may be the only copy, or not scrubbed.
    """
    if len(names) != len({lower(recording.checked_name(name)) for name in names}):
        raise RecordingError(f"{' and '.join(names)} are one name; give the members two")
    if source is not None and _overlap(folder.resolve(), recording.find(source).resolve()):
        raise RecordingError(f"{folder} would hold the captures that are to be scrubbed as well; name another folder")
    for own in (folder / name for name in names):
        if own.is_dir() and any(own.iterdir()):
            raise RecordingError(f"{own} holds something already; name another folder or other members")


def _overlap(one: Path, other: Path) -> bool:
    return one in (other, *other.parents) or other in one.parents


def fixtures(
    pair: Pair,
    captures: Mapping[str, Sequence[Capture]],
    policy: Policy,
    moment: datetime,
    *,
    names: Sequence[str] = NAMES,
    users: Sequence[str] = (),
) -> Fixtures:
    """The pair's captures, scrubbed; `users` are the names that were logged in with.

    A capture that still looks as if it held a secret or an original, or that no longer tells the same facts, is
    refused. Raises RecordingError where the rules would not find of what is recorded what they find of the originals.
    """
    originals = [capture for member in pair.members for capture in captures.get(member.name, ())]
    known = _known(pair, policy, names, users)
    try:
        scrubbed = scrub.scrub(originals, known)
    except Exhausted as error:
        raise RecordingError(f"{pair.name} can't be recorded: {error}") from None
    why = [
        next(_reasons(suspicions, left=left, changed=changed), "")
        for suspicions, left, changed in zip(
            scrubbed.suspicions, _left(scrubbed), _changes(originals, scrubbed.captures), strict=True
        )
    ]
    renamed = _renamed(pair, names)
    _check_findings(pair, renamed, _but(originals, why), _but(scrubbed.captures, why), policy, moment)
    refusals = tuple(
        Refusal(capture.member, capture.command, reason)
        for capture, reason in zip(scrubbed.captures, why, strict=True)
        if reason
    )
    return Fixtures(renamed, tuple(_but(scrubbed.captures, why)), scrubbed.report, refusals)


def write(folder: Path, made: Fixtures) -> None:
    """Write the members' folders, readable by the owner only; OSError where the disk doesn't take them."""
    for member in made.pair.members:
        recording.write(folder, member.name, [capture for capture in made.captures if capture.member == member.name])


def summary(made: Fixtures, folder: Path) -> list[str]:
    """What was recorded and what was replaced, by kind and number; never what stood for what."""
    if not made.recorded:
        return []
    first, second = made.pair.members
    lines = [f"recorded {made.recorded} captures of {first.name} and {second.name} in {folder}"]
    lines.append("replaced  places  what")
    lines += [f"{one.originals:8}  {one.places:6}  {kind.value}" for kind, one in made.replaced.items()]
    return [*lines, "an inventory that replays them:", *inventory_text(made.pair).splitlines()]


def complaints(made: Fixtures) -> list[str]:
    """What isn't recorded and why, a sentence each."""
    silent = [f"{member} answered nothing, so nothing of it is recorded" for member in made.silent]
    return silent + [f"not recorded: {each.member}, {each.command}: {each.why}" for each in made.refusals]


def inventory_text(pair: Pair) -> str:
    """What an inventory says of the recorded pair, to replay it: lines of hosts.yaml and groups.yaml."""
    lines = ["# hosts.yaml"]
    lines += [f"{member.name}: {{hostname: {member.hostname}, groups: [{pair.name}]}}" for member in pair.members]
    lines += ["# groups.yaml", f"{pair.name}:", "  data:", f"    pair: {pair.name}", f"    site: {pair.site}"]
    lines.append(f"    target_release: {pair.target_release}")
    if pair.image is not None:
        lines.append(f"    image: {{file: {pair.image.file}, bytes: {pair.image.bytes}}}")
    if pair.images:
        lines.append("    images:")
        lines += [
            f'      "{release}": {{file: {image.file}, bytes: {image.bytes}}}' for release, image in pair.images.items()
        ]
    if pair.window is not None:
        lines.append(f"    window: {{start: {pair.window.start.isoformat()}, minutes: {pair.window.minutes}}}")
    return "\n".join(lines)


def _known(pair: Pair, policy: Policy, names: Sequence[str], users: Sequence[str]) -> Known:
    hosts = tuple((Kind.HOST, member.hostname) for member in pair.members if not is_address(member.hostname))
    images = (*([pair.image] if pair.image is not None else []), *pair.images.values())
    sites = (pair.name, pair.site, *(area.name for area in pair.areas))
    return Known(
        names=(*((Kind.SITE, name) for name in sites), *hosts, *((Kind.USER, user) for user in users)),
        members={member.name: name for member, name in zip(pair.members, names, strict=True)},
        keep=(*(image.file for image in images), *policy.hardware, *policy.access_points),
    )


def _renamed(pair: Pair, names: Sequence[str]) -> Pair:
    first, second = (Member(name, f"192.0.2.{number}", 22) for number, name in enumerate(names, 1))
    return Pair(
        name="recorded",
        site="Recorded Site",
        members=(first, second),
        target_release=pair.target_release,
        image=pair.image,
        window=pair.window,
        images=pair.images,
    )


def _but(captures: Sequence[Capture], why: Sequence[str]) -> list[Capture]:
    """The captures, with those missing that there is a reason against."""
    return [
        replace(capture, text="", ending=Ending.MISSING, reason=f"not recorded: {reason}") if reason else capture
        for capture, reason in zip(captures, why, strict=True)
    ]


def _reasons(suspicions: Sequence[scrub.Suspicion], *, left: bool, changed: bool) -> Iterator[str]:
    for suspicion in suspicions:
        yield f"line {suspicion.line} still looks as if it held {suspicion.what}"
    if left:
        yield "something that was to be replaced still stands in it"
    if changed:
        yield "what readypair reads in it would not be the same"


def _left(scrubbed: scrub.Scrubbed) -> list[bool]:
    left = scrub.remains(scrubbed.captures, scrubbed.originals)
    return [any(capture is each for each in left) for capture in scrubbed.captures]


# Whether the facts are the same


def _changes(originals: Sequence[Capture], scrubbed: Sequence[Capture]) -> list[bool]:
    """Of each capture, whether it tells other facts than before."""
    agreement = _OneToOne()
    return [
        original.ending is not Ending.MISSING and not agreement.same(_told(original), _told(new))
        for original, new in zip(originals, scrubbed, strict=True)
    ]


def _told(capture: Capture) -> Any:
    try:
        facts: Facts = read(capture.command, capture.text)
    except Unreadable as error:
        return type(error).__name__
    return facts.plain()


class _OneToOne:
    """Compares facts value by value: where a value may change, every value must always change to the same other one."""

    def __init__(self) -> None:
        self._there: dict[tuple[str, str], str] = {}
        self._back: dict[tuple[str, str], str] = {}

    def same(self, old: Any, new: Any, field: str = "") -> bool:
        """Whether the one follows from the other; `field` is the changing field that they stand in."""
        if isinstance(old, Mapping) and isinstance(new, Mapping):
            return old.keys() == new.keys() and all(
                self.same(value, new[key], field or (str(key) if key in scrub.CHANGING else ""))
                for key, value in old.items()
            )
        if isinstance(old, list) and isinstance(new, list):
            return len(old) == len(new) and all(self.same(*both, field) for both in zip(old, new, strict=True))
        if isinstance(old, str) and isinstance(new, str) and field:
            return self._maps(_plain(old), _plain(new), _OF_ONE_KIND.get(field, field))
        return bool(old == new)

    def _maps(self, old: str, new: str, kind: str) -> bool:
        return self._there.setdefault((kind, old), new) == new and self._back.setdefault((kind, new), old) == old


def _plain(text: str) -> str:
    """A text whatever its case, an address whatever its notation."""
    if is_address(text):
        return ipaddress.ip_address(text).compressed
    return mac_digits(text) if is_mac(text) else lower(text)


# Whether the rules find the same


def _check_findings(
    pair: Pair,
    renamed: Pair,
    originals: Sequence[Capture],
    scrubbed: Sequence[Capture],
    policy: Policy,
    moment: datetime,
) -> None:
    before, after = _statuses(pair, originals, policy, moment), _statuses(renamed, scrubbed, policy, moment)
    other = [rule for rule in before if before[rule] != after[rule]]
    if other:
        raise RecordingError(
            f"{pair.name} is not recorded: once scrubbed, it would be judged otherwise by {', '.join(other)}"
        )


def _statuses(pair: Pair, captures: Sequence[Capture], policy: Policy, moment: datetime) -> dict[str, str]:
    first, second = (
        member_snapshot(member.name, [capture for capture in captures if capture.member == member.name])
        for member in pair.members
    )
    findings = rules.judge(Snapshot(pair, (first, second), moment), policy)
    return {finding.rule: finding.status.value for finding in findings}
