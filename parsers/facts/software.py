"""Facts about the software that runs and how it boots: version, boot variables, ROM monitor, ROM monitor variables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from parsers.facts.core import Facts


@dataclass(frozen=True, kw_only=True)
class Version(Facts):
    """`show version`. Releases without padding; the uptime in seconds."""

    release: str | None = None
    install_mode: Literal["install", "bundle"] | None = None
    model: str | None = None
    image_file: str | None = None
    uptime_seconds: int | None = None
    last_reload_reason: str | None = None
    serial: str | None = None


@dataclass(frozen=True, kw_only=True)
class Boot(Facts):
    """`show boot`. `boot` in boot order, without the numbers behind the commas.

    `manual_boot` is None where its line wasn't seen and the rest doesn't prove that it is absent. `peer_manual_boot` is
    what the standby's own line (`Standby MANUAL_BOOT variable = …`) says, None where there is none.
    """

    boot: tuple[str, ...] | None = None
    peer_boot: tuple[str, ...] | None = None
    config_register: str | None = None
    manual_boot: bool | None = None
    peer_manual_boot: bool | None = None


@dataclass(frozen=True, kw_only=True)
class RomMonitorVersion(Facts):
    """`show rom-monitor chassis active R0` and `… standby R0`. The version as printed."""

    version: str | None = None


@dataclass(frozen=True, kw_only=True)
class RomVariables(Facts):
    """`show romvar`. Values without surrounding quotes."""

    variables: Mapping[str, str] | None = None
