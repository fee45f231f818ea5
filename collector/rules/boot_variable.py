"""boot-variable: do both members boot from the packages file, and by themselves?"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import TypeVar

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.roles import role
from collector.rules.rule import Rule
from collector.rules.witnesses import Word, about_standby, by_redundancy, hear, troubles, unassigned, word
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers.facts.software import Boot

V = TypeVar("V")

_PACKAGES_ON_FLASH = re.compile(r"(?:boot)?flash:/?packages\.conf")
_BOOT_REMEDY = (
    "Set the boot variable so that its first entry is the packages file on flash, save the configuration, and look at "
    "it again on both members, by the vendor's procedure and your change process. Don't reload a controller to try it: "
    "that can drop clients."
)
_MANUAL_REMEDY = (
    "Turn manual boot off by the vendor's procedure and save the configuration: a controller that reloads with it on "
    "stops at the ROM monitor's prompt and waits for somebody at its console."
)
_REGISTER_REMEDY = (
    "Set the configuration register to what the vendor's documents give for normal operation, save the configuration, "
    "and look at it again on both members. Don't reload a controller to try it: that can drop clients."
)
# What these bits of the register mean is common practice, no source.
_BOOT_FIELD = 0x000F
_IGNORES_SAVED_CONFIGURATION = 0x0040


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each member's boot list, manual-boot setting and configuration register, by every output that tells them.

    A standby that refuses `show boot` has them from the active one's, where manual boot without a line counts as off.
    """
    of_standby = about_standby(snapshot, "show boot", Boot, lambda facts: facts.peer_boot, "peer_boot", expected=False)
    manual_of_standby = about_standby(
        snapshot, "show boot", Boot, lambda facts: facts.peer_manual_boot, "peer_manual_boot", expected=False
    )
    register_of_standby = about_standby(
        snapshot, "show boot", Boot, _register_of_peer, "peer_config_register", expected=False
    )
    parts: list[Part] = []
    for member in snapshot.members:
        reading = member.read("show boot", Boot)
        own = word(member, reading, lambda facts: facts.boot, "boot")
        # An empty list there is what is printed of a processor that isn't ready: it says nothing.
        others = by_redundancy(snapshot, member, lambda processor: processor.boot or None, "boot")
        boots = hear("boot variable", own, [*_of(member, of_standby), *others], _from_packages)
        manual = word(member, reading, _manual_boot(snapshot, member), "manual_boot")
        by_itself = hear("manual boot setting", manual, _of(member, manual_of_standby), _by_itself)
        register = word(member, reading, _register(member), "config_register")
        told = [*_of(member, register_of_standby), *_by_redundancy(snapshot, member)]
        registers = hear("configuration register", register, told, _boots_saved)
        # Where the member withheld it, the clause about its boot list has said so already.
        settings = [part for part in troubles(by_itself) if not (manual.withheld and part.status is Status.UNKNOWN)]
        parts += [*boots, *settings, *_unsaid(boots, registers, register)]
    parts += unassigned(of_standby, snapshot, _from_packages) + unassigned(manual_of_standby, snapshot, _by_itself)
    return answer([*parts, *unassigned(register_of_standby, snapshot, _boots_saved)])


def _of(member: MemberSnapshot, words: Sequence[Word[V]]) -> list[Word[V]]:
    return [item for item in words if item.about == member.name]


def _unsaid(boots: Sequence[Part], registers: Sequence[Part], register: Word[str]) -> list[Part]:
    """The troubles of the register, save that it isn't known where the boot list isn't known for the same reason."""
    said = register.withheld and any(part.status is Status.UNKNOWN for part in boots)
    return [part for part in troubles(registers) if not (said and part.status is Status.UNKNOWN)]


def _register(member: MemberSnapshot) -> Callable[[Boot], str | None]:
    """What the register is at the next reload; empty where the whole answer, seen to its end, speaks of none."""
    whole = member.read("show boot", Boot).whole

    def value(facts: Boot) -> str | None:
        silent = "" if whole and facts.config_register_unmentioned else None
        return facts.next_config_register or facts.config_register or silent

    return value


def _by_redundancy(snapshot: Snapshot, member: MemberSnapshot) -> list[Word[str]]:
    """What `show redundancy` says of the register; nothing where `show boot` announces another one for the reload."""
    own = member.read("show boot", Boot).facts
    partners = snapshot.other(member).read("show boot", Boot).facts
    if (own and own.next_config_register) or (partners and partners.peer_next_config_register):
        return []
    return by_redundancy(snapshot, member, lambda processor: processor.config_register, "config_register")


def _register_of_peer(facts: Boot) -> str | None:
    return facts.peer_next_config_register or facts.peer_config_register


def _boots_saved(item: Word[str], register: str) -> Part:
    """Whether a member with this register boots by itself and takes its saved configuration."""
    bits = int(register, 16) if register else None
    what = f"{item.about}'s configuration register is {register} at its next reload"
    if bits is not None and not bits & _BOOT_FIELD:
        return Part(Status.BLOCK, f"{what}: it would stay in the ROM monitor", item.evidence, _REGISTER_REMEDY)
    if bits is not None and bits & _IGNORES_SAVED_CONFIGURATION:
        return Part(Status.BLOCK, f"{what}: it would ignore its configuration", item.evidence, _REGISTER_REMEDY)
    return Part(Status.PASS, f"{item.about}'s configuration register is {register}", item.evidence)


def _manual_boot(snapshot: Snapshot, member: MemberSnapshot) -> Callable[[Boot], bool | None]:
    """What a member's `show boot` says of manual boot, where saying nothing counts as off.

    Nothing is nothing only where the end of the answer can't be lost: the session saw it end, or the partner's answer,
    which goes on beyond the place, proves that their release prints no such line. The latter doesn't serve the active
    one: what it tells of the standby stands behind that place too, and would be lost with it.
    """
    partner = snapshot.other(member).read("show boot", Boot).facts
    prints_none = partner is not None and partner.manual_boot is False and partner.manual_boot_unmentioned
    certain = (prints_none and role(snapshot, member) != "active") or member.read("show boot", Boot).whole

    def value(facts: Boot) -> bool | None:
        return False if facts.manual_boot is None and facts.manual_boot_unmentioned and certain else facts.manual_boot

    return value


def _from_packages(item: Word[tuple[str, ...]], boot: tuple[str, ...]) -> Part:
    if not boot:
        return Part(Status.BLOCK, f"{item.about}'s boot variable is empty", item.evidence, _BOOT_REMEDY)
    if not _PACKAGES_ON_FLASH.fullmatch(boot[0].strip()):
        clause = f"{item.about} boots from {boot[0]} first, not from the packages file on flash"
        return Part(Status.BLOCK, clause, item.evidence, _BOOT_REMEDY)
    return Part(Status.PASS, f"{item.about} boots from {boot[0]}", item.evidence)


def _by_itself(item: Word[bool], manual: bool) -> Part:
    if manual:
        return Part(Status.BLOCK, f"{item.about} has manual boot on", item.evidence, _MANUAL_REMEDY)
    return Part(Status.PASS, f"{item.about} has manual boot off", item.evidence)


RULE = Rule(
    id="boot-variable",
    title="Do both members boot from the packages file, and by themselves?",
    why="The member that reloads during the upgrade must come up by itself, from the packages that were activated.",
    good="BOOT variable = bootflash:packages.conf,1;\nMANUAL_BOOT variable = no",
    bad="BOOT variable = bootflash:wx-universal.17.06.06.bin,1;bootflash:packages.conf,2;",
    needs=("show boot", "show redundancy"),
    judge=judge,
)
