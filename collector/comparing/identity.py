"""Which access point before is which one after: by MAC addresses, so that a new name loses nobody."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from parsers.facts.access_points import AccessPoint


@dataclass(frozen=True)
class Matched:
    """Two tables set against each other: who stayed (before and after), who is missing, and who is new.

    A table may list an access point twice: what it lists again says nothing new.
    """

    stayed: tuple[tuple[AccessPoint, AccessPoint], ...]
    missing: tuple[AccessPoint, ...]
    new: tuple[AccessPoint, ...]

    @property
    def renamed(self) -> tuple[tuple[AccessPoint, AccessPoint], ...]:
        """Those that have another name now."""
        return tuple((then, now) for then, now in self.stayed if then.name != now.name)


def match(before: Sequence[AccessPoint], after: Sequence[AccessPoint]) -> Matched:
    """Set the tables against each other.

    Any address that two rows share makes them one access point. The name counts only where one of the rows shows no
    address: an access point that was replaced by another of its name is missing, and that one is new.
    """
    then, now = _Known(before), _Known(after)
    found = [(ap, now.find(ap)) for ap in _distinct(before)]
    return Matched(
        stayed=tuple((ap, other) for ap, other in found if other is not None),
        missing=tuple(ap for ap, other in found if other is None),
        new=tuple(ap for ap in _distinct(after) if then.find(ap) is None),
    )


def marks(ap: AccessPoint) -> tuple[str, ...]:
    """The addresses of a row, each in one spelling and with its kind; none where it shows none."""
    return tuple(
        f"{kind} {digits}"
        for kind, printed in (("ethernet", ap.ethernet_mac), ("radio", ap.radio_mac))
        if (digits := mac(printed)) is not None
    )


def mac(printed: str | None) -> str | None:
    """An address's digits, whatever stands between them; None where there is none, or all of it is zeros."""
    digits = re.sub(r"[^0-9a-f]", "", (printed or "").lower())
    return digits if digits.strip("0") else None


class _Known:
    """The rows of one table by their addresses, and by name."""

    def __init__(self, rows: Sequence[AccessPoint]) -> None:
        self._by_mark: Mapping[str, AccessPoint] = {mark: row for row in reversed(rows) for mark in marks(row)}
        self._by_name: Mapping[str, AccessPoint] = {row.name: row for row in reversed(rows)}
        self._nameless: Mapping[str, AccessPoint] = {row.name: row for row in reversed(rows) if not marks(row)}

    def find(self, ap: AccessPoint) -> AccessPoint | None:
        """The row that is this access point; None where there is none."""
        own = marks(ap)
        found = next((self._by_mark[mark] for mark in own if mark in self._by_mark), None)
        if found is not None:
            return found
        return self._nameless.get(ap.name) if own else self._by_name.get(ap.name)


def _distinct(rows: Sequence[AccessPoint]) -> list[AccessPoint]:
    """The rows, without those that share an address (or, without any, the name) with one above them."""
    seen: set[str] = set()
    found: list[AccessPoint] = []
    for row in rows:
        own = set(marks(row)) or {f"name {row.name}"}
        if own.isdisjoint(seen):
            found.append(row)
        seen |= own
    return found
