"""What a baseline holds in figures, for the person who takes it."""

from __future__ import annotations

from dataclasses import dataclass

from collector.comparing.access_points import table
from collector.comparing.radio import count_clients, radios_of, wlans_of
from collector.snapshot import Snapshot


@dataclass(frozen=True)
class Figures:
    """How many there are by the active member's word; None where that isn't known."""

    access_points: int | None
    clients: int | None
    radios: int | None
    radios_up: int | None
    wlans: int | None
    wlans_enabled: int | None


def figures(snapshot: Snapshot) -> Figures:
    """The figures of one side."""
    aps, air, (wlans, lacking, _) = table(snapshot), radios_of(snapshot), wlans_of(snapshot)
    return Figures(
        access_points=None if aps.problem else len(aps.aps),
        clients=count_clients(snapshot)[0],
        radios=None if air.problem else len(air.radios),
        radios_up=None if air.problem else sum(bool(radio.up) for radio in air.radios),
        wlans=None if lacking else len(wlans),
        wlans_enabled=None if lacking else sum(bool(wlan.enabled) for wlan in wlans.values()),
    )
