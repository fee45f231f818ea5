"""Facts about the certificate that access points join with."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class Trustpoint(Facts):
    """`show wireless management trustpoint`. The availabilities are True only where it says `Available`."""

    name: str | None = None
    certificate_available: bool | None = None
    certificate_type: str | None = None
    private_key_available: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Certificate:
    """One certificate; `kind` is `certificate` or `ca`; times as shown, without their zone; `at` are its lines."""

    kind: str
    status: str | None = None
    serial: str | None = None
    subject: str | None = None
    issuer: str | None = None
    start: datetime | None = None
    end: datetime | None = None
    trustpoints: tuple[str, ...] = ()
    at: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Certificates(Facts):
    """`show crypto pki certificates`."""

    certificates: tuple[Certificate, ...] = ()
