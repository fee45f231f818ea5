"""The pairs of an inventory."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

NO_PORT = "must be from 1 to 65535"


def is_port(number: int) -> bool:
    """Whether it can be a TCP port."""
    return 1 <= number <= 65535


@dataclass(frozen=True)
class Image:
    """The image of a release: its file name and its size in bytes."""

    file: str
    bytes: int


@dataclass(frozen=True)
class Window:
    """The maintenance window; `start` knows its offset from UTC."""

    start: datetime
    minutes: int

    @property
    def end(self) -> datetime:
        """When the window closes."""
        return self.start + timedelta(minutes=self.minutes)


@dataclass(frozen=True)
class Area:
    """Access points that belong together, by patterns (`hall-*`) of their names, as far as the plan needs to know.

    `critical`: its restarts are named first. `uplink_mbps`: what its own line has for staging, in 10^6 bit/s; None
    where it shares the site's.
    """

    name: str
    aps: tuple[str, ...]
    critical: bool = False
    uplink_mbps: float | None = None


@dataclass(frozen=True)
class Member:
    """One controller of a pair, by its name in the inventory and the address that it is asked at."""

    name: str
    hostname: str
    port: int


@dataclass(frozen=True)
class Pair:
    """A redundant pair: two members, in the inventory's order, and what is planned for them.

    `image` is that of the target release, `images` are those of other releases that somebody may ask about.
    `time_zone` is the IANA name of the zone in which the window is shown, `uplink_mbps` what the site's line has for
    staging access points (10^6 bit/s), `mobility_peers` the names of pairs that clients roam to, `shift` the people
    who do its window. An access point belongs to the first of the `areas` that has a pattern for its name.
    """

    name: str
    site: str
    members: tuple[Member, Member]
    target_release: str
    image: Image | None = None
    window: Window | None = None
    images: Mapping[str, Image] = field(default_factory=dict, hash=False)
    time_zone: str | None = None
    uplink_mbps: float | None = None
    areas: tuple[Area, ...] = ()
    mobility_peers: tuple[str, ...] = ()
    shift: str | None = None
