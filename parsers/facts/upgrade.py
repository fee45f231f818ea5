"""Facts about installed software and upgrades in progress."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Self

from parsers.facts.core import Facts, Unreadable
from parsers.matching import Match, Matches


@dataclass(frozen=True, kw_only=True)
class Package:
    """One row of `show install summary`: type (IMG, SMU, …), state (I, U, C, D) and name as printed."""

    type: str
    state: str
    name: str
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class Scope:
    """One block of `show install summary`; locations without the word in front: `1`, `2/R0`, `R0`."""

    locations: tuple[str, ...]
    packages: tuple[Package, ...]
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class InstallSummary(Facts):
    """`show install summary`. `auto_abort` is the worst of the timers shown, None where no timer line was seen.

    It is also None where the timers shown are inactive and none of them stands behind the last block: only the timer
    shows that the answer is whole, so without it nobody may conclude from what isn't listed.
    """

    scopes: tuple[Scope, ...] = ()
    auto_abort: Literal["inactive", "active"] | None = None
    auto_abort_seconds_left: int | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Every block; Unreadable where a list of packages breaks off or a line in or behind one can't be read."""
        blocks = _Blocks()
        by_number = {match.at: match for match in matches.found}
        for number in matches.transcript.kept:
            blocks.take(number, by_number.get(number))
        blocks.end()
        scopes = tuple(block.scope() for block in blocks.blocks)
        listed = sorted(number for block in blocks.blocks for number in block.lines)
        at = {"scopes": tuple(listed), **blocks.timer_lines()}
        return cls(scopes=scopes, auto_abort=blocks.auto_abort(), auto_abort_seconds_left=blocks.seconds_left(), at=at)


@dataclass
class _Block:
    """A block while it is being read. `part` is `head`, `rows` or `closed`."""

    title: Match
    lines: list[int]
    part: str = "head"
    says_none: bool = False
    packages: list[Package] = field(default_factory=list)

    @property
    def filled(self) -> bool:
        return self.says_none or bool(self.packages)

    def scope(self) -> Scope:
        words = self.title["places"].split()
        locations = tuple(word for word in words if re.search("[0-9]", word))
        if not locations or {word for word in words if word not in locations} - {words[0]}:
            raise Unreadable(f"line {self.title.at} doesn't say which chassis it is about")
        return Scope(locations=locations, packages=tuple(self.packages), at=self.title.at)


class _Blocks:
    """Reads `show install summary` line by line; nothing in or behind a block may go unread.

    A block is a title, the legend, a rule, the column titles, a rule, then rows or `No packages`, closed by a rule, a
    timer or the next title. Some trains end without any of them, which a cut can't be told from: see `auto_abort`.
    """

    def __init__(self) -> None:
        self.blocks: list[_Block] = []
        self._timers: dict[int, tuple[bool, int | None]] = {}

    def take(self, number: int, match: Match | None) -> None:
        block = self.blocks[-1] if self.blocks else None
        if match is None:
            # Free text may stand above the first block, and between a title and its column titles.
            if block is not None and block.part != "head":
                raise Unreadable(f"line {number} of the list of packages can't be read")
        elif match.kind == "scope":
            self._close(block)
            self.blocks.append(_Block(match, [number]))
        elif match.kind.startswith("timer"):
            self._close(block)
            seconds = _seconds(match.get("since") or "")
            self._timers[number] = (match.kind == "timer_active", seconds)
        elif match.kind in ("package", "none"):
            self._row(block, match)
        elif block is not None:
            self._frame(block, match)

    def end(self) -> None:
        if not self.blocks:
            raise Unreadable("it lists no packages of any chassis")
        if not self.blocks[-1].filled:
            raise Unreadable("the list of packages breaks off")

    def auto_abort(self) -> Literal["inactive", "active"] | None:
        if any(active for active, _ in self._timers.values()):
            return "active"
        last_block = self.blocks[-1].title.at
        return "inactive" if any(number > last_block for number in self._timers) else None

    def seconds_left(self) -> int | None:
        return min(
            (seconds for active, seconds in self._timers.values() if active and seconds is not None), default=None
        )

    def timer_lines(self) -> dict[str, tuple[int, ...]]:
        shown = self.auto_abort()
        least = self.seconds_left()
        lines = {
            "auto_abort": tuple(
                n for n, (active, _) in self._timers.items() if shown and active == (shown == "active")
            ),
            "auto_abort_seconds_left": tuple(
                n
                for n, (active, seconds) in self._timers.items()
                if active and seconds is not None and seconds == least
            ),
        }
        return {name: numbers for name, numbers in lines.items() if numbers}

    def _close(self, block: _Block | None) -> None:
        if block is not None and not block.filled:
            raise Unreadable("the list of packages breaks off")
        if block is not None:
            block.part = "closed"

    def _row(self, block: _Block | None, match: Match) -> None:
        if block is None or block.part == "closed":
            raise Unreadable(f"line {match.at} stands in no chassis's list of packages")
        block.part = "rows"
        block.lines.append(match.at)
        if match.kind == "none":
            block.says_none = True
        else:
            block.packages.append(Package(type=match["type"], state=match["state"], name=match["name"], at=match.at))
        if block.says_none and block.packages:
            raise Unreadable("it lists packages and says that there are none")

    def _frame(self, block: _Block, match: Match) -> None:
        """A rule, the column titles or the legend: where it stands says what it opens or closes."""
        if match.kind == "rule" and block.part == "rows":
            # The rule under the column titles comes before there is anything to close.
            block.part = "closed" if block.filled else "rows"
        elif match.kind == "heading" and block.part == "head":
            block.part = "rows"
        elif match.kind in ("heading", "legend") and block.part != "head":
            raise Unreadable(f"line {match.at} begins a list of packages without saying of which chassis")


def _seconds(text: str) -> int | None:
    found = re.search(r"(?<![0-9:])([0-9]{1,4}):([0-5][0-9]):([0-5][0-9])(?![0-9:])", text)
    return int(found[1]) * 3600 + int(found[2]) * 60 + int(found[3]) if found else None


@dataclass(frozen=True, kw_only=True)
class IssuState(Facts):
    """`show issu state detail`. `in_progress` is False only where the controller says that nothing is.

    `last_operation` is what newer trains tell beside the operation's type, which is that of the whole upgrade.

    `at` has the lines of all system checks under `system_checks`, and that of each under `system_checks.<name>`.
    """

    in_progress: bool | None = None
    operation: str | None = None
    stage: str | None = None
    last_operation: str | None = None
    system_checks: Mapping[str, str] | None = None

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """The state of an in-service upgrade; Unreadable where no line of such an answer is seen."""
        if not matches.of("idle", "checks", "last_operation", *_TELLING):
            raise Unreadable("it doesn't say whether an in-service upgrade is in progress")
        at: dict[str, tuple[int, ...]] = {}
        checks = _system_checks(matches, at)
        in_progress = _in_progress(matches, at)
        operation = stage = last = None
        if in_progress:
            # Older trains name the operation only as the last one.
            operation = _one(matches.of("operation") or matches.of("last_operation"), "operation", at)
            stage = _one(matches.of("stage"), "stage", at)
            last = _one(matches.of("last_operation"), "last_operation", at) if matches.of("operation") else None
        return cls(
            in_progress=in_progress,
            operation=operation,
            stage=stage,
            last_operation=last,
            system_checks=checks,
            at=at,
        )


_TELLING = ("status", "operation", "stage", "sign", "sign_title", "timer")
_NOTHING = ("", "n/a", "na", "none", "-", "--")
_IDLE_STATUS = (*_NOTHING, "enabled", "disabled", "idle", "inactive", "ready", "available", "not in progress")


def _in_progress(matches: Matches, at: dict[str, tuple[int, ...]]) -> bool | None:
    """True where anything tells of an operation, whatever else is said; False where nothing does and all is read."""
    signs = tuple(match.at for match in matches.of(*_TELLING) if _tells_of_an_operation(match))
    if signs:
        at["in_progress"] = signs
        return True
    idle = tuple(match.at for match in matches.of("idle"))
    if not idle or _leaves_open(matches, at.get("system_checks", ())):
        return None
    at["in_progress"] = idle
    return False


def _tells_of_an_operation(match: Match) -> bool:
    if match.kind == "sign_title":
        return True
    value = _value(match)
    if match.kind == "status":
        return "progress" in value and value not in _IDLE_STATUS
    if match.kind == "timer":
        return value.startswith(("active", "automatic", "running")) or "remaining" in value
    return value not in _NOTHING


def _leaves_open(matches: Matches, checks: tuple[int, ...]) -> bool:
    """Whether a line that can't be read could have told of an operation."""
    status = any(_value(match) not in _IDLE_STATUS for match in matches.of("status"))
    timer = any(not (_value(m) in _NOTHING or _value(m).startswith("inactive")) for m in matches.of("timer"))
    return status or timer or bool(matches.unmatched) or bool(_loose(matches) - set(checks))


def _loose(matches: Matches) -> set[int]:
    """The lines that are nothing but two words or more: a row of the system checks, or anything."""
    return {match.at for match in matches.of("check")} - {m.at for m in matches.found if m.kind != "check"}


def _value(match: Match) -> str:
    return " ".join(match["value"].split()).lower().rstrip(".")


def _one(found: list[Match], name: str, at: dict[str, tuple[int, ...]]) -> str | None:
    values = {" ".join(match["value"].split()): match.at for match in found if _value(match) not in _NOTHING}
    if len(values) > 1:
        raise Unreadable(f"it gives the {name} twice, differently")
    for value, number in values.items():
        at[name] = (number,)
        return value
    return None


def _system_checks(matches: Matches, at: dict[str, tuple[int, ...]]) -> dict[str, str] | None:
    """The rows between the table's column titles and the next line that is none; None where one can't be read."""
    title = matches.first("checks")
    if title is None:
        return None
    rows = {match.at: match for match in matches.of("check")}
    loose, rules, broken = _loose(matches), {match.at for match in matches.of("rule")}, set(matches.unmatched)
    checks: dict[str, str] = {}
    numbers: list[int] = []
    told: dict[str, list[int]] = {}
    for number in (n for n in matches.transcript.kept if n > title.at):
        if number in rules and not numbers:
            continue
        if number in broken:
            return None
        if number not in loose:
            break
        name, value = _cells(rows[number], matches)
        if checks.setdefault(name, value) != value:
            raise Unreadable(f"it gives the system check {name!r} twice, differently")
        numbers.append(number)
        told.setdefault(f"system_checks.{name}", []).append(number)
    if not numbers:
        return None
    at.update({"system_checks": tuple(numbers), **{name: tuple(lines) for name, lines in told.items()}})
    return checks


def _cells(row: Match, matches: Matches) -> tuple[str, str]:
    cells = re.split(r"[ \t]{2,}", matches.transcript.line(row.at).strip())
    if len(cells) == 2:
        return cells[0], cells[1]
    return " ".join(row["name"].split()), row["value"]
