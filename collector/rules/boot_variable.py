"""boot-variable: do both members boot from the packages file, and by themselves?"""

from __future__ import annotations

import re
from collections.abc import Callable

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.roles import role
from collector.rules.rule import Rule
from collector.rules.witnesses import Word, about_standby, by_redundancy, hear, troubles, unassigned, word
from collector.snapshot import MemberSnapshot, Snapshot
from inventory.policy import Policy
from parsers.facts.software import Boot

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


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each member's boot list and its manual-boot setting, by every output that tells them.

    A standby that refuses `show boot` has both from the active one's, where a setting without a line counts as off.
    """
    of_standby = about_standby(snapshot, "show boot", Boot, lambda facts: facts.peer_boot, "peer_boot", expected=False)
    manual_of_standby = about_standby(
        snapshot, "show boot", Boot, lambda facts: facts.peer_manual_boot, "peer_manual_boot", expected=False
    )
    parts: list[Part] = []
    for member in snapshot.members:
        reading = member.read("show boot", Boot)
        own = word(member, reading, lambda facts: facts.boot, "boot")
        told = [item for item in of_standby if item.about == member.name]
        # An empty list there is what is printed of a processor that isn't ready: it says nothing.
        others = by_redundancy(snapshot, member, lambda processor: processor.boot or None, "boot")
        parts += hear("boot variable", own, [*told, *others], _from_packages)
        manual = word(member, reading, _manual_boot(snapshot, member), "manual_boot")
        told_manual = [item for item in manual_of_standby if item.about == member.name]
        heard = hear("manual boot setting", manual, told_manual, _by_itself)
        # Where the member withheld it, the clause about its boot list has said so already.
        parts += [part for part in troubles(heard) if not (manual.withheld and part.status is Status.UNKNOWN)]
    parts += unassigned(of_standby, snapshot, _from_packages) + unassigned(manual_of_standby, snapshot, _by_itself)
    return answer(parts)


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
