"""Facts about what happened before: switchovers, and when the configuration was changed and saved."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class Switchover:
    """One row of the history; `time` as the controller's own clock showed it, without its zone; `at` is its line."""

    index: int
    previous_active: int
    current_active: int
    reason: str
    time: datetime | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class SwitchoverHistory(Facts):
    """`show redundancy switchover history`; no switchovers only where the table's head was seen or it says so."""

    switchovers: tuple[Switchover, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ConfigurationTime(Facts):
    """`show running-config | include Last configuration change` and `… | include NVRAM config last updated`.

    `time` as the controller's own clock showed it, without its zone; `by` is the user that it names, if it does.
    """

    time: datetime | None = None
    zone: str | None = None
    by: str | None = None
