"""Facts about how access points joined."""

from __future__ import annotations

from dataclasses import dataclass

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class JoinRecord:
    """One row of `show wireless stats ap join summary`; status and reasons as printed; `at` is its line's number."""

    base_mac: str
    ethernet_mac: str | None = None
    name: str | None = None
    ip: str | None = None
    status: str | None = None
    last_failure_phase: str | None = None
    last_disconnect_reason: str | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class JoinSummary(Facts):
    """`show wireless stats ap join summary`. `count` is the controller's own figure."""

    count: int | None = None
    aps: tuple[JoinRecord, ...] = ()
