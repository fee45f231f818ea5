"""Facts about the pair: chassis, redundancy, synchronisation of the configuration."""

from __future__ import annotations

import ipaddress
import re
from bisect import bisect_right
from dataclasses import dataclass
from itertools import islice, takewhile
from typing import Any, Literal, Self

from parsers import printed_time
from parsers.facts.core import Facts, Unreadable
from parsers.matching import Match, Matches
from parsers.release import plain

_NOT_GIVEN = ("", "NA", "N/A", "-", "--")


@dataclass(frozen=True, kw_only=True)
class ChassisMember:
    """One row of `show chassis`; role and state as printed; `at` is its line's number."""

    number: int
    role: str
    state: str
    mac: str
    priority: int | None = None
    hw_version: str | None = None
    ip: str | None = None
    rmi_ip: str | None = None
    is_local: bool
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class Chassis(Facts):
    """`show chassis rmi` and `show chassis`."""

    members: tuple[ChassisMember, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Every row of the table; Unreadable where there is none, or a line of the table isn't exactly a row."""
        rows = matches.of("row")
        if not rows:
            raise Unreadable("no chassis is listed")
        table_from = min(match.at for match in matches.of("rule", "row"))
        # The lines above the table are free text; a line in it, or one that begins like a row, must not vanish.
        broken = [n for n in matches.unmatched if n > table_from or _begins_like_a_row(matches.transcript.line(n))]
        if broken:
            raise Unreadable(f"line {broken[0]} of the chassis table can't be read")
        heading = matches.first("heading")
        titles = matches.transcript.line(heading.at) if heading else ""
        members = tuple(_chassis_member(row, titles, matches) for row in rows)
        if len({member.number for member in members}) < len(members):
            raise Unreadable("one chassis is listed twice")
        if sum(member.is_local for member in members) > 1:
            raise Unreadable("more than one chassis is marked as the local one")
        return cls(members=members, at={"members": tuple(member.at for member in members)})


def _begins_like_a_row(line: str) -> bool:
    return re.match(r"[ \t]*[*0-9]", line) is not None


def _chassis_member(row: Match, titles: str, matches: Matches) -> ChassisMember:
    ip, rmi_ip = _addresses(row, titles, matches)
    priority = _given(row["priority"])
    return ChassisMember(
        number=int(row["number"].strip("* \t")),
        role=row["role"],
        state=_words(row["state"]),
        mac=row["mac"],
        priority=int(priority) if priority is not None else None,
        hw_version=_given(row["hardware"]),
        ip=ip,
        rmi_ip=rmi_ip,
        is_local=row["number"].startswith("*"),
        at=row.at,
    )


def _addresses(row: Match, titles: str, matches: Matches) -> tuple[str | None, str | None]:
    """The addresses of a row: of two the second is the redundancy interface's, of one the heading above it decides."""
    printed = row["addresses"].split()
    addresses = [_given(text) for text in printed]
    if len(addresses) > 2 or not all(address is None or _is_address(address) for address in addresses):
        raise Unreadable(f"line {row.at} of the chassis table holds an address that can't be read")
    if len(addresses) == 1 and _stands_under_rmi(titles, matches.transcript.line(row.at), printed[0]):
        return None, addresses[0]
    ip, rmi_ip, *_ = (*addresses, None, None)
    return ip, rmi_ip


def _stands_under_rmi(titles: str, line: str, address: str) -> bool:
    rmi = titles.find("RMI-IP")
    if rmi < 0:
        return False
    own = re.search(r"(?<![\w-])IP\b", titles)
    if own is None:
        return True
    position = line.rindex(address)
    return abs(position - rmi) < abs(position - own.start())


def _is_address(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def _given(text: str) -> str | None:
    value = text.strip()
    return None if value in _NOT_GIVEN else value


def _words(text: str) -> str:
    return " ".join(text.split())


@dataclass(frozen=True, kw_only=True)
class Processor:
    """What `show redundancy` prints of one of the two processors; the state as printed (`ACTIVE`, `STANDBY HOT`).

    `config_register` is the one that counts at the next reload, as printed (`0x102`); `state_seconds` tells how long it
    has been in its state.
    """

    location: str | None = None
    state: str | None = None
    release: str | None = None
    boot: tuple[str, ...] | None = None
    config_register: str | None = None
    state_seconds: int | None = None


@dataclass(frozen=True, kw_only=True)
class Redundancy(Facts):
    """`show redundancy`. `peer` is None where nothing at all is printed about it; modes as printed."""

    hardware_mode: str | None = None
    configured_mode: str | None = None
    operating_mode: str | None = None
    communications: Literal["up", "down"] | None = None
    communications_reason: str | None = None
    switchovers: int | None = None
    last_switchover_reason: str | None = None
    standby_failures: int | None = None
    this: Processor | None = None
    peer: Processor | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """The three blocks; Unreadable where no field of any of them is seen, or one is given twice, differently."""
        seen = _Blocks(matches)
        for match in matches.found:
            seen.take(match)
        if not any(name not in ("this", "peer") for name in seen.at):
            raise Unreadable("it shows no state of the redundancy")
        system = {name: value for name, value in seen.values.items() if name in _SYSTEM}
        return cls(**system, this=seen.processor("this"), peer=seen.processor("peer"), at=seen.cited)


_TEXTS = ("hardware_mode", "configured_mode", "operating_mode", "last_switchover_reason")
_NUMBERS = ("switchovers", "standby_failures")
_SYSTEM = (*_TEXTS, *_NUMBERS, "communications", "communications_reason")
_DOWN = re.compile(r"Down(?:[ \t,(].*?(?:Reason:(.*))?)?", re.IGNORECASE)
_REGISTER = re.compile(r"(0x[0-9A-Fa-f]{1,8})(?:[ \t]+\(will be (0x[0-9A-Fa-f]{1,8}) at next reload\))?")
# The same line first, as far as the release goes; across a line's end only where a comma shows that it is whole.
_RELEASE = re.compile(
    r"\bVersion[ \t\n]+(?:([0-9][0-9a-z.]*)(?=[, ]|\n[^0-9a-z.]|$)|([0-9][0-9a-z.]*(?:\n[0-9a-z.]+)+)(?=,))"
)


# What wraps over a few lines; each release in it is looked up from its beginning.
_LONGEST_IMAGE = 8_000


class _Blocks:
    """Gathers the fields line by line; the block that a line stands in says whose field it is."""

    def __init__(self, matches: Matches) -> None:
        self.matches = matches
        self.values: dict[str, Any] = {}
        self.at: dict[str, set[int]] = {}
        self._block = ""
        self._shapeless = set(matches.unmatched)

    @property
    def cited(self) -> dict[str, tuple[int, ...]]:
        return {name: tuple(sorted(numbers)) for name, numbers in self.at.items()}

    def take(self, match: Match) -> None:
        if match.kind in _TEXTS:
            self._put(match.kind, _words(match["value"]) or None, match.at)
        elif match.kind in _NUMBERS:
            text = match["value"].strip()
            self._put(match.kind, int(text) if re.fullmatch("[0-9]{1,9}", text) else None, match.at)
        elif match.kind == "communications":
            self._communications(match)
        elif match.kind in ("system_title", "this_title", "peer_title"):
            self._open(match.kind.removesuffix("_title"), match.at)
        elif match.kind == "peer_unavailable":
            self._unavailable(match)
        elif self._block:
            self._of_a_processor(match)

    def processor(self, block: str) -> Processor | None:
        names = ("location", "state", "release", "boot", "config_register", "state_seconds")
        fields = {name: self.values.get(f"{block}.{name}") for name in names}
        return Processor(**fields) if block in self.values else None

    def _open(self, block: str, at: int) -> None:
        self._block = "" if block == "system" else block
        if self._block:
            self._put(block, True, at)

    def _of_a_processor(self, match: Match) -> None:
        if match.kind == "location":
            self._location(match["value"], match.at)
        elif match.kind == "location_and_state":
            self._location(match["location"], match.at)
            self._state(match["state"], match.at)
        elif match.kind == "state":
            self._state(match["value"], match.at)
        elif match.kind == "image":
            self._release(match)
        elif match.kind == "boot":
            self._boot(match)
        elif match.kind == "other" and match["key"].strip().lower() == "configuration register":
            found = _REGISTER.fullmatch(match["value"].strip())
            self._put(f"{self._block}.config_register", (found[2] or found[1]) if found else None, match.at)
        elif match.kind == "other" and match["key"].strip().lower() == "uptime in current state":
            self._put(f"{self._block}.state_seconds", printed_time.span(match["value"]), match.at)

    def _location(self, text: str, at: int) -> None:
        # The other processor's block may come without its title.
        if self._block == "this" and "this.location" in self.values:
            self._open("peer", at)
        self._put(f"{self._block}.location", _words(text) or None, at)

    def _state(self, text: str, at: int) -> None:
        self._put(f"{self._block}.state", _words(text) or None, at)

    def _communications(self, match: Match) -> None:
        text = match["value"].strip()
        down = _DOWN.fullmatch(text)
        self._put("communications", "up" if text.lower() == "up" else "down" if down else None, match.at)
        if down and down[1]:
            self._put("communications_reason", _words(down[1]) or None, match.at)

    def _unavailable(self, match: Match) -> None:
        quoted = re.search(r"'([^']+)'", match["why"])
        self._put("peer", True, match.at)
        self._put("peer.state", _words(quoted[1]) if quoted else None, match.at)

    def _release(self, match: Match) -> None:
        numbers = [match.at, *self._shapeless_after(match.at)]
        # The first line without its key, or the key itself would read as the word in front of a release.
        lines = [match["value"].strip(), *(self._image_line(number) for number in numbers[1:])]
        text = "\n".join(lines)
        if len(text) > _LONGEST_IMAGE:
            self._put(f"{self._block}.release", None, match.at)
            return
        for found in _RELEASE.finditer(text):
            first, last = text.count("\n", 0, found.start()), text.count("\n", 0, found.end())
            try:
                release = plain((found[1] or found[2]).replace("\n", ""))
            except ValueError:
                continue
            self._put(f"{self._block}.release", release, *numbers[first : last + 1])

    def _image_line(self, number: int) -> str:
        # Half a line may hold half a release, or the rest of one: a lone dot makes neither.
        transcript = self.matches.transcript
        return "." if number in transcript.broken else transcript.line(number).strip()

    def _boot(self, match: Match) -> None:
        entries = tuple(entry for part in match["value"].split(";") if (entry := _boot_entry(part)))
        # A line of no shape behind it may be the variable's continuation: then it isn't known whole.
        self._put(f"{self._block}.boot", None if self._shapeless_after(match.at) else entries, match.at)

    def _shapeless_after(self, at: int) -> list[int]:
        kept = self.matches.transcript.kept
        following = islice(kept, bisect_right(kept, at), None)
        return list(takewhile(self._shapeless.__contains__, following))

    def _put(self, name: str, value: Any, *at: int) -> None:
        # None counts: a second, readable line doesn't settle what the first one leaves open.
        if self.values.setdefault(name, value) != value:
            raise Unreadable(f"it gives {_spoken(name)} twice, differently")
        if value is not None:
            self.at.setdefault(name, set()).update(at)


def _boot_entry(part: str) -> str:
    return re.sub(r",[0-9]*$", "", part.strip())


def _spoken(name: str) -> str:
    block, _, field = name.rpartition(".")
    owner = {"this": "its own ", "peer": "the peer's "}.get(block, "the ")
    return owner + field.replace("_", " ")


@dataclass(frozen=True, kw_only=True)
class ConfigSync(Facts):
    """The lists of `show redundancy config-sync …`; `lines` are the offending lines as printed, without indentation.

    `empty` is True only where the controller says so, and False where there are offending lines.
    """

    empty: bool | None = None
    lines: tuple[str, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """The offending lines under every heading; `empty` None where a heading is followed by nothing."""
        lists = _lists(matches)
        said_empty = tuple(match.at for match in matches.of("empty"))
        half_said = {number for number in matches.unmatched if _may_say_empty(matches.transcript.line(number))}
        no_offence = {*said_empty, *half_said}
        offending = sorted(number for numbers in lists for number in numbers if number not in no_offence)
        lines = tuple(matches.transcript.line(number).strip() for number in offending)
        if lines and all(line.startswith("%") for line in lines):
            raise Unreadable(f"the controller answered: {lines[0]}")
        if lines:
            return cls(empty=False, lines=lines, at={"empty": tuple(offending), "lines": tuple(offending)})
        if lists and all(lists) and not half_said:
            return cls(empty=True, at={"empty": said_empty})
        return cls()


def _lists(matches: Matches) -> list[list[int]]:
    """The numbers of the lines of each list, without headings and rules; Unreadable where it is no such list."""
    kept = list(matches.transcript.kept)
    rules = {match.at for match in matches.of("rule")}
    if not rules:
        return [_without_rule(matches, kept)]
    first = next(index for index, number in enumerate(kept) if number in rules)
    # Up to the rule stand headings; a configuration line there means that the heading's own rule was lost.
    lists = [[number for number in kept[:first] if _is_configuration(matches.transcript.line(number))]]
    body = kept[first + 1 :]
    current: list[int] = lists[0]
    said, titled = ({match.at for match in matches.of(kind)} for kind in ("empty", "titled"))
    for index, number in enumerate(body):
        if number in rules:
            continue
        # A rule that ends the answer closes a list, unless the line above it is plainly a heading.
        ruled = index + 1 < len(body) and body[index + 1] in rules
        heading = ruled and (index + 2 < len(body) or number in titled)
        if heading and number not in said and not _is_configuration(matches.transcript.line(number)):
            current = []
            lists.append(current)
        else:
            current.append(number)
    return lists


def _without_rule(matches: Matches, kept: list[int]) -> list[int]:
    """The lines of a list whose heading has no rule: known by its shape, at the top, or by what the controller says."""
    titled = {match.at for match in matches.of("titled")}
    said = {match.at for match in matches.of("empty")}
    body = kept[1:] if kept[0] in titled else kept
    if body == kept and kept[0] not in said:
        raise Unreadable("the list's heading isn't there")
    return body


def _may_say_empty(line: str) -> bool:
    """Whether a line that a message cut short may have been the one that says that the list is empty."""
    return "the list is empty".startswith(line.strip().lower())


def _is_configuration(line: str) -> bool:
    """Whether a line looks like a configuration line or a note beside one, and not like a heading."""
    return re.match(r"\s*[A-Z]", line) is None
