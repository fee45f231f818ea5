"""Facts about a controller's clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class NtpStatus(Facts):
    """`show ntp status`. `offset_ms` in milliseconds; `synchronised` only as the first line says it."""

    synchronised: bool | None = None
    stratum: int | None = None
    reference: str | None = None
    offset_ms: float | None = None


@dataclass(frozen=True, kw_only=True)
class Clock(Facts):
    """`show clock`. `time` without its zone; `mark` is `*` (not authoritative), `.` (not synchronised) or empty."""

    time: datetime | None = None
    zone: str | None = None
    mark: str | None = None
