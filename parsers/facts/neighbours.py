"""Facts about which access points hear each other, and how many clients each of their radios has."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Self, TypeVar

from parsers.columns import Columns
from parsers.facts.agreement import Agreement
from parsers.facts.core import Facts, Unreadable
from parsers.facts.counted_rows import MAC, Words, between, counted_rows
from parsers.matching import Match, Matches

_OWN_TITLES = {
    "AP Name": "name",
    "AP MAC": "mac",
    "AP MAC Address": "mac",
    "AP Radio MAC": "mac",
    "Base MAC": "mac",
    "MAC Address": "mac",
    "Radio MAC": "mac",
    "Slot": "slot",
    "Slot ID": "slot",
    "Slots": "slot",
}
# A title counts whatever the blanks between its words, so `Neighbor` must not be the beginning of one that holds the
# title of a column that may follow it.
_NEIGHBOUR_TITLES = {
    **_OWN_TITLES,
    **{
        f"{spelt}{behind}": name
        for spelt in ("Neighbor", "Neighbour")
        for name, endings in {
            "neighbour": ("", " AP", " AP Name", " Name"),
            "neighbour_mac": (" MAC", " MAC Address", " AP MAC", " AP MAC Address", " Radio MAC", " BSSID"),
            "neighbour_slot": (" Slot ID", " AP Slot"),
        }.items()
        for behind in endings
    },
    "Channel": "channel",
    "RSSI": "dbm",
    "RSSI (dBm)": "dbm",
    "RSSI(dBm)": "dbm",
}
_LOAD_TITLES = {
    **_OWN_TITLES,
    **{
        f"{what}{unit}": "utilisation"
        for what in ("Channel Utilization", "Channel Utilisation", "Channel Util", "Utilization", "Utilisation")
        for unit in ("", "(%)", " (%)", " %")
    },
    "Clients": "clients",
    "Client Count": "clients",
    "Number of Clients": "clients",
    "Associated Clients": "clients",
    "Attached Clients": "clients",
}
_ABSENT = r"N/?A|None|-{1,2}"
_ABSENT_CELL = re.compile(f"(?:{_ABSENT})?")
_WORDS = {
    "mac": re.compile(MAC),
    "slot": re.compile("[0-9]{1,2}"),
    "neighbour_mac": re.compile(f"{MAC}|{_ABSENT}"),
    "neighbour_slot": re.compile(f"[0-9]{{1,2}}|{_ABSENT}"),
    # A channel may be bonded, marked as chosen automatically, or stand in brackets.
    "channel": re.compile(f"[(]?[0-9]{{1,3}}(?:[,+/][0-9]{{1,3}}(?:MHz)?){{0,8}}[)]?[*]?|{_ABSENT}"),
    "dbm": re.compile(f"-[0-9]{{1,3}}(?:[ \t]*dBm)?|{_ABSENT}"),
    "utilisation": re.compile(f"[0-9]{{1,3}}(?:[.][0-9]{{1,4}})?(?:[ \t]*%)?|{_ABSENT}"),
    "clients": re.compile(f"[0-9]{{1,6}}|{_ABSENT}"),
}
"""The shapes of the columns that hold one word; the others hold names."""

# Two names of some words and five columns. Each word is tried as a name's end: thousands in a line took too long.
_MOST_WORDS = 24
_WEAKEST = -127
_UNIT = re.compile(r"(?<=[0-9])[ \t]+(?=(?:dBm|%)(?![^ \t]))")
_NUMBER = re.compile("[0-9]+")


@dataclass(frozen=True, kw_only=True)
class ApNeighbour:
    """One row of `show ap neighbor summary`: the access point's radio in a slot hears another at so many dBm.

    `neighbour` is the other's name, or its radio's MAC address where the controller knows no name; `dbm` is negative;
    a column that was empty is None; `at` is the row's line number.
    """

    name: str
    slot: int | None = None
    neighbour: str
    channel: int | None = None
    dbm: int
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ApAlone:
    """A row which says that the access point's radio in a slot hears nobody; `at` is its line's number."""

    name: str
    slot: int | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ApNeighbours(Facts):
    """`show ap neighbor summary`. `count` is the controller's own figure of rows, `ap_count` that of access points.

    An access point that is in neither `neighbours` nor `alone` has told nothing: it isn't known whom it hears.
    """

    count: int | None = None
    ap_count: int | None = None
    neighbours: tuple[ApNeighbour, ...] = ()
    alone: tuple[ApAlone, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where a row can't be read, or there are others than the controller counts."""
        told = Agreement(matches)
        count, ap_count = _counts(told, matches)
        rows: list[ApNeighbour | ApAlone] = _rows(matches, count, ap_count, _NEIGHBOUR_TITLES, _neighbour, "neighbours")
        neighbours = tuple(row for row in rows if isinstance(row, ApNeighbour))
        alone = tuple(row for row in rows if isinstance(row, ApAlone))
        _check(ap_count, {row.name for row in rows})
        at = _places(told, neighbours=neighbours, alone=alone)
        return cls(count=count, ap_count=ap_count, neighbours=neighbours, alone=alone, at=at)


@dataclass(frozen=True, kw_only=True)
class ApLoadRow:
    """One row of `show ap dot11 … load-info`: a radio's clients and how busy its channel is, in per cent.

    A column that was empty is None, never 0; `at` is the row's line number.
    """

    name: str
    mac: str | None = None
    slot: int | None = None
    utilisation_percent: float | None = None
    clients: int | None = None
    at: int = 0


@dataclass(frozen=True, kw_only=True)
class ApLoad(Facts):
    """`show ap dot11 … load-info`. `count` is the controller's own figure of rows, `ap_count` that of access points."""

    count: int | None = None
    ap_count: int | None = None
    loads: tuple[ApLoadRow, ...] = ()

    @classmethod
    def from_matches(cls, matches: Matches) -> Self:
        """Unreadable where a row can't be read, or there are others than the controller counts."""
        told = Agreement(matches)
        count, ap_count = _counts(told, matches)
        loads = tuple(_rows(matches, count, ap_count, _LOAD_TITLES, _load, "radios"))
        _check(ap_count, {row.mac or row.name for row in loads})
        return cls(count=count, ap_count=ap_count, loads=loads, at=_places(told, loads=loads))


R = TypeVar("R")


def _counts(told: Agreement, matches: Matches) -> tuple[int | None, int | None]:
    """The controller's figures of rows and of access points, by what their labels say that they count."""
    of_aps = {
        match.at: " ".join(match["label"].lower().split()).removeprefix("total ") in ("number of aps", "number of ap's")
        for match in matches.of("count")
    }
    count, ap_count = (
        told.value(
            field,
            [match for match in matches.of("count") if of_aps[match.at] is wanted],
            lambda match: int(match["value"]),
        )
        for field, wanted in (("count", False), ("ap_count", True))
    )
    return count, ap_count


def _rows(
    matches: Matches,
    count: int | None,
    ap_count: int | None,
    titles: Mapping[str, str],
    read: Callable[[Match, Columns], R | None],
    counted: str,
) -> list[R]:
    """A figure of access points can't tell that one of the rows of an access point is missing; none can be unread."""
    if count is None and ap_count == 0:
        count = 0
    return counted_rows(matches, count, titles, read, counted)


def _check(ap_count: int | None, aps: set[str]) -> None:
    if ap_count is not None and ap_count != len(aps):
        raise Unreadable(f"the controller counts {ap_count} access points, but its rows are about {len(aps)}")


def _places(
    told: Agreement, **rows: Sequence[ApNeighbour] | Sequence[ApAlone] | Sequence[ApLoadRow]
) -> Mapping[str, tuple[int, ...]]:
    return {**told.at, **{field: tuple(row.at for row in found) for field, found in rows.items() if found}}


def _neighbour(match: Match, heading: Columns) -> ApNeighbour | ApAlone | None:
    cells = _cells(match["row"], heading) if _is_whole(heading, "name", "slot", "dbm") else None
    if cells is None:
        return None
    slot, dbm = _number(cells.get("slot")), cells["dbm"]
    neighbour = _given(cells.get("neighbour")) or _given(cells.get("neighbour_mac"))
    if neighbour is None:
        nothing = {name for name in cells if name not in ("name", "mac", "slot", "?")}
        if all(_ABSENT_CELL.fullmatch(cells[name]) for name in nothing) and dbm:
            return ApAlone(name=cells["name"], slot=slot, at=match.at)
        return None
    level = _number(dbm)
    if level is None or not 0 < level <= -_WEAKEST:
        return None
    channel = _number(cells.get("channel"))
    return ApNeighbour(name=cells["name"], slot=slot, neighbour=neighbour, channel=channel, dbm=-level, at=match.at)


def _load(match: Match, heading: Columns) -> ApLoadRow | None:
    cells = _cells(match["row"], heading) if _is_whole(heading, "name", "clients") else None
    if cells is None:
        return None
    percent = _given(cells.get("utilisation"))
    utilisation = None if percent is None else float(percent.rstrip("% \t"))
    if utilisation is not None and utilisation > 100:
        return None
    return ApLoadRow(
        name=cells["name"],
        mac=_given(cells.get("mac")),
        slot=_number(cells.get("slot")),
        utilisation_percent=utilisation,
        clients=_number(cells["clients"]),
        at=match.at,
    )


def _given(cell: str | None) -> str | None:
    return None if cell is None or _ABSENT_CELL.fullmatch(cell) else cell


def _number(cell: str | None) -> int | None:
    """The first number in a cell, without its sign."""
    found = _NUMBER.search(cell) if cell else None
    return int(found[0]) if found else None


@lru_cache(maxsize=64)
def _is_whole(heading: Columns, *needed: str) -> bool:
    """Whether a heading has what is needed, and nothing that is known twice."""
    known = [name for name in heading.names if name != "?"]
    return set(needed) <= set(known) and len(known) == len(set(known))


def _cells(row: str, heading: Columns) -> dict[str, str] | None:
    """A row's cells, as the heading cuts them or, where a long cell has pushed the others aside, by their shapes."""
    cells = heading.cut(row)
    if cells is None or not cells["name"] or not _keeps_shape(cells):
        return _cells_by_words(_UNIT.sub("", row), heading)
    return cells


def _keeps_shape(cells: Mapping[str, str]) -> bool:
    return all(not cell or name not in _WORDS or _WORDS[name].fullmatch(cell) for name, cell in cells.items())


def _cells_by_words(row: str, heading: Columns) -> dict[str, str] | None:
    """The cells of a row in which none is empty and only names hold blanks; None where it is open which is which."""
    names, words = heading.names, list(re.finditer(r"[^ \t]+", row))
    texts = [place for place, name in enumerate(names) if name not in _WORDS]
    first, last = texts[0], texts[-1]
    end = len(words) - (len(names) - 1 - last)
    if "?" in names or len(words) > _MOST_WORDS:
        return None
    between_texts = names[first + 1 : last]
    places = [end]
    if first != last:
        # A name may be missing as well: blanks before the first column are not kept.
        possible = range(first, end - len(between_texts))
        places = _places_of(between_texts, words, possible)
    lead, tail = _single(words, 0, names[:first]), _single(words, end, names[last + 1 :])
    if lead is None or tail is None or len(places) != 1 or places[0] <= first:
        return None
    middle = _single(words, places[0], between_texts) or {}
    return {
        **lead,
        **middle,
        **tail,
        names[last]: between(words[places[0] + len(middle) : end], row),
        names[first]: between(words[first : places[0]], row),
    }


def _places_of(columns: Sequence[str], words: Words, possible: Iterable[int]) -> list[int]:
    """The places at which words of the columns' shapes begin; the first column alone rules most of them out."""
    if not columns:
        return list(possible)
    first, *others = columns
    is_first = _WORDS[first].fullmatch
    places = [place for place in possible if is_first(words[place][0])]
    return [place for place in places if _fits(words, place + 1, others)] if others else places


def _single(words: Words, start: int, columns: Sequence[str]) -> dict[str, str] | None:
    """The words from a place on, one a column; None where they aren't of the columns' shapes."""
    if not _fits(words, start, columns):
        return None
    return {name: word[0] for name, word in zip(columns, words[start : start + len(columns)], strict=True)}


def _fits(words: Words, start: int, columns: Sequence[str]) -> bool:
    if start + len(columns) > len(words):
        return False
    return all(_WORDS[name].fullmatch(words[place][0]) for place, name in enumerate(columns, start))
