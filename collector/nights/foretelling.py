"""What a forecast of free flash says, in words: the same in a finding, a timeline and a page."""

from __future__ import annotations

from datetime import datetime, tzinfo

from collector.nights.outlook import Forecast, Shortfall
from collector.sizes import about


def sentence(member: str, found: Forecast, zone: tzinfo | None, window: datetime | None = None) -> str:
    """The whole forecast as a sentence; `zone` is that of its dates, `window` the moment at which the window starts."""
    text = clause(member, found, zone, window)
    return f"{text[:1].upper()}{text[1:]}."


def clause(member: str, found: Forecast, zone: tzinfo | None, window: datetime | None = None) -> str:
    """As `sentence`, without the capital and the full stop."""
    parts = [_fall(member, found)]
    if window is not None:
        parts.append(f"to {_then(found, window)} of the {about(found.needed)} needed on {_date(window, zone)}")
    return f"{', '.join(parts)}, and {_shortfall(found.shortfall, zone)}"


def _fall(member: str, found: Forecast) -> str:
    what = f"free flash of {member}"
    if found.low_points:
        what = f"what the clean-ups again and again leave of free flash on {member}"
    nights = f"{found.nights} low points" if found.low_points else f"{found.nights} nights"
    most, least = (about(-line.a_day) for line in (found.steepest, found.gentlest))
    spread = f"{least} to {most} by {nights}" if least != most else f"by {nights}"
    return f"{what} falls by {about(-found.likely.a_day)} a night ({spread})"


def _then(found: Forecast, window: datetime) -> str:
    likely, least, most = (about(free) for free in found.at(window))
    return f"about {likely}" if least == most else f"about {likely} ({least} to {most})"


def _shortfall(found: Shortfall, zone: tzinfo | None) -> str:
    likely, earliest, latest = (_date(each, zone) if each else None for each in found)
    if earliest is None:
        return "doesn't fall short within a year"
    if likely is None:
        return f"falls short on {earliest} at the earliest, and likely not within a year"
    if latest is None:
        return f"falls short on {likely} ({earliest} at the earliest, at the latest not within a year)"
    return f"falls short on {likely}" + (f" ({earliest} to {latest})" if earliest != latest else "")


def _date(moment: datetime, zone: tzinfo | None) -> str:
    return f"{moment.astimezone(zone):%Y-%m-%d}"
