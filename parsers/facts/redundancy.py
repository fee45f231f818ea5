"""Facts about the pair: chassis, redundancy, synchronisation of the configuration."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class ChassisMember:
    """One row of `show chassis`; role and state as printed; `at` is its line's number."""

    number: int
    role: str
    state: str
    mac: str
    priority: int | None = None
    hw_version: str | None = None
    ip: str | None = None
    rmi_ip: str | None = None
    is_local: bool
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class Chassis(Facts):
    """`show chassis rmi` and `show chassis`."""

    members: tuple[ChassisMember, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Processor:
    """What `show redundancy` prints of one of the two processors; the state as printed (`ACTIVE`, `STANDBY HOT`)."""

    location: str | None = None
    state: str | None = None
    release: str | None = None
    boot: tuple[str, ...] | None = None


@dataclass(frozen=True, kw_only=True)
class Redundancy(Facts):
    """`show redundancy`. `peer` is None where nothing at all is printed about it; modes as printed."""

    hardware_mode: str | None = None
    configured_mode: str | None = None
    operating_mode: str | None = None
    communications: Literal["up", "down"] | None = None
    communications_reason: str | None = None
    switchovers: int | None = None
    last_switchover_reason: str | None = None
    standby_failures: int | None = None
    this: Processor | None = None
    peer: Processor | None = None


@dataclass(frozen=True, kw_only=True)
class ConfigSync(Facts):
    """The lists of `show redundancy config-sync …`; `lines` are the offending lines as printed, without indentation.

    `empty` is True only where the controller says so, and False where there are offending lines.
    """

    empty: bool | None = None
    lines: tuple[str, ...] = ()
