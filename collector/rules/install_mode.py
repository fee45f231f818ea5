"""install-mode: do both members run in install mode?"""

from __future__ import annotations

from typing import NamedTuple

from collector.finding import Answer, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.witnesses import Word, hear, word
from collector.snapshot import Snapshot
from inventory.policy import Policy
from parsers.facts.software import Version

_PACKAGES = "packages.conf"
_REMEDY = (
    "Convert the member to install mode by the vendor's procedure, in a window of its own. The conversion reloads the "
    "controller and can drop its clients: agree it through your change process and, where lives depend on the network, "
    "with the people who run the ward."
)


class _Mode(NamedTuple):
    mode: str
    image: str


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each member's own word; nobody else can tell it."""
    parts = []
    for member in snapshot.members:
        version = member.read("show version", Version)
        own = word(member, version, _mode, "install_mode", "image_file")
        parts += hear("install mode", own, (), _installed)
    return answer(parts)


def _mode(facts: Version) -> _Mode | None:
    # Bundle mode is trouble whatever image is named; install mode counts only beside the image that proves it.
    if facts.install_mode == "bundle":
        return _Mode("bundle", facts.image_file or "")
    return _Mode(facts.install_mode, facts.image_file) if facts.install_mode and facts.image_file else None


def _installed(item: Word[_Mode], value: _Mode) -> Part:
    image = f", from {value.image}" if value.image else ""
    if value.mode != "install":
        return Part(Status.BLOCK, f"{item.about} runs in bundle mode{image}", item.evidence, _REMEDY)
    if value.image.replace(":", "/").split("/")[-1] != _PACKAGES:
        clause = f"{item.about} says install mode but runs from {value.image}, not from {_PACKAGES}"
        return Part(Status.BLOCK, clause, item.evidence, _REMEDY)
    return Part(Status.PASS, f"{item.about} runs in install mode{image}", item.evidence)


RULE = Rule(
    id="install-mode",
    title="Do both members run in install mode?",
    why="Only a controller that runs from installed packages can be upgraded in service, not one that booted a bundle.",
    good='Installation mode is INSTALL\nSystem image file is "bootflash:packages.conf"',
    bad='Installation mode is BUNDLE\nSystem image file is "bootflash:wx-universal.17.09.04a.bin"',
    needs=("show version",),
    judge=judge,
)
