"""Facts about access points."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from parsers.columns import Columns
from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts
from parsers.facts.counted_rows import IP, MAC, Words, between, counted_rows, first_word
from parsers.matching import Match, Matches

_SUMMARY_TITLES = {
    "AP Name": "name",
    "Slots": "slots",
    "AP Model": "model",
    "Ethernet MAC": "ethernet_mac",
    "Radio MAC": "radio_mac",
    "Location": "location",
    "Country": "country",
    "CC": "country",
    "RD": "domain",
    "IP Address": "ip",
    "State": "state",
}
_IMAGE_TITLES = {
    "AP Name": "name",
    "AP MAC": "mac",
    "MAC Address": "mac",
    "AP MAC Address": "mac",
    "Ethernet MAC": "mac",
    "Primary Image": "primary",
    "Backup Image": "backup",
    "Predownload Status": "status",
    "Predownload Version": "version",
    "Predownload Ver": "version",
    "Next Retry Time": "next_retry",
    "Retry Count": "retries",
    "Method": "method",
}
_COUNTRY = r"[A-Z]{2,3}(?:,[A-Z]{2,3})*"
_IMAGE = r"[0-9]{1,5}(?:[.][0-9]{1,5}){2,4}"
_ABSENT = r"N/?A|None|0|-+"
_SHAPES = {
    name: re.compile(rf"(?:{shape})?")
    for name, shape in {
        "slots": "[0-9]{1,3}",
        "model": r"[^ \t]+",
        "ethernet_mac": MAC,
        "radio_mac": MAC,
        "mac": MAC,
        "country": r"[^ \t]+",
        "domain": r"[^ \t]+",
        "ip": IP,
        "primary": f"{_IMAGE}|{_ABSENT}",
        "backup": f"{_IMAGE}|{_ABSENT}",
        "status": "[A-Za-z/-]+(?: [A-Za-z/-]+)*",
        "version": f"{_IMAGE}|{_ABSENT}",
        "retries": "[0-9]{1,9}|N/?A|-+",
    }.items()
}


@dataclass(frozen=True, kw_only=True)
class AccessPoint:
    """One row of `show ap summary`; a column that was empty is None; `at` is its line's number."""

    name: str
    slots: int | None = None
    model: str | None = None
    ethernet_mac: str | None = None
    radio_mac: str | None = None
    location: str | None = None
    country: str | None = None
    ip: str | None = None
    state: str | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ApSummary(Facts):
    """`show ap summary`. `count` is the controller's own figure."""

    count: int | None = None
    aps: tuple[AccessPoint, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where the rows that can be read are fewer or more than the controller counts."""
        told = Agreement(matches)
        count = told.value("count", matches.of("count"), lambda match: int(match["value"]))
        aps = counted_rows(matches, count, _SUMMARY_TITLES, _access_point)
        at = {**told.at, "aps": tuple(ap.at for ap in aps)} if aps else told.at
        return cls(count=count, aps=tuple(aps), at=at)


@dataclass(frozen=True, kw_only=True)
class ApImageRow:
    """One row of `show ap image`; a column that was empty is None; `at` is its line's number."""

    name: str
    primary: str | None = None
    backup: str | None = None
    status: str | None = None
    version: str | None = None
    retries: int | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ApImage(Facts):
    """`show ap image`. `counts` maps the labels of the head (`Predownloading`, …) to their numbers.

    It is None where the head has none, or holds a line that can't be read: that could be the one that counts.
    """

    total: int | None = None
    counts: Mapping[str, int] | None = None
    aps: tuple[ApImageRow, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where the rows that can be read are fewer or more than the controller counts.

        `at` has the lines of all counts under `counts`, and those of each under `counts.<label>`.
        """
        told = Agreement(matches)
        labels = _labels(matches)
        total = told.value("total", labels.pop("total", []), lambda match: int(match["value"]))
        counts = {
            label: told.value(f"counts.{label}", found, lambda match: int(match["value"])) or 0
            for label, found in labels.items()
        }
        aps = counted_rows(matches, total, _IMAGE_TITLES, _image_row)
        at = dict(told.at)
        if counts:
            at["counts"] = tuple(match.at for found in labels.values() for match in found)
        if aps:
            at["aps"] = tuple(ap.at for ap in aps)
        return cls(total=total, counts=counts if counts and _head_is_known(matches) else None, aps=tuple(aps), at=at)


def _cells(row: str, heading: Columns) -> dict[str, str] | None:
    """The cells as the heading cuts them; None where the row doesn't keep to the heading's columns."""
    cells = heading.cut(row)
    if cells is None or not cells.get("name"):
        return None
    if any(name in _SHAPES and not _SHAPES[name].fullmatch(cell) for name, cell in cells.items()):
        return None
    return cells


def _access_point(match: Match, heading: Columns) -> AccessPoint | None:
    row = match["row"]
    cells = _cells(row, heading) or _summary_cells(row, heading)
    if cells is None:
        return None
    return AccessPoint(
        name=cells["name"],
        slots=int(cells["slots"]) if cells.get("slots") else None,
        model=cells.get("model") or None,
        ethernet_mac=cells.get("ethernet_mac") or None,
        radio_mac=cells.get("radio_mac") or None,
        location=cells.get("location") or None,
        country=cells.get("country") or None,
        ip=cells.get("ip") or None,
        state=cells.get("state") or None,
        at=match.at,
    )


def _image_row(match: Match, heading: Columns) -> ApImageRow | None:
    row = match["row"]
    cells = _cells(row, heading) or _image_cells(row, heading)
    if cells is None:
        return None
    retries = cells.get("retries", "")
    return ApImageRow(
        name=cells["name"],
        primary=cells.get("primary") or None,
        backup=cells.get("backup") or None,
        status=cells.get("status") or None,
        version=cells.get("version") or None,
        retries=int(retries) if retries.isdecimal() else None,
        at=match.at,
    )


# Rows in which a long cell has pushed the others out of their columns are read by the shapes of their words.


def _summary_cells(row: str, heading: Columns) -> dict[str, str] | None:
    """The cells around the two MAC addresses and the IP address; None where it is open which cell is which."""
    words = list(re.finditer(r"\S+", row))
    mac = first_word(words, MAC)
    if mac is None or mac + 1 >= len(words) or not re.fullmatch(MAC, words[mac + 1][0]):
        return None
    rest = words[mac + 2 :]
    ip = first_word(rest, IP)
    front = _front(words[:mac], row)
    if ip is None or front is None or "location" not in heading or "state" not in heading:
        return None
    sides = _sides(row, rest[:ip], rest[ip + 1 :], location_last=heading.before("state", "location"))
    if sides is None:
        return None
    return {**front, **sides, "ethernet_mac": words[mac][0], "radio_mac": words[mac + 1][0], "ip": rest[ip][0]}


def _front(words: Words, row: str) -> dict[str, str] | None:
    """Name, slots and model out of the words before the MAC addresses; the model may be missing."""
    for place in (len(words) - 2, len(words) - 1):
        if place > 0 and _SHAPES["slots"].fullmatch(words[place][0]):
            model = words[place + 1][0] if place + 1 < len(words) else ""
            return {"name": between(words[:place], row), "slots": words[place][0], "model": model}
    return None


def _sides(row: str, before: Words, behind: Words, *, location_last: bool) -> dict[str, str] | None:
    """Country, location and state out of the words on both sides of the IP address, in either order of columns."""
    if location_last:
        if len(before) != 2:
            return None
        state, *location = re.split(r" {2,}", between(behind, row), maxsplit=1)
        if not location and len(behind) > 1:
            return None
        return {"country": before[0][0], "state": state, "location": "".join(location)}
    country = before[-1][0] if before and re.fullmatch(_COUNTRY, before[-1][0]) else ""
    return {
        "country": country,
        "location": between(before[:-1] if country else before, row),
        "state": between(behind, row),
    }


def _image_cells(row: str, heading: Columns) -> dict[str, str] | None:
    """The cells by their dotted releases; None where it is open which cell is which."""
    words = list(re.finditer(r"\S+", row))
    primary = first_word(words, _IMAGE)
    if primary is None:
        return None
    name, rest = words[:primary], words[primary + 1 :]
    if "mac" in heading:
        if len(name) < 2 or not re.fullmatch(MAC, name[-1][0]):
            return None
        name = name[:-1]
    version = first_word(rest[1:], f"{_IMAGE}|N/?A")
    if not name or version is None or version == 0 or not _SHAPES["backup"].fullmatch(rest[0][0]):
        return None
    last = -2 if "method" in heading else -1
    behind = rest[version + 2 :]
    if len(behind) < 1 - last or not _SHAPES["retries"].fullmatch(behind[last][0]):
        return None
    return {
        "name": between(name, row),
        "primary": words[primary][0],
        "backup": rest[0][0],
        "status": between(rest[1 : version + 1], row),
        "version": rest[version + 1][0],
        "retries": behind[last][0],
    }


def _labels(matches: Matches) -> dict[str, list[Match]]:
    """The lines that count, by their label; the controller's figure for all access points under `total`."""
    rows = {match.at for match in matches.of("row")}
    found: dict[str, list[Match]] = {}
    for match in matches.of("count"):
        label = " ".join(match["label"].split())
        if match.at not in rows:
            found.setdefault("total" if label.lower().endswith("number of aps") else label, []).append(match)
    return found


def _head_is_known(matches: Matches) -> bool:
    heading = matches.first("heading")
    return not any(heading is None or number < heading.at for number in matches.unmatched)
