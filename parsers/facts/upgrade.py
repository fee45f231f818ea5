"""Facts about installed software and upgrades in progress."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class Package:
    """One row of `show install summary`: type (IMG, SMU, …), state (I, U, C, D) and name as printed."""

    type: str
    state: str
    name: str
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class Scope:
    """One block of `show install summary`; locations without the word in front: `1`, `2/R0`, `R0`."""

    locations: tuple[str, ...]
    packages: tuple[Package, ...]
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class InstallSummary(Facts):
    """`show install summary`. `auto_abort` is the worst of the timers shown, None where no timer line was seen."""

    scopes: tuple[Scope, ...] = ()
    auto_abort: Literal["inactive", "active"] | None = None
    auto_abort_seconds_left: int | None = None


@dataclass(frozen=True, kw_only=True)
class IssuState(Facts):
    """`show issu state detail`. `in_progress` is False only where the controller says that nothing is."""

    in_progress: bool | None = None
    operation: str | None = None
    stage: str | None = None
    system_checks: Mapping[str, str] | None = None
