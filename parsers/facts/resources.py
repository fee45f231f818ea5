"""Facts about a controller's own processor and memory."""

from __future__ import annotations

from dataclasses import dataclass

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class ControlProcessor:
    """One control processor: status as printed, load averages, memory in per cent of the total; `at` are its lines."""

    slot: str
    status: str | None = None
    load_1_minute: float | None = None
    load_5_minutes: float | None = None
    load_15_minutes: float | None = None
    memory_status: str | None = None
    memory_used_percent: float | None = None
    memory_committed_percent: float | None = None
    at: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ProcessorCore:
    """One core of a control processor: the per cent of its time that it was idle; `at` is its line's number."""

    slot: str
    number: int
    idle_percent: float
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ControlProcessors(Facts):
    """`show platform software status control-processor brief`."""

    processors: tuple[ControlProcessor, ...] = ()
    cores: tuple[ProcessorCore, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Resource:
    """One row of `show platform resources`: usage and thresholds in per cent, the state letter; `at` is its line."""

    component: str
    name: str
    usage_percent: float | None = None
    warning_percent: float | None = None
    critical_percent: float | None = None
    state: str | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class PlatformResources(Facts):
    """`show platform resources`; the component is the heading that a row stands under (`RP0 (ok, active)`)."""

    resources: tuple[Resource, ...] = ()
