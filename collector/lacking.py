"""What a fleet needs of its policy and the policy lacks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from collector import recording
from collector.snapshot import MemberSnapshot, member_snapshot
from inventory.pairs import Pair
from inventory.policy import Policy
from parsers import catalogue
from parsers.facts.access_points import ApSummary
from parsers.facts.software import Version
from parsers.release import Release

_LOOKED_AT = ("show version", "show ap summary")
_NAMES = 4


@dataclass(frozen=True)
class Seen:
    """What the recorded captures of one pair tell: the models of both members and of the access points, the releases.

    What nobody told of a member is named in `untold`.
    """

    models: tuple[str, ...]
    releases: tuple[str, ...]
    access_points: tuple[str, ...]
    untold: tuple[str, ...]


def seen(pairs: Sequence[Pair], folder: Path) -> dict[str, Seen]:
    """What a folder of recordings (see `recording.find`) tells of each pair; RecordingError where it can't be used."""
    commands = [command for command in catalogue.asked() if command.text in _LOOKED_AT]
    found = {}
    for pair in pairs:
        members = [
            member_snapshot(member.name, recording.load(folder, member.name, commands)) for member in pair.members
        ]
        found[pair.name] = _seen(members)
    return found


def _seen(members: Sequence[MemberSnapshot]) -> Seen:
    versions = {member.name: member.read("show version", Version).facts for member in members}
    tables = [facts for member in members if (facts := member.read("show ap summary", ApSummary).facts) is not None]
    untold = [f"the model of {name}" for name, facts in versions.items() if facts is None or facts.model is None]
    untold += [f"the release of {name}" for name, facts in versions.items() if facts is None or facts.release is None]
    if not tables:
        untold.append(f"the access points of {members[0].name} and {members[1].name}")
    return Seen(
        _once(facts.model for facts in versions.values() if facts and facts.model),
        _once(facts.release for facts in versions.values() if facts and facts.release),
        _once(ap.model for table in tables for ap in table.aps if ap.model),
        tuple(untold),
    )


def lacks(pairs: Sequence[Pair], policy: Policy, seen: Mapping[str, Seen] | None) -> tuple[str, ...]:
    """A sentence on every row that the pairs need and the policy lacks, each beginning with the key.

    `seen` is what their controllers told, by the pair's name; None where nobody looked.
    """
    told = seen or {}
    sentences = [*_trains(pairs, policy, told), *_steps(pairs, policy, told), *_models(policy, told)]
    if seen is None:
        sentences.append(
            "not looked at: what the controllers run and which models there are; name recorded captures with --from DIR"
        )
    untold = _once(what for each in told.values() for what in each.untold)
    if untold:
        sentences.append(f"not looked at, since no capture tells it: {_names(untold)}")
    return tuple(sentences)


def _trains(pairs: Sequence[Pair], policy: Policy, told: Mapping[str, Seen]) -> Iterator[str]:
    needed: dict[str, list[str]] = {}
    for pair in pairs:
        needed.setdefault(Release.parse(pair.target_release).train, []).append(f"the target of {pair.name}")
    for name, each in told.items():
        for release in each.releases:
            needed.setdefault(Release.parse(release).train, []).append(f"running on {name}")
    if policy.recommended_release:
        needed.setdefault(Release.parse(policy.recommended_release).train, []).append("the recommended release's")
    for train, by in needed.items():
        if train not in policy.trains:
            yield f"trains.{train}: isn't there, but it is {_names(_once(by))}; say whether it is long-lived"


def _steps(pairs: Sequence[Pair], policy: Policy, told: Mapping[str, Seen]) -> Iterator[str]:
    needed: dict[tuple[str, str], list[str]] = {}
    for pair in pairs:
        target = Release.parse(pair.target_release)
        for text in told[pair.name].releases if pair.name in told else ():
            release = Release.parse(text)
            if release != target and not _listed(policy, release, target):
                needed.setdefault((release.train, target.train), []).append(pair.name)
    for (start, end), names in needed.items():
        yield (
            f"upgrade_paths: has no step from {start} to {end}, which {_names(names)} would take; add it, with "
            "`direct` as the vendor publishes it (a step that isn't there is no in-service step)"
        )


def _listed(policy: Policy, start: Release, end: Release) -> bool:
    starts, ends = (str(start), start.train), (str(end), end.train)
    return any(path.start in starts and path.end in ends for path in policy.upgrade_paths)


def _models(policy: Policy, told: Mapping[str, Seen]) -> Iterator[str]:
    for model, names in _by(told, lambda each: each.models).items():
        row = policy.hardware_of(model)
        if row is None:
            yield f"hardware.{model}: isn't there, but {_names(names)} needs it; add what the vendor publishes"
        elif row.kind == "physical" and row.rom_monitor_minimum is None:
            yield f"hardware.{model}.rom_monitor_minimum: isn't there, but it is needed for {_names(names)}"
    for model, names in _by(told, lambda each: each.access_points).items():
        if model not in policy.access_points:
            yield (
                f"access_points.{model}: isn't there, but there are access points of it on {_names(names)}; add its "
                "first and last release as the vendor publishes them"
            )


def _by(told: Mapping[str, Seen], what: Callable[[Seen], Iterable[str]]) -> dict[str, list[str]]:
    """The names of the pairs, by each thing that they have."""
    found: dict[str, list[str]] = {}
    for name, each in told.items():
        for thing in what(each):
            found.setdefault(thing, []).append(name)
    return found


def _once(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))


def _names(names: Sequence[str]) -> str:
    if len(names) > _NAMES:
        return f"{', '.join(names[: _NAMES - 1])} and {len(names) - _NAMES + 1} more"
    return ", ".join(names)
