"""Facts about how access points joined."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Self

from parsers.columns import Columns
from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts
from parsers.facts.counted_rows import IP, MAC, Words, between, counted_rows, first_word
from parsers.matching import Match, Matches

_TITLES = {
    "Base MAC": "base_mac",
    "Radio MAC": "base_mac",
    "Ethernet MAC": "ethernet_mac",
    "AP Name": "name",
    "AP IP Address": "ip",
    "IP Address": "ip",
    "Status": "status",
    "Join Status": "status",
    "Last Failure Phase": "last_failure_phase",
    "Last Disconnect Reason": "last_disconnect_reason",
}
_ABSENT = r"N/?A|-{1,2}"
_STATUS = "[A-Za-z-]+(?: [A-Za-z-]+)*"
_PHASE = rf"{_ABSENT}|[A-Za-z][A-Za-z0-9/_-]*(?: [A-Za-z0-9/_-]+)*"
_SHAPES = {
    "base_mac": re.compile(MAC),
    "ethernet_mac": re.compile(f"(?:{MAC}|{_ABSENT})?"),
    "ip": re.compile(f"(?:{IP}|{_ABSENT})?"),
    "status": re.compile(f"(?:{_STATUS})?"),
    "last_failure_phase": re.compile(f"(?:{_PHASE})?"),
}


@dataclass(frozen=True, kw_only=True)
class JoinRecord:
    """One row of `show wireless stats ap join summary`; status and reasons as printed; `at` is its line's number."""

    base_mac: str
    ethernet_mac: str | None = None
    name: str | None = None
    ip: str | None = None
    status: str | None = None
    last_failure_phase: str | None = None
    last_disconnect_reason: str | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class JoinSummary(Facts):
    """`show wireless stats ap join summary`. `count` is the controller's own figure."""

    count: int | None = None
    aps: tuple[JoinRecord, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where the rows that can be read are fewer or more than the controller counts."""
        told = Agreement(matches)
        count = told.value("count", matches.of("count"), lambda match: int(match["value"]))
        aps = counted_rows(matches, count, _TITLES, _record)
        at = {**told.at, "aps": tuple(ap.at for ap in aps)} if aps else told.at
        return cls(count=count, aps=tuple(aps), at=at)


def _record(match: Match, heading: Columns) -> JoinRecord | None:
    row = match["row"]
    cells = _cells(row, heading) or _cells_by_shape(row)
    if cells is None:
        return None
    return JoinRecord(
        base_mac=cells["base_mac"],
        ethernet_mac=_given(cells.get("ethernet_mac")),
        name=_given(cells.get("name")),
        ip=_given(cells.get("ip")),
        status=cells.get("status") or None,
        last_failure_phase=cells.get("last_failure_phase") or None,
        last_disconnect_reason=cells.get("last_disconnect_reason") or None,
        at=match.at,
    )


def _given(cell: str | None) -> str | None:
    return None if not cell or re.fullmatch(_ABSENT, cell) else cell


def _cells(row: str, heading: Columns) -> dict[str, str] | None:
    """The cells as the heading cuts them; None where the row doesn't keep to the heading's columns."""
    cells = heading.cut(row)
    if cells is None or "base_mac" not in cells:
        return None
    if any(name in _SHAPES and not _SHAPES[name].fullmatch(cell) for name, cell in cells.items()):
        return None
    return cells


def _cells_by_shape(row: str) -> dict[str, str] | None:
    """The cells around the addresses, of a row that a long cell has pushed out of its columns.

    None where it is open which cell is which: the status must be one of the two that are known.
    """
    words = list(re.finditer(r"\S+", row))
    macs = 2 if len(words) > 1 and re.fullmatch(f"{MAC}|{_ABSENT}", words[1][0]) else 1
    behind_macs = words[macs:]
    ip = first_word(behind_macs, IP)
    if ip is None:
        return None
    status = re.match(r"(?:Not[ \t]+)?Joined(?!\S)", between(behind_macs[ip + 1 :], row))
    if status is None:
        return None
    return {
        "base_mac": words[0][0],
        "ethernet_mac": words[1][0] if macs == 2 else "",
        "name": between(behind_macs[:ip], row),
        "ip": behind_macs[ip][0],
        "status": " ".join(status[0].split()),
        **_phase_and_reason(behind_macs[ip + 1 + len(status[0].split()) :], row),
    }


def _phase_and_reason(words: Words, row: str) -> dict[str, str]:
    """The phase, which is of one word unless two blanks or more end it later, and the reason behind it."""
    if not words:
        return {}
    phase, *reason = re.split(r"[ \t]{2,}", between(words, row), maxsplit=1)
    if not reason:
        phase, *reason = phase.split(maxsplit=1)
    return {"last_failure_phase": phase, "last_disconnect_reason": "".join(reason)}
