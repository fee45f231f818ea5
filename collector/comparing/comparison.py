"""What a comparison of a pair with itself consists of: its differences, topic by topic, and where it stands."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from collector.finding import Evidence
from inventory.pairs import Pair


class Topic(StrEnum):
    """What is compared, in the order in which somebody wants to know after a window."""

    RELEASE = "release"
    SOFTWARE = "software"
    ROLES = "roles"
    REDUNDANCY = "redundancy"
    CONFIGURATION = "configuration"
    ACCESS_POINTS = "access-points"
    AP_IMAGES = "ap-images"
    CLIENTS = "clients"
    RADIOS = "radios"
    WLANS = "wlans"
    CERTIFICATES = "certificates"
    CLOCK = "clock"
    FLASH = "flash"
    BOOT = "boot-variable"
    ROM_MONITOR = "rom-monitor"
    MODEL = "model"
    CRASH_FILES = "crash-files"


class Kind(StrEnum):
    """What a comparison found of one thing.

    `in-order`: it doesn't differ, or only for the better. `expected`: it differs because of the upgrade. `to-explain`:
    it differs, and somebody has to say why. `not-compared`: it wasn't asked on one of two ordinary nights.
    """

    FAULT = "fault"
    UNKNOWN = "unknown"
    TO_EXPLAIN = "to-explain"
    NOT_COMPARED = "not-compared"
    EXPECTED = "expected"
    IN_ORDER = "in-order"


class Standing(StrEnum):
    """What a whole comparison comes to: the worst of what was found."""

    FAULTY = "faulty"
    UNKNOWN = "unknown"
    TO_EXPLAIN = "to explain"
    CLEAN = "clean"


@dataclass(frozen=True)
class Difference:
    """What was found of one thing: one sentence, and the lines of both sides that it rests on.

    `names` are all that it is about (access points, radios, WLANs), sorted; the sentence counts them. `remedy` is what
    to do, empty where nothing needs doing.
    """

    topic: Topic
    kind: Kind
    statement: str
    names: tuple[str, ...] = ()
    before: tuple[Evidence, ...] = ()
    after: tuple[Evidence, ...] = ()
    remedy: str = ""


@dataclass(frozen=True)
class MemberThen:
    """A member on one of the two sides; None is not known."""

    name: str
    role: str | None
    release: str | None
    reached: bool


@dataclass(frozen=True)
class Side:
    """One of the two sides: when it was asked (or judged, where no capture is dated), and the members as they were."""

    moment: datetime
    members: tuple[MemberThen, MemberThen]


@dataclass(frozen=True)
class Comparison:
    """A pair against itself; `target` is the release that both members should run afterwards.

    `upgrade` says whether that isn't what they ran before; None where that isn't known.
    """

    pair: Pair
    target: str
    upgrade: bool | None
    before: Side
    after: Side
    differences: tuple[Difference, ...]

    def of_kind(self, kind: Kind) -> tuple[Difference, ...]:
        """What was found of this kind, in the order of the topics."""
        return tuple(each for each in self.differences if each.kind is kind)

    @property
    def standing(self) -> Standing:
        """The worst of what was found; nothing found at all is unknown."""
        kinds = {each.kind for each in self.differences}
        if not kinds:
            return Standing.UNKNOWN
        return next((standing for kind, standing in _WORST_FIRST if kind in kinds), Standing.CLEAN)


_WORST_FIRST = (
    (Kind.FAULT, Standing.FAULTY),
    (Kind.UNKNOWN, Standing.UNKNOWN),
    (Kind.TO_EXPLAIN, Standing.TO_EXPLAIN),
)


def worst_first(differences: Iterable[Difference]) -> list[Difference]:
    """The differences as somebody wants to read them: faults first, then by topic."""
    kinds, topics = list(Kind), list(Topic)
    return sorted(differences, key=lambda each: (kinds.index(each.kind), topics.index(each.topic)))
