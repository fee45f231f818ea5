"""A change: one thing that was otherwise on an earlier night."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Kind(StrEnum):
    """What kind of thing changed, in the order in which somebody wants to read of a night."""

    VERDICT = "verdict"
    TARGET = "target"
    REACHED = "reached"
    FINDING = "finding"
    ROLE = "role"
    RELEASE = "release"
    INSTALL_STATE = "install-state"
    INSTALL_MODE = "install-mode"
    BOOT = "boot"
    ACCESS_POINTS = "access-points"
    ROM_MONITOR = "rom-monitor"
    NEIGHBOURS = "neighbours"
    CERTIFICATE = "certificate"


@dataclass(frozen=True)
class Change:
    """What was otherwise on the night `since`, and how it is on this `night`.

    `subject` is a rule's id, a member's name, or empty where the pair itself is meant, or both members alike. `before`
    and `after` are words for a person, empty where there was nothing; of things that come and go (packages, lines about
    the link, certificates) only those that did. `gained` and `lost` are names of access points. `worse` is True or
    False where that can be said (a finding, a verdict, whether a member answers), else None.
    """

    pair: str
    night: date
    since: date
    kind: Kind
    subject: str
    before: str
    after: str
    gained: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    worse: bool | None = None
