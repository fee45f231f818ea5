"""Facts about the wireless network as a whole: its access points, radios and clients in numbers, and its WLANs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from parsers.columns import Columns
from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts, Unreadable
from parsers.facts.counted_rows import MAC, Words, between, counted_rows
from parsers.matching import Match, Matches


@dataclass(frozen=True, kw_only=True)
class UpAndDown:
    """How many of a kind there are in all, up and down, by the controller's count; `at` is the row's line number."""

    kind: str
    total: int
    up: int
    down: int
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class WirelessSummary(Facts):
    """`show wireless summary`: the controller's own totals. `radios` are by band, as the row calls it."""

    clients: int | None = None
    aps: UpAndDown | None = None
    radios: tuple[UpAndDown, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where it tells neither of access points nor of clients, or a row's figures don't add up."""
        told = Agreement(matches)
        clients = told.value("clients", matches.of("clients"), lambda match: int(match["value"]))
        rows = [_up_and_down(match) for match in matches.of("row")]
        whole = [row for row in rows if re.fullmatch(r"all aps?|access points?|total aps?", row.kind.lower())]
        if len(whole) > 1:
            raise Unreadable(f"lines {whole[0].at} and {whole[1].at} both count all access points")
        radios = tuple(row for row in rows if row not in whole)
        if len({row.kind.lower() for row in radios}) != len(radios):
            raise Unreadable("it counts the radios of one band twice")
        if clients is None and not rows:
            raise Unreadable("it counts neither access points nor clients")
        at = dict(told.at)
        if whole:
            at["aps"] = (whole[0].at,)
        if radios:
            at["radios"] = tuple(row.at for row in radios)
        return cls(clients=clients, aps=whole[0] if whole else None, radios=radios, at=at)


def _up_and_down(match: Match) -> UpAndDown:
    kind = " ".join(match["kind"].split())
    total, up, down = (int(match[name]) for name in ("total", "up", "down"))
    if up + down != total:
        raise Unreadable(f"line {match.at} counts {total} in all, but {up} up and {down} down")
    return UpAndDown(kind=kind, total=total, up=up, down=down, at=match.at)


@dataclass(frozen=True, kw_only=True)
class Wlan:
    """One row of `show wlan summary`; `enabled` is None where its status is another word than up or down."""

    id: int
    profile: str
    ssid: str | None = None
    enabled: bool | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class WlanSummary(Facts):
    """`show wlan summary`. `count` is the controller's own figure."""

    count: int | None = None
    wlans: tuple[Wlan, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where a row can't be read, an id stands twice, or there are others than the controller counts."""
        told = Agreement(matches)
        count = told.value("count", matches.of("count"), lambda match: int(match["value"]))
        wlans = tuple(counted_rows(matches, count, _WLAN_TITLES, _wlan, "WLANs"))
        if len({wlan.id for wlan in wlans}) != len(wlans):
            raise Unreadable("two rows have the same WLAN's number")
        at = {**told.at, **({"wlans": tuple(wlan.at for wlan in wlans)} if wlans else {})}
        return cls(count=count, wlans=wlans, at=at)


_WLAN_TITLES = {
    "ID": "id",
    "WLAN ID": "id",
    "Profile Name": "profile",
    "WLAN Profile Name": "profile",
    "Profile": "profile",
    "SSID": "ssid",
    "Status": "status",
    "Security": "security",
    "2.4GHz/5GHz Security": "security",
}
_STATUS = {"up": True, "enabled": True, "down": False, "disabled": False}


def _wlan(match: Match, heading: Columns) -> Wlan | None:
    cells = _cells(match["row"], heading, _WLAN_SHAPES) if {"id", "profile", "status"} <= set(heading.names) else None
    if cells is None or not cells["id"] or not cells["profile"]:
        return None
    enabled = _STATUS.get(cells["status"].lower())
    return Wlan(
        id=int(cells["id"]), profile=cells["profile"], ssid=cells.get("ssid") or None, enabled=enabled, at=match.at
    )


_WLAN_SHAPES = {"id": re.compile("[0-9]{1,5}"), "status": re.compile("(?i:up|down|enabled|disabled)")}


@dataclass(frozen=True, kw_only=True)
class Radio:
    """One row of `show ap dot11 … summary`: a radio, whether it is switched on, and whether it works.

    None where the column was empty or holds another word; `at` is the row's line number.
    """

    name: str
    mac: str | None = None
    slot: int | None = None
    admin_up: bool | None = None
    up: bool | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class RadioSummary(Facts):
    """`show ap dot11 … summary`. `count` is the controller's own figure of rows, `ap_count` that of access points.

    Neither is printed by some trains; then every line has to be readable, and a row lost at the end leaves no trace.
    """

    count: int | None = None
    ap_count: int | None = None
    radios: tuple[Radio, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where a row can't be read, a radio stands twice, or the controller counts others."""
        told = Agreement(matches)
        count = told.value("count", _counts(matches, of_aps=False), lambda match: int(match["value"]))
        ap_count = told.value("ap_count", _counts(matches, of_aps=True), lambda match: int(match["value"]))
        if count is None and ap_count == 0:
            count = 0
        radios = tuple(counted_rows(matches, count, _RADIO_TITLES, _radio, "radios"))
        aps = {radio.mac or radio.name for radio in radios}
        if ap_count is not None and ap_count != len(aps):
            raise Unreadable(f"the controller counts {ap_count} access points, but its rows are about {len(aps)}")
        if len({(radio.mac or radio.name, radio.slot) for radio in radios}) != len(radios):
            raise Unreadable("two rows are about the same radio")
        at = {**told.at, **({"radios": tuple(radio.at for radio in radios)} if radios else {})}
        return cls(count=count, ap_count=ap_count, radios=radios, at=at)


_RADIO_TITLES = {
    "AP Name": "name",
    "Mac Address": "mac",
    "MAC": "mac",
    "Radio MAC": "mac",
    "Slot": "slot",
    "Slot ID": "slot",
    "Admin State": "admin",
    "Oper State": "oper",
    "Operation State": "oper",
    "Operational State": "oper",
    "Width": "other1",
    "Txpwr": "other2",
    "Channel": "other3",
    "Mode": "other4",
}
_RADIO_SHAPES = {
    "mac": re.compile(MAC),
    "slot": re.compile("[0-9]{1,2}"),
    "admin": re.compile("(?i:enabled?|disabled?|up|down)"),
    "oper": re.compile("(?i:up|down)"),
}
_ON = {"enabled": True, "enable": True, "up": True, "disabled": False, "disable": False, "down": False}


def _counts(matches: Matches, *, of_aps: bool) -> list[Match]:
    def about_aps(match: Match) -> bool:
        label = " ".join(match["label"].lower().split()).removeprefix("total ")
        return label in ("number of aps", "number of ap's", "number of access points")

    return [match for match in matches.of("count") if about_aps(match) is of_aps]


def _radio(match: Match, heading: Columns) -> Radio | None:
    if not {"name", "slot", "oper"} <= set(heading.names):
        return None
    cells = _cells(match["row"], heading, _RADIO_SHAPES)
    if cells is None or not cells["name"]:
        return None
    return Radio(
        name=cells["name"],
        mac=cells.get("mac") or None,
        slot=int(cells["slot"]) if cells["slot"] else None,
        admin_up=_ON.get(cells.get("admin", "").lower()),
        up=_ON.get(cells["oper"].lower()),
        at=match.at,
    )


def _cells(row: str, heading: Columns, shapes: Mapping[str, re.Pattern[str]]) -> dict[str, str] | None:
    """The row's cells, as the heading cuts them or, where a long name has pushed the others aside, by their shapes."""
    cells = heading.cut(row)
    if cells is not None and all(not cells[name] or shape.fullmatch(cells[name]) for name, shape in _of(shapes, cells)):
        return cells
    return _pushed_aside(row, heading, shapes)


def _of(shapes: Mapping[str, re.Pattern[str]], cells: Mapping[str, str]) -> list[tuple[str, re.Pattern[str]]]:
    return [(name, shape) for name, shape in shapes.items() if name in cells]


# A name of some words and fourteen columns. Each word is tried as the name's end: thousands in a line took too long.
_MOST_WORDS = 40


def _pushed_aside(row: str, heading: Columns, shapes: Mapping[str, re.Pattern[str]]) -> dict[str, str] | None:
    """A row whose one name is too long for its column: the columns behind it are words of known shapes, all there."""
    words: Words = list(re.finditer(r"[^ \t]+", row))
    names = [name for name in heading.names if name not in shapes]
    if heading.names[0] != "name" or names[0] != "name" or len(words) > _MOST_WORDS:
        return None
    behind = heading.names[1 : 1 + next((i for i, n in enumerate(heading.names[1:]) if n not in shapes), len(shapes))]
    if not behind:
        return None
    for place in range(1, len(words) - len(behind) + 1):
        following = words[place : place + len(behind)]
        if all(shapes[name].fullmatch(word[0]) for name, word in zip(behind, following, strict=True)):
            found = {name: word[0] for name, word in zip(behind, following, strict=True)}
            return dict.fromkeys(heading.names, "") | found | {"name": between(words[:place], row)}
    return None
