"""A pair's recorded answers, and one member of it asked in a scene of a played upgrade."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from collector.played_upgrade import LEAD, OTHER, Controller, Scene, Upgrade
from collector.simulated_shell import later

MAC = r"[0-9a-f]{4}\.[0-9a-f]{4}\.[0-9a-f]{4}"
_NEEDED_OF_BOTH = ("show version", "show redundancy")
_NEEDED_OF_LEAD = (*_NEEDED_OF_BOTH, "show install summary", "show chassis rmi", "show clock")
_REFUSAL = re.compile(
    r"^[ \t]*(?:% ?Invalid input|% ?Incomplete command|Command authorization failed|% ?Authorization failed)",
    re.MULTILINE | re.IGNORECASE,
)
_UNITS = {"year": 31_536_000, "week": 604_800, "day": 86_400, "hour": 3_600, "minute": 60}


class PlayError(ValueError):
    """The recordings don't make a pair that can be upgraded; the message says why."""


@dataclass(frozen=True)
class Recorded:
    """A pair's recorded answers by the commands' texts, who was active first, and when they were recorded.

    `begins` is when the play begins: the members' clocks, recorded at `recorded_at`, are as much later then.
    """

    names: tuple[str, str]
    texts: tuple[Mapping[str, str], Mapping[str, str]]
    recorded_at: datetime
    begins: datetime

    @classmethod
    def of(cls, texts: Mapping[str, Mapping[str, str]], recorded_at: datetime, begins: datetime) -> Recorded:
        """The recordings of two members, in whatever order; PlayError where no one of them is active."""
        roles = {name: _own_state(each.get("show redundancy", "")) for name, each in texts.items()}
        active = [name for name, state in roles.items() if state == "ACTIVE"]
        standby = [name for name, state in roles.items() if state.startswith("STANDBY")]
        if len(texts) != 2 or len(active) != 1 or len(standby) != 1:
            said = ", ".join(f"{name}: {state or 'not told'}" for name, state in roles.items())
            raise PlayError(f"a play needs one active and one standby member, but these are {said}")
        for name, needed in ((active[0], _NEEDED_OF_LEAD), (standby[0], _NEEDED_OF_BOTH)):
            for command in needed:
                if command not in texts[name] or is_refused(texts[name][command]):
                    raise PlayError(f"{name}: there is no recorded answer to `{command}`, which a play needs")
        made = cls((active[0], standby[0]), (texts[active[0]], texts[standby[0]]), recorded_at, begins)
        # What can't be read out of them is to be told before the play begins.
        _ = (made.numbers, made.releases, made.clock)
        return made

    @cached_property
    def numbers(self) -> tuple[int, int]:
        """The members' chassis numbers; in a session its own chassis is marked."""
        rows = re.findall(rf"^[ \t]*(\*?)[ \t]*(\d+)[ \t].*{MAC}", self.texts[LEAD]["show chassis rmi"], re.MULTILINE)
        own, others = ([int(number) for mark, number in rows if bool(mark) is local] for local in (True, False))
        if len(own) != 1 or len(others) != 1:
            raise PlayError(f"{self.names[LEAD]}: `show chassis rmi` doesn't list its own chassis and one other")
        return own[0], others[0]

    @cached_property
    def releases(self) -> tuple[str, str]:
        """The release of before, padded and plain."""
        text = self.texts[LEAD]["show version"]
        first = re.search(r"Version (\d[\w.]*)[ \t]*\r?$", text, re.MULTILINE)
        second = re.search(r"Version (\d[\w.]*),", text)
        if first is None or second is None:
            raise PlayError(f"{self.names[LEAD]}: `show version` doesn't tell the release in two headlines")
        return first[1], second[1]

    @cached_property
    def headline(self) -> str:
        """The software as `show version` and `show redundancy` name it, with the release of before."""
        found = re.search(
            r"^[ \t]*(\S.*Version \d[\w.]*,.*?)[ \t]*\r?$", self.texts[LEAD]["show version"], re.MULTILINE
        )
        return found[1] if found else ""

    @cached_property
    def clock(self) -> tuple[datetime, str]:
        """The recorded clock and its zone's name."""
        found = re.search(r"(\d\d:\d\d:\d\d\.\d{3}) (\S+) (\w{3} \w{3} +\d+ \d{4})", self.texts[LEAD]["show clock"])
        if found is None:
            raise PlayError(f"{self.names[LEAD]}: `show clock` shows no time")
        return datetime.strptime(f"{found[1]} {found[3]}", "%H:%M:%S.%f %a %b %d %Y"), found[2]

    @cached_property
    def installed(self) -> tuple[tuple[str, str], ...]:
        """The packages of before, each with its type and name."""
        rows = re.findall(
            r"^[ \t]*([A-Z]{3,4})[ \t]+C[ \t]+(\S+)", self.texts[LEAD]["show install summary"], re.MULTILINE
        )
        return tuple((kind, name) for kind, name in rows)

    @cached_property
    def access_points(self) -> Mapping[str, int]:
        """The access points' names as the active one lists them, each with its place in the list."""
        row = re.compile(rf"^[ \t]*(\S.*?)[ \t]+\d+[ \t]+\S+[ \t]+{MAC}[ \t]+{MAC}[ \t]", re.MULTILINE)
        found = row.findall(self.texts[LEAD].get("show ap summary", ""))
        return {name: place for place, name in enumerate(found)}

    def uptime(self, place: int) -> float:
        """How many seconds a member had been up when it was recorded."""
        found = re.search(r" uptime is (.+?)[ \t]*\r?$", self.texts[place]["show version"], re.MULTILINE)
        parts = re.findall(r"(\d+) (year|week|day|hour|minute)s?", found[1]) if found else []
        return float(sum(int(number) * _UNITS[unit] for number, unit in parts))


@dataclass(frozen=True)
class Asked:
    """One member, asked in one scene."""

    recorded: Recorded
    upgrade: Upgrade
    scene: Scene
    place: int

    @property
    def me(self) -> Controller:
        """The member itself."""
        return self.scene.members[self.place]

    @property
    def peer(self) -> Controller:
        """Its partner."""
        return self.scene.members[1 - self.place]

    @property
    def role_then(self) -> int:
        """The place of whoever had this member's role when it was recorded."""
        return LEAD if self.me.active else OTHER

    @property
    def since_recorded(self) -> timedelta:
        """How long ago the recording was made, by the members' own clocks."""
        return self.recorded.begins - self.recorded.recorded_at + timedelta(seconds=self.scene.elapsed)

    def text(self, command: str) -> str:
        """What was recorded for a command: of the member itself if it was told, else of whoever had its role."""
        own = self.recorded.texts[self.place].get(command)
        if own is None or is_refused(own):
            own = self.recorded.texts[self.role_then][command]
        return later(own, self.since_recorded)

    def moment(self, at: float) -> datetime:
        """A moment of the play by the members' own clocks."""
        return self.recorded.clock[0] + self.since_recorded + timedelta(seconds=at - self.scene.elapsed)

    def clock_time(self, at: float) -> str:
        """A moment of the play as the members print it: 22:00:02 CET Fri Feb 5 2027."""
        moment = self.moment(at)
        return f"{moment:%H:%M:%S} {self.recorded.clock[1]} {moment:%a %b} {moment.day} {moment.year}"

    def number(self, place: int) -> int:
        """The chassis number of the member at a place."""
        return self.recorded.numbers[place]


def printed(*lines: str) -> str:
    """An answer of these lines."""
    return "".join(f"{line}\n" for line in lines)


def padded(release: str) -> str:
    """17.12.4 as 17.12.04."""
    first, *rest = release.split(".")
    return ".".join([first, *(re.sub(r"^(\d)(?!\d)", r"0\1", part) for part in rest)])


def span(seconds: float) -> str:
    """A time span as controllers word it: 31 weeks, 2 days, 4 hours, 12 minutes."""
    left = int(seconds)
    parts: list[str] = []
    for unit, size in _UNITS.items():
        number, left = divmod(left, size)
        if number or (unit == "minute" and not parts):
            parts.append(f"{number} {unit}{'' if number == 1 else 's'}")
    return ", ".join(parts)


def countdown(seconds: float) -> str:
    """What is left of a timer: 01:49:42."""
    left = int(seconds)
    return f"{left // 3600:02d}:{left // 60 % 60:02d}:{left % 60:02d}"


def is_refused(text: str) -> bool:
    """Whether an answer is a refusal."""
    return _REFUSAL.search(text) is not None


def _own_state(text: str) -> str:
    """The state of whose session this `show redundancy` is; a member's own comes first."""
    found = re.search(r"Current Software state\s*=\s*(\S+(?: \S+)*)", text)
    return found[1].upper() if found else ""
