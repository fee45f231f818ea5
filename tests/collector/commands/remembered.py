"""A store of twelve nights of three pairs in which this and that happens, for the commands that read one."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from collector.capture import Capture
from collector.store.store import opened
from tests.collector.store.judged import EAST, judged, silent, start

FIRST = datetime(2027, 1, 20, 22, 0, tzinfo=EAST)
NIGHTS = 12
GONE = ("quay-car-deck-02", "quay-waiting-hall-24")
NEW = "quay-ramp-one-25"

Edit = Callable[[Capture], Capture | None]


def remember(file: Path) -> None:
    """Sweep quay, lantern and saltmarsh on every night but the seventh, on which the fleet is swept without quay."""
    with opened(str(file)) as store:
        for number in range(NIGHTS):
            moment = FIRST + timedelta(days=number)
            writer = store.begin(start(moment))
            for name in ("lantern", "quay", "saltmarsh"):
                if (name, number) == ("quay", 6):
                    continue
                late = (name, number) == ("lantern", 8)
                edit = silent if late else _QUAY.get(number, _as_recorded) if name == "quay" else _as_recorded
                found = judged(name, moment, edit=edit)
                writer.keep(found.snapshot, found.result, rooms=found.rooms, in_time=not late)
            writer.finish(moment)


def _as_recorded(capture: Capture) -> Capture:
    return capture


def _told(capture: Capture, change: Callable[[str], str]) -> Capture:
    return replace(capture, text=change(capture.text))


def _two_access_points_gone(capture: Capture) -> Capture:
    """Two are gone from every table that names them, and one has another name."""

    def change(text: str) -> str:
        if "AP Name" not in text:
            return text
        rows = [row for row in text.splitlines(keepends=True) if not row.startswith(GONE)]
        return "".join(rows).replace(": 24", ": 22").replace("quay-ramp-one-01", NEW)

    return _told(capture, change)


def _left_over(capture: Capture) -> Capture:
    """Somebody has added a package to both members, and activated it nowhere."""
    row = "IMG   C    17.09.04a.0.6\n"
    return _told(_two_access_points_gone(capture), lambda text: text.replace(row, f"{row}IMG   I    17.12.04.0.1\n"))


def _standby_silent(capture: Capture) -> Capture:
    gone = _two_access_points_gone(capture)
    return silent(gone) if capture.member == "quay-b" else gone


def _switched_over(capture: Capture) -> Capture | None:
    """The standby has taken over, and tells now what the other one told."""
    texts = {each.command: each.text for each in judged("quay").snapshot.members[0].captures.values()}
    partners = {each.command: each.text for each in judged("quay").snapshot.members[1].captures.values()}
    told = texts if capture.member == "quay-b" else partners
    if capture.command not in ("show redundancy", "show chassis rmi"):
        return _two_access_points_gone(replace(capture, text=told[capture.command]))
    words = {"ACTIVE": "STANDBY HOT", "Active": "Standby"}
    other = {**words, **{there: here for here, there in words.items()}}
    role = re.compile("ACTIVE|STANDBY HOT|Active(?= Location| {3})|Standby(?= Location| {2})")
    return _told(capture, lambda text: role.sub(lambda found: other[found[0]], text))


_QUAY: dict[int, Edit] = {
    4: _two_access_points_gone,
    5: _two_access_points_gone,
    7: _left_over,
    8: _left_over,
    9: _two_access_points_gone,
    10: _standby_silent,
    11: _switched_over,
}
