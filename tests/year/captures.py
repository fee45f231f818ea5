"""A pair's captures on a night of its story, with all that moves by itself on real controllers.

What a night is like is printed by tests.fleet; the figures that are never twice the same are put into the text: clocks,
uptimes, counters, loads, the order of access points and their addresses, lines of a log that break in.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from random import Random

from collector.capture import Capture, Ending
from inventory.pairs import Image, Member, Pair, Window
from parsers import catalogue
from tests.fleet.description import Controller, PairDescription
from tests.fleet.writing import captures
from tests.year.story import START, ZONE, Asking, Story, in_change

_COMMANDS = tuple(command.text for command in catalogue.asked())
_CLOCK_AT = _COMMANDS.index("show clock")
_SPACING, _SECONDS = timedelta(seconds=0.35), 0.2
# One member after the other would be as true; that both are asked at once is what a sweep does.
_LOG = (
    "*{0:%b} {0.day:>2} {0:%H:%M:%S}.{1:03d}: %SYS-5-CONFIG_I: Configured from console by duty on vty0 (192.0.2.250)",
    "*{0:%b} {0.day:>2} {0:%H:%M:%S}.{1:03d}: %APMGR_TRACE_MESSAGE-4-JOIN: Chassis 1 R0/0: wncd: 0200.5e10.0201 joined",
    "{0:%b} {0.day:>2} {0.year} {0:%H:%M:%S}.{1:03d} {0:%Z}: %LINEPROTO-5-UPDOWN: Line protocol on Interface Te0/0/5, "
    "changed state to up",
)
# Somebody looks after the configuration about every fifth week, and saves it.
_REVISION = timedelta(days=37)
# On so many nights the tables of access points stand in another order, with some addresses given anew.
_REORDERED = 0.15


def pair_of(described: PairDescription) -> Pair:
    """The pair as the inventory of that night has it."""
    first, second = (Member(member.name, member.address, 22) for member in described.members)
    return Pair(
        described.name,
        described.site,
        (first, second),
        described.target_release,
        Image(described.image_file, described.image_bytes),
        Window(datetime.fromisoformat(described.window), described.window_minutes),
    )


def asked_at(asking: Asking, pair: str) -> datetime:
    """When an asking comes to the pair."""
    return asking.started + timedelta(minutes=1, seconds=20) * asking.pairs.index(pair)


def described(story: Story, night: date, asking: Asking) -> PairDescription:
    """What the pair is like on that night when it is asked."""
    pair = story.on(night)
    return in_change(pair) if asking.in_change else pair


def of_night(story: Story, night: date, asking: Asking, seed: int) -> dict[str, list[Capture]]:
    """Every capture of both members, by member; MISSING where the deadline or a member's silence left none."""
    moment = asked_at(asking, story.name).astimezone(ZONE)
    lot = Random(f"{seed} {story.name} {moment:%Y-%m-%d %H:%M}")
    pair = _moving(story, described(story, night, asking), moment, lot)
    if story.name in asking.unasked:
        reason = "the sweep's deadline came before it was asked"
        return {member.name: list(_missing(member.name, reason)) for member in pair.members}
    return {member.name: list(_captures(pair, member, moment, lot)) for member in pair.members}


def _missing(member: str, reason: str) -> Iterator[Capture]:
    for command in _COMMANDS:
        yield Capture(member, command, ending=Ending.MISSING, reason=reason)


def _captures(pair: PairDescription, member: Controller, moment: datetime, lot: Random) -> Iterator[Capture]:
    texts = captures(pair, member)
    if not texts:
        yield from _missing(member.name, f"{member.address} doesn't answer")
        return
    broken_into = lot.choice(_COMMANDS) if lot.random() < 0.2 else None
    for place, command in enumerate(_COMMANDS):
        text = _NOISE.get(command, _as_it_is)(texts[command], moment, lot)
        if command == broken_into:
            text = _with_log_line(text, moment, lot)
        yield Capture(member.name, command, text, started=moment + place * _SPACING, seconds=_SECONDS)


def _moving(story: Story, pair: PairDescription, moment: datetime, lot: Random) -> PairDescription:
    """With the clocks, uptimes, loads, addresses and orders of the moment."""
    boots = [story.boot(place, moment) for place in (0, 1)]
    members = [
        replace(
            member,
            uptime=uptime(moment - boot.moment),
            reload=(boot.reason, f"{boot.moment:%H:%M:%S %Z %a %b} {boot.moment.day} {boot.moment.year}"),
            clock_ahead=lot.uniform(-0.4, 0.4),
            memory_used=lot.randint(39, 47),
        )
        for member, boot in zip(pair.members, boots, strict=True)
    ]
    changed = moment - (moment - datetime(2026, 1, 20, 9, 31, 7, tzinfo=ZONE)) % _REVISION
    access_points = pair.access_points
    if lot.random() < _REORDERED:
        access_points = tuple(
            replace(ap, address=f"203.0.113.{lot.randint(1, 254)}") if lot.random() < 0.2 else ap
            for ap in lot.sample(access_points, len(access_points))
        )
    return replace(
        pair,
        members=(members[0], members[1]),
        uptime=uptime(moment - max(boot.moment for boot in boots)),
        access_points=access_points,
        asked=moment + _CLOCK_AT * _SPACING + timedelta(milliseconds=lot.randint(20, 180)),
        changed=changed,
        saved=changed + timedelta(seconds=23),
    )


def uptime(up: timedelta) -> str:
    """As such controllers print it: `1 year, 2 weeks, 1 day, 4 hours, 12 minutes`, without what is none."""
    minutes = int(up.total_seconds() // 60)
    parts = []
    for unit, length in (("year", 525_600), ("week", 10_080), ("day", 1_440), ("hour", 60), ("minute", 1)):
        count, minutes = divmod(minutes, length)
        if count or unit == "minute":
            parts.append(f"{count} {unit}{'' if count == 1 else 's'}")
    return ", ".join(parts)


Noise = Callable[[str, datetime, Random], str]


def _as_it_is(text: str, moment: datetime, lot: Random) -> str:
    return text


def _directory(text: str, moment: datetime, lot: Random) -> str:
    """The tracelogs are written all day."""
    written = moment - timedelta(minutes=lot.randint(1, 90))
    return text.replace("Feb 5 2027 20:58:10", f"{written:%b} {written.day} {written.year} {written:%H:%M:%S}")


def _processors(text: str, moment: datetime, lot: Random) -> str:
    """Other loads, and idle shares that go with them."""
    text = re.sub(r"\b0\.(24|31|29)\b", lambda found: f"{lot.uniform(0.1, 0.6):.2f}", text)
    return re.sub(r"\b97\.60\b", lambda found: f"{lot.uniform(93, 98):.2f}", text)


def _resources(text: str, moment: datetime, lot: Random) -> str:
    return text.replace("3.52%", f"{lot.uniform(2, 9):.2f}%")


def _ntp(text: str, moment: datetime, lot: Random) -> str:
    text = text.replace("-0.4321 msec", f"{lot.uniform(-0.9, 0.9):.4f} msec")
    text = text.replace("1894320000", str(1_894_320_000 + int((moment.date() - START).days * 8_640_000)))
    return text.replace("14.02 msec", f"{lot.uniform(8, 20):.2f} msec").replace(
        "ED2A5B62", f"{lot.getrandbits(32):08X}"
    )


def _with_log_line(text: str, moment: datetime, lot: Random) -> str:
    """A line of the log after any line of the answer."""
    lines = text.splitlines(keepends=True)
    line = lot.choice(_LOG).format(moment, lot.randint(0, 999))
    after = lot.randint(1, len(lines))
    return "".join((*lines[:after], f"{line}\n", *lines[after:]))


_NOISE: dict[str, Noise] = {
    "dir bootflash:": _directory,
    "dir stby-bootflash:": _directory,
    "show platform software status control-processor brief": _processors,
    "show platform resources": _resources,
    "show ntp status": _ntp,
}
