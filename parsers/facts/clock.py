"""Facts about a controller's clock."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Self

from parsers import printed_time
from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts, Unreadable
from parsers.matching import Match, Matches


@dataclass(frozen=True, kw_only=True)
class NtpStatus(Facts):
    """`show ntp status`. `offset_ms` in milliseconds; `synchronised` only as the first line says it."""

    synchronised: bool | None = None
    stratum: int | None = None
    reference: str | None = None
    offset_ms: float | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line tells whether the clock is synchronised, or two tell it differently."""
        told = Agreement(matches)
        states = matches.of("state")
        synchronised = told.value("synchronised", matches.of("state", "off"), _is_synchronised)
        if synchronised is None:
            raise Unreadable("no line tells whether the clock is synchronised")
        return cls(
            synchronised=synchronised,
            stratum=told.value("stratum", states, lambda match: int(match["stratum"])),
            reference=told.value("reference", states, _reference),
            offset_ms=told.value("offset_ms", matches.of("offset"), lambda match: float(match["value"])),
            at=told.at,
        )


def _is_synchronised(match: Match) -> bool:
    return match.kind == "state" and match["state"] == "synchronized"


def _reference(match: Match) -> str | None:
    found = re.fullmatch(r",[ \t]*reference is (\S+?)[.,]?", match["rest"].strip())
    return found[1] if found else None


@dataclass(frozen=True, kw_only=True)
class Clock(Facts):
    """`show clock`. `time` without its zone; `mark` is `*` (not authoritative), `.` (not synchronised) or empty."""

    time: datetime | None = None
    zone: str | None = None
    mark: str | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where no line tells the time, lines tell it differently, or one can't be read."""
        if matches.unmatched:
            raise Unreadable(f"line {matches.unmatched[0]} tells no time")
        told = Agreement(matches)
        lines = matches.of("time")
        printed = told.value("time", lines, lambda match: printed_time.parse(match["value"]))
        mark = told.value("mark", lines, lambda match: match["mark"])
        if printed is None:
            raise Unreadable("no line tells the time")
        at = {**told.at, "zone": told.at["time"]} if printed.zone else told.at
        return cls(time=printed.time, zone=printed.zone, mark=mark, at=at)
