"""The pairs of an inventory."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta


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
class Member:
    """One controller of a pair, by its name in the inventory and the address that it is asked at."""

    name: str
    hostname: str
    port: int


@dataclass(frozen=True)
class Pair:
    """A redundant pair: two members, in the inventory's order, and what is planned for them.

    `image` is that of the target release, `images` are those of other releases that somebody may ask about.
    """

    name: str
    site: str
    members: tuple[Member, Member]
    target_release: str
    image: Image | None = None
    window: Window | None = None
    images: Mapping[str, Image] = field(default_factory=dict, hash=False)
