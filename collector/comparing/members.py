"""What the two members are and hold: release, packages, roles, what no upgrade changes, and their flash."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from collector.comparing.comparison import Difference, Kind, Topic
from collector.comparing.sides import Sides
from collector.finding import Evidence, Status
from collector.nights.night import MemberState
from collector.rules.certificates import joined_with
from collector.rules.flash_space import listing, rooms
from collector.rules.parts import Part, answer
from collector.rules.roles import claims
from collector.rules.sessions import listed
from collector.rules.witnesses import Word, hear, running_releases
from collector.sizes import rounded
from collector.snapshot import MemberSnapshot, Snapshot
from parsers.facts.core import Facts
from parsers.facts.software import Boot, RomMonitorVersion, Version
from parsers.facts.upgrade import InstallSummary
from parsers.release import Release, named

_Own = tuple[MemberSnapshot, MemberSnapshot]
_Lines = tuple[Evidence, ...]

_ROLL = (
    "Find out from the controllers' own logs whether the upgrade was taken back or never came this far, before anybody "
    "begins it again."
)
_WHO = "Find out who changed it and why, and whether it has to be changed back."
_LEFT = "Find out whether it is to stay; if not, have it removed by the vendor's procedure."
# The target's packages and its image's file.
_IMAGES = 2


def release(sides: Sides) -> Iterator[Difference]:
    """Whether both members run the target, as every session tells it."""
    target = Release.parse(sides.target)

    def runs(item: Word[Release], running: Release) -> Part:
        if running == target:
            return Part(Status.PASS, f"{item.about} runs {running}", item.evidence)
        return Part(Status.BLOCK, f"{item.about} runs {running}, not {target}", item.evidence, _ROLL)

    parts: list[Part] = []
    for member in sides.after.members:
        own, others = running_releases(sides.after, member)
        parts += hear("release", own, others, runs)
    found = answer(parts)
    ran = {state.release for state in sides.states[0].values()}
    was = listed(sorted(each for each in ran if each)) if ran - {None} else "not known"
    before = _evidence(sides.before, "show version", Version, "release")
    statement = f"{found.statement.removesuffix('.')}; before it was {was}"
    if found.status is Status.BLOCK:
        kind = Kind.FAULT if sides.upgrade is not False else Kind.TO_EXPLAIN
    elif found.status is Status.UNKNOWN or None in ran:
        kind = Kind.UNKNOWN
    else:
        kind = Kind.EXPECTED if sides.upgrade else Kind.IN_ORDER
    yield sides.said(Topic.RELEASE, kind, statement, (), before, found.evidence, found.remedy)


def packages(sides: Sides) -> Iterator[Difference]:
    """Whether the installed image is the target's, and what else of the software came or went."""
    target = Release.parse(sides.target)
    before, after = sides.states
    was, shown = (_evidence(each, "show install summary", InstallSummary) for each in (sides.before, sides.after))
    for name in after:
        now, then = after[name].packages, before[name].packages
        if now is None or then is None:
            when = "before" if now is not None else "after"
            said = f"what software {name} held {when} the change isn't known"
            yield sides.said(Topic.SOFTWARE, Kind.UNKNOWN, said, (), was, shown)
            continue
        others = [row for row in now if row.startswith("IMG ") and named(row) != target]
        if left := [row for row in others if _is_inactive(row)]:
            said = f"{name}: {listed(left)} is left, inactive, and not {target}"
            yield sides.said(Topic.SOFTWARE, Kind.TO_EXPLAIN, said, (), was, shown, _LEFT)
        if held := [row for row in others if row not in left]:
            said = f"{name} holds {listed(held)}, which is not {target}"
            kind = Kind.TO_EXPLAIN if sides.upgrade is False else Kind.FAULT
            yield sides.said(Topic.SOFTWARE, kind, said, (), was, shown, _ROLL)
        gone, came = (sorted(set(one) - set(other)) for one, other in ((then, now), (now, then)))
        images = [row for row in came if named(row) == target and row.startswith("IMG ")]
        unexplained = came if sides.upgrade is not True else [row for row in came if row not in images + others]
        if unexplained or (gone and sides.upgrade is not True):
            said = f"the software of {name} isn't that of before: {_moved(came, gone)}"
            yield sides.said(Topic.SOFTWARE, Kind.TO_EXPLAIN, said, (), was, shown, _WHO)
        elif gone or came:
            said = f"the software of {name}: {_moved(came, gone)}"
            yield sides.said(Topic.SOFTWARE, Kind.EXPECTED, said, (), was, shown)


def roles(sides: Sides) -> Iterator[Difference]:
    """Who is active: an upgrade in service switches over, so that a swap belongs to it and to nothing else."""
    before, after = (_active(states) for states in sides.states)
    was, shown = (_claims(each) for each in (sides.before, sides.after))
    if before is None or after is None:
        when = "before" if after is not None else "after"
        yield sides.said(Topic.ROLES, Kind.UNKNOWN, f"it isn't certain who was active {when}", (), was, shown)
    elif before == after:
        yield sides.said(Topic.ROLES, Kind.IN_ORDER, f"{after} is active, as before", (), was, shown)
    elif sides.upgrade:
        said = f"{after} is active, {before} was before: an in-service upgrade switches over once"
        yield sides.said(Topic.ROLES, Kind.EXPECTED, said, (), was, shown)
    else:
        said = f"{after} is active, {before} was before, and no upgrade explains the switchover"
        yield sides.said(Topic.ROLES, Kind.TO_EXPLAIN, said, (), was, shown, "Find out what the switchover was for.")


def held(sides: Sides) -> Iterator[Difference]:
    """Of each member what no upgrade changes: model, boot entries, ROM monitor, certificates."""
    before, after = sides.states
    for member in sides.after.members:
        own, name = (sides.then(member), member), member.name
        yield _model(sides, own)
        yield from _serial(sides, own)
        boots = (_joined(before[name].boot), _joined(after[name].boot))
        yield _kept(sides, Topic.BOOT, f"{name}'s boot entries", boots, _lines(own, "show boot", Boot, "boot"))
        if not _is_virtual(sides, member):
            versions = (before[name].rom_monitor, after[name].rom_monitor)
            lines = (_rom_lines(sides.before), _rom_lines(sides.after))
            yield _kept(sides, Topic.ROM_MONITOR, f"{name}'s ROM monitor", versions, lines)
        ends = (_ends(before[name]), _ends(after[name]))
        lines = (_certificate_lines(own[0]), _certificate_lines(own[1]))
        yield _kept(sides, Topic.CERTIFICATES, f"{name}'s certificate for access points to join with", ends, lines)


def _model(sides: Sides, own: _Own) -> Difference:
    then, now = (each.read("show version", Version).facts for each in own)
    models = (then.model if then else None, now.model if now else None)
    return _kept(sides, Topic.MODEL, f"{own[1].name}'s model", models, _lines(own, "show version", Version, "model"))


def _serial(sides: Sides, own: _Own) -> Iterator[Difference]:
    """That another controller stands in a member's place; a train that shows no serial number says nothing of it."""
    then, now = (each.read("show version", Version).facts for each in own)
    if then is None or now is None or None in (then.serial, now.serial) or then.serial == now.serial:
        return
    said = f"{own[1].name} is another controller: serial number {then.serial} before, {now.serial} now"
    lines = _lines(own, "show version", Version, "serial")
    yield sides.said(Topic.MODEL, Kind.TO_EXPLAIN, said, (), *lines, _WHO)


def flash(sides: Sides) -> Iterator[Difference]:
    """The free bytes of each member: an upgrade takes no more than an image and its packages, and nights hardly any."""
    before, after = (rooms(side, sides.policy) for side in (sides.before, sides.after))
    image, share = sides.after.pair.image, sides.policy.after_window.flash_percent
    for member, then, now in zip(sides.after.members, before, after, strict=True):
        lines = (
            listing(sides.before, sides.then(member)).evidence("bytes_free"),
            listing(sides.after, member).evidence("bytes_free"),
        )
        if then.free is None or now.free is None or now.total is None:
            when = "before" if now.free is not None else "after"
            said = f"how much of {member.name}'s flash was free {when} isn't known"
            yield sides.said(Topic.FLASH, Kind.UNKNOWN, said, (), *lines)
            continue
        taken, usual = then.free - now.free, now.total * share / 100
        said = f"{member.name} has {rounded(now.free)} free, before it was {rounded(then.free)}"
        upgrade = _IMAGES * image.bytes if image is not None and sides.upgrade else 0
        if taken <= usual:
            yield sides.said(Topic.FLASH, Kind.IN_ORDER, said, (), *lines)
        elif taken <= upgrade:
            said += ", which the image and its packages explain"
            yield sides.said(Topic.FLASH, Kind.EXPECTED, said, (), *lines)
        else:
            said += f": {rounded(taken)} are gone, more than {share:g}% of the flash"
            said += f" and more than {_IMAGES} images" if upgrade else ""
            yield sides.said(Topic.FLASH, Kind.TO_EXPLAIN, said, (), *lines, "Look at what lies there now.")


def _kept(
    sides: Sides, topic: Topic, what: str, values: tuple[str | None, str | None], lines: tuple[_Lines, _Lines]
) -> Difference:
    then, now = values
    if then is None or now is None:
        when = "before" if now is not None else "now"
        return sides.said(topic, Kind.UNKNOWN, f"{what}: not known {when}", (), *lines)
    if then == now:
        return sides.said(topic, Kind.IN_ORDER, f"{what}: {now}, as before", (), *lines)
    return sides.said(topic, Kind.TO_EXPLAIN, f"{what}: {then} before, {now} now", (), *lines, _WHO)


def _moved(came: Sequence[str], gone: Sequence[str]) -> str:
    return ", ".join(f"{listed(rows)} {verb}" for rows, verb in ((came, "came"), (gone, "went")) if rows)


def _active(states: dict[str, MemberState]) -> str | None:
    found = [name for name, state in states.items() if state.role == "active"]
    return found[0] if len(found) == 1 else None


def _claims(snapshot: Snapshot) -> _Lines:
    return tuple(line for member in snapshot.members for lines in claims(member).values() for line in lines)


def _evidence(snapshot: Snapshot, command: str, facts: type[Facts], *fields: str) -> _Lines:
    readings = [member.read(command, facts) for member in snapshot.members]
    found = (each.evidence(*(fields or each.facts.at)) for each in readings if each.facts is not None)
    return tuple(line for lines in found for line in lines)


def _lines(own: _Own, command: str, facts: type[Facts], *fields: str) -> tuple[_Lines, _Lines]:
    then, now = (each.read(command, facts).evidence(*fields) for each in own)
    return then, now


def _rom_lines(snapshot: Snapshot) -> _Lines:
    commands = ("show rom-monitor chassis active R0", "show rom-monitor chassis standby R0")
    return tuple(line for each in commands for line in _evidence(snapshot, each, RomMonitorVersion, "version"))


def _certificate_lines(member: MemberSnapshot) -> _Lines:
    return tuple(line for reading, item in joined_with(member) for line in reading.evidence(lines=item.at))


def _is_virtual(sides: Sides, member: MemberSnapshot) -> bool:
    facts = member.read("show version", Version).facts
    row = sides.policy.hardware_of(facts.model) if facts is not None and facts.model is not None else None
    return row is not None and row.kind == "virtual"


def _ends(state: MemberState) -> str | None:
    if state.certificates is None:
        return None
    return "; ".join(f"{each.label} until {each.end:%Y-%m-%d}" for each in state.certificates)


def _joined(entries: tuple[str, ...] | None) -> str | None:
    return None if entries is None else ", ".join(entries) or "none"


def _is_inactive(row: str) -> bool:
    return row.startswith("IMG I ")
