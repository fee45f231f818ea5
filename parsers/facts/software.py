"""Facts about the software that runs and how it boots: version, boot variables, ROM monitor, ROM monitor variables."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal, Self

from parsers import printed_time
from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts, Unreadable
from parsers.matching import Match, Matches
from parsers.release import RomMonitor, plain

InstallMode = Literal["install", "bundle"]


@dataclass(frozen=True, kw_only=True)
class Version(Facts):
    """`show version`. Releases without padding; the uptime in seconds."""

    release: str | None = None
    install_mode: InstallMode | None = None
    model: str | None = None
    image_file: str | None = None
    uptime_seconds: int | None = None
    last_reload_reason: str | None = None
    serial: str | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line tells release, model or mode, and where the headlines name different releases."""
        told = Agreement(matches)
        release = told.value("release", matches.of("headline"), _release)
        model = told.text("model", "model")
        install_mode: InstallMode | None = told.value("install_mode", matches.of("install_mode"), _install_mode)
        if release is None and model is None and install_mode is None:
            raise Unreadable("no line tells the release, the model or the installation mode")
        return cls(
            release=release,
            install_mode=install_mode,
            model=model,
            image_file=told.text("image_file", "image_file"),
            uptime_seconds=told.value("uptime_seconds", matches.of("uptime"), _uptime),
            last_reload_reason=told.text("last_reload_reason", "last_reload_reason"),
            serial=told.text("serial", "serial"),
            at=told.at,
        )


@dataclass(frozen=True, kw_only=True)
class Boot(Facts):
    """`show boot`. `boot` in boot order, without the numbers behind the commas.

    `manual_boot` is None where its line wasn't seen and the rest doesn't prove that it is absent;
    `manual_boot_unmentioned` says that no line speaks of it and that every line is a known one, so that only the loss
    of the text's end could hide it. `peer_manual_boot` is what the standby's own line (`Standby MANUAL_BOOT variable
    = …`) says, None where there is none. Configuration registers are as printed (`0x102`); the `next` ones those that a
    line announces for the next reload. `config_register_unmentioned` says that no line speaks of the own one and that
    every line is a known one.
    """

    boot: tuple[str, ...] | None = None
    peer_boot: tuple[str, ...] | None = None
    config_register: str | None = None
    next_config_register: str | None = None
    config_register_unmentioned: bool | None = None
    peer_config_register: str | None = None
    peer_next_config_register: str | None = None
    manual_boot: bool | None = None
    manual_boot_unmentioned: bool | None = None
    peer_manual_boot: bool | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line tells anything about booting."""
        told = Agreement(matches)
        facts = cls(
            boot=told.value("boot", _variables(matches, "BOOT", standby=False), _entries),
            peer_boot=told.value("peer_boot", _variables(matches, "BOOT", standby=True), _entries),
            config_register=told.value("config_register", _registers(matches, standby=False), _register),
            next_config_register=told.value("next_config_register", _registers(matches, standby=False), _next_register),
            peer_config_register=told.value("peer_config_register", _registers(matches, standby=True), _register),
            peer_next_config_register=told.value(
                "peer_next_config_register", _registers(matches, standby=True), _next_register
            ),
            manual_boot=told.value("manual_boot", _manual_boot_lines(matches, standby=False), _yes_or_no),
            peer_manual_boot=told.value("peer_manual_boot", _manual_boot_lines(matches, standby=True), _yes_or_no),
            at=told.at,
        )
        if not facts.at:
            raise Unreadable("no line tells how it boots")
        if facts.config_register is None and not matches.unmatched:
            return replace(facts, config_register_unmentioned=True)
        if not facts.boot or facts.config_register is None or not _unmentioned(matches):
            return facts
        return replace(
            facts,
            manual_boot=False if _ends_beyond_manual_boot(matches) else None,
            manual_boot_unmentioned=True,
            at={**facts.at, "manual_boot_unmentioned": matches.transcript.kept},
        )


@dataclass(frozen=True, kw_only=True)
class RomMonitorVersion(Facts):
    """`show rom-monitor chassis active R0` and `… standby R0`. The version as printed."""

    version: str | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line tells the version, or one tells something that is none."""
        told = Agreement(matches)
        version = told.value("version", matches.of("version"), _rom_monitor)
        if version is None:
            raise Unreadable("no line tells the version of the ROM monitor")
        return cls(version=version, at=told.at)


@dataclass(frozen=True, kw_only=True)
class RomVariables(Facts):
    """`show romvar`. Values without surrounding quotes."""

    variables: Mapping[str, str] | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line gives a variable, or two lines give one variable different values.

        `at` has the lines of all of them under `variables`, and those of each under `variables.<name>`.
        """
        told = Agreement(matches)
        lines = matches.of("variable")
        if not lines:
            raise Unreadable("no line gives a variable")
        by_name: dict[str, list[Match]] = {}
        for match in lines:
            by_name.setdefault(match["name"], []).append(match)
        variables = {name: told.value(f"variables.{name}", found, _unquoted) or "" for name, found in by_name.items()}
        return cls(variables=variables, at={**told.at, "variables": tuple(match.at for match in lines)})


def _release(headline: Match) -> str:
    try:
        return plain(headline["release"])
    except ValueError:
        raise Unreadable(f"a headline's release can't be read: {headline['release'][:40]}") from None


def _install_mode(match: Match) -> InstallMode | None:
    modes: dict[str, InstallMode] = {"install": "install", "bundle": "bundle"}
    return modes.get(match["value"].strip().lower())


def _uptime(match: Match) -> int | None:
    return printed_time.span(match["value"])


def _variables(matches: Matches, name: str, *, standby: bool) -> list[Match]:
    return [match for match in matches.of("variable") if match["name"] == name and bool(match["whose"]) is standby]


def _manual_boot_lines(matches: Matches, *, standby: bool) -> list[Match]:
    plain_lines = [match for match in matches.of("manual_boot") if bool(match["whose"]) is standby]
    return [*_variables(matches, "MANUAL_BOOT", standby=standby), *plain_lines]


def _registers(matches: Matches, *, standby: bool) -> list[Match]:
    return [match for match in matches.of("config_register") if bool(match["whose"]) is standby]


def _register(match: Match) -> str:
    return match["value"]


def _next_register(match: Match) -> str | None:
    found = re.search("0x[0-9A-Fa-f]+", match["next"])
    return found[0] if found else None


def _entries(match: Match) -> tuple[str, ...]:
    """The entries in boot order; a value that isn't there has none."""
    value = match["value"].strip()
    entries = (entry.strip() for entry in value[1:].split(";")) if value.startswith("=") else ()
    return tuple(re.sub(r",[0-9]+\Z", "", entry) for entry in entries if entry)


def _yes_or_no(match: Match) -> bool | None:
    value = match["value"].strip()
    if value.startswith("does not exist"):
        return False
    return {"yes": True, "no": False}.get(value[1:].strip().lower())


def _unmentioned(matches: Matches) -> bool:
    """Whether no line is about manual boot, and every line is a known one, so that it isn't among them, garbled."""
    return not (matches.unmatched or any(_manual_boot_lines(matches, standby=standby) for standby in (False, True)))


def _ends_beyond_manual_boot(matches: Matches) -> bool:
    """Whether the text goes on to what is printed after a line about manual boot: what it tells of the standby."""
    whose = [(match.at, match.kind == "standby_not_ready" or bool(match["whose"])) for match in matches.found]
    own = [at for at, standby in whose if not standby]
    standbys = [at for at, standby in whose if standby]
    return bool(own) and bool(standbys) and max(own) < min(standbys)


def _rom_monitor(match: Match) -> str:
    try:
        return RomMonitor.parse(match["value"]).text
    except ValueError:
        raise Unreadable(f"the version of the ROM monitor can't be read: {match['value'][:40]}") from None


def _unquoted(match: Match) -> str:
    value = match["value"].strip().removeprefix("=").strip()
    quoted = len(value) > 1 and value[0] == value[-1] and value[0] in "\"'"
    return value[1:-1] if quoted else value
