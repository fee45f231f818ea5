"""Facts about access points."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class AccessPoint:
    """One row of `show ap summary`; a column that was empty is None; `at` is its line's number."""

    name: str
    slots: int | None = None
    model: str | None = None
    ethernet_mac: str | None = None
    radio_mac: str | None = None
    location: str | None = None
    country: str | None = None
    ip: str | None = None
    state: str | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ApSummary(Facts):
    """`show ap summary`. `count` is the controller's own figure."""

    count: int | None = None
    aps: tuple[AccessPoint, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ApImageRow:
    """One row of `show ap image`; a column that was empty is None; `at` is its line's number."""

    name: str
    primary: str | None = None
    backup: str | None = None
    status: str | None = None
    version: str | None = None
    retries: int | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ApImage(Facts):
    """`show ap image`. `counts` maps the labels of the head (`Predownloaded`, …) to their numbers."""

    total: int | None = None
    counts: Mapping[str, int] | None = None
    aps: tuple[ApImageRow, ...] = ()
