"""What the renderers of a comparison say in the same words and the same order."""

from __future__ import annotations

from collector.comparing.comparison import Comparison, Difference, Kind, MemberThen, Side, Standing, Topic, worst_first
from collector.comparing.figures import Figures
from collector.report.wording import moment, number_of

HEADINGS = {
    Kind.FAULT: "Faults",
    Kind.UNKNOWN: "Not known",
    Kind.TO_EXPLAIN: "To explain",
    Kind.NOT_COMPARED: "Not compared",
    Kind.EXPECTED: "Expected of the upgrade",
    Kind.IN_ORDER: "In order",
}
TROUBLE = (Kind.FAULT, Kind.UNKNOWN, Kind.TO_EXPLAIN)

_TOPICS = {
    Topic.RELEASE: "Release",
    Topic.SOFTWARE: "Software",
    Topic.ROLES: "Roles",
    Topic.REDUNDANCY: "Redundancy",
    Topic.CONFIGURATION: "Configuration",
    Topic.ACCESS_POINTS: "Access points",
    Topic.AP_IMAGES: "AP images",
    Topic.CLIENTS: "Clients",
    Topic.RADIOS: "Radios",
    Topic.WLANS: "WLANs",
    Topic.CERTIFICATES: "Certificates",
    Topic.CLOCK: "Clock",
    Topic.FLASH: "Flash",
    Topic.BOOT: "Boot variable",
    Topic.ROM_MONITOR: "ROM monitor",
    Topic.MODEL: "Model",
    Topic.CRASH_FILES: "Crash files",
}
_STANDINGS = {
    Standing.CLEAN: "everything came back",
    Standing.TO_EXPLAIN: "somebody has to say why it isn't as before",
    Standing.UNKNOWN: "not everything could be compared",
    Standing.FAULTY: "something didn't come back",
}


def topic(which: Topic) -> str:
    """A topic as a heading."""
    return _TOPICS[which]


def standing(found: Comparison) -> str:
    """What the standing means, in words for a pair that was upgraded or not."""
    if found.standing is Standing.CLEAN and not found.upgrade:
        return "nothing differs that matters"
    return _STANDINGS[found.standing]


def side(one: Side) -> str:
    """When it was, and the members as they were then."""
    return f"{moment(one.moment)}: {'; '.join(map(_member, one.members))}"


def release(found: Comparison) -> str:
    """The release that both should run, and whether they ran it before."""
    if found.upgrade is None:
        return f"{found.target}; what they ran before isn't known for certain"
    return f"{found.target}, an upgrade" if found.upgrade else f"{found.target}, as before"


def grouped(found: Comparison) -> list[tuple[Kind, str, list[Difference]]]:
    """The differences under their headings, faults first, without the headings that have none."""
    ordered = worst_first(found.differences)
    groups = [(kind, HEADINGS[kind], [each for each in ordered if each.kind is kind]) for kind in Kind]
    return [(kind, heading, group) for kind, heading, group in groups if group]


def counts(found: Comparison) -> str:
    """How many of each kind there are, without those of which there are none."""
    words = {
        Kind.FAULT: "fault",
        Kind.UNKNOWN: "unknown",
        Kind.TO_EXPLAIN: "to explain",
        Kind.EXPECTED: "expected",
        Kind.NOT_COMPARED: "not compared",
    }
    numbers = {kind: len(found.of_kind(kind)) for kind in words}
    told = [
        number_of(number, words[kind]) if kind is Kind.FAULT else f"{number} {words[kind]}"
        for kind, number in numbers.items()
        if number
    ]
    return ", ".join([*told, f"{len(found.of_kind(Kind.IN_ORDER))} in order"])


def figures(found: Figures) -> list[tuple[str, str]]:
    """The figures of a baseline, each with its name."""
    return [
        ("Access points", _number(found.access_points)),
        ("Clients", _number(found.clients)),
        ("Radios", _of(found.radios_up, found.radios, "up")),
        ("WLANs", _of(found.wlans_enabled, found.wlans, "enabled")),
    ]


def _number(number: int | None) -> str:
    return "not known" if number is None else f"{number:,}"


def _of(some: int | None, all: int | None, word: str) -> str:
    return "not known" if some is None or all is None else f"{some:,} of {all:,} {word}"


def _member(member: MemberThen) -> str:
    silent = "" if member.reached else ", not reached"
    return f"{member.name} {member.role or 'role unknown'}, {member.release or 'release unknown'}{silent}"
