"""Fills a store with many pairs and nights at once, for benchmarks: what a sweep a night would have left there.

Old nights are made row by row, without asking and judging: most of a pair's nights equal the one before, now and then
there is a spell of trouble, access points come and go, and flash moves. The last nights have their reports and captures
too, those of a healthy pair with all that moves by itself, so that texts are shared no more than real ones would be.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cache
from random import Random
from typing import Any

import zstandard
from sqlalchemy import Connection, Engine, Table, insert, text

from collector import rules
from collector.capture import Capture
from collector.judging import judge_snapshot, snapshot_of
from collector.nights import state
from collector.nights.night import Room, Source
from collector.report import document
from collector.result import PairResult
from collector.rules.flash_space import rooms
from collector.snapshot import Snapshot
from collector.store import contents
from collector.store.contents import Content
from collector.store.schema import CAPTURES, CONTENTS, JUDGEMENTS, ROOMS, SWEEPS
from inventory.opening import read_policy
from inventory.policy import Policy
from tests.demo_fleet import INVENTORY
from tests.fleet.description import PairDescription
from tests.fleet.making import access_point_rows
from tests.year import captures
from tests.year.story import (
    MEGABYTE,
    NEEDED,
    NIGHTS,
    START,
    ZONE,
    Asking,
    Edit,
    Region,
    Story,
    Truth,
    about,
    in_change,
    standing_pair,
)

# The night after a store's last one.
NEXT = START + timedelta(days=NIGHTS)
_ACCESS_POINTS = 24
_PREFIX, _SITES = "berth-", 40
_ANSWERS = timedelta(seconds=13)
# Two figures that stand for the members' free flash wherever a template tells them.
_FREE = (15_000_002_560, 15_000_006_656)
_WELL = "well"
# Of a thousand nights on which all is well, on so many a spell of this kind begins.
_SPELLS: Mapping[str, int] = {"full": 4, "unsynchronised": 6, "access point away": 12}
_LONGEST_SPELL = 12
_AT_ONCE = 50_000
_LEVEL = 3


@dataclass(frozen=True)
class Size:
    """How much to fill in: so many pairs on each of the last `nights` before NEXT, and the texts of the last `kept`."""

    pairs: int
    nights: int = NIGHTS
    kept: int = 30


def fill(engines: Sequence[Engine], size: Size, seed: int = 1) -> None:
    """Fill the empty tables of these stores, all with the same; each engine leads to one that is up to date."""
    nights = [NEXT - timedelta(days=back) for back in range(size.nights, 0, -1)]
    with ExitStack() as stack:
        connections = [stack.enter_context(engine.begin()) for engine in engines]
        rows = _Rows(connections)
        for night in nights:
            rows.add(SWEEPS, _sweep(night))
        for number in range(size.pairs):
            _fill_pair(rows, number, nights, size.kept, seed)
        rows.flush()
        for connection in connections:
            _settle(connection)


def _settle(connection: Connection) -> None:
    """What a server does by itself where rows come one by one, and in the background."""
    if connection.dialect.name == "postgresql":
        for table in ("contents", "judgements"):
            connection.execute(text(f"SELECT setval('{table}_id_seq', (SELECT max(id) FROM {table}))"))
        connection.execute(text("ANALYZE"))


def described(number: int) -> PairDescription:
    """The pair of a number, with nothing amiss: physical and virtual by turns."""
    name = f"{_PREFIX}{number:04d}"
    pair = standing_pair(
        name,
        f"Terminal {number % _SITES:02d}",
        number,
        model="WX-VC" if number % 2 else "WX-9840",
        access_points=access_point_rows(name, ("Ramp", "Waiting Hall", "Gate"), _ACCESS_POINTS, number),
        window=datetime(2027, 4, 1 + number % 28, 23, 0, tzinfo=ZONE).isoformat(),
    )
    # A benchmark's fleet is larger than the documentation's ranges: RFC 2544.
    first, second = (
        replace(member, address=f"198.18.{number // 100}.{number % 100 * 2 + place}")
        for place, member in enumerate(pair.members, 1)
    )
    return replace(pair, members=(first, second))


def answers(number: int, night: date, seed: int = 1) -> dict[str, list[Capture]]:
    """What the pair of a number says on a night of the year, or the one after it, when nothing is amiss."""
    pair = described(number)
    story = Story(pair, Region.NORTH, _flash(number, seed), Truth(()))
    return captures.of_night(story, night, _asking(number, night), seed)


def judged(
    pair: PairDescription, given: Mapping[str, Sequence[Capture]], policy: Policy
) -> tuple[Snapshot, PairResult, tuple[Room, ...]]:
    """What a sweep makes of a pair's answers, without a past."""
    moment = max(capture.started for own in given.values() for capture in own if capture.started) + _ANSWERS
    snapshot = snapshot_of(captures.pair_of(pair), given, moment)
    return snapshot, judge_snapshot(snapshot, policy), rooms(snapshot, policy)


@cache
def policy() -> Policy:
    """The demo's."""
    return read_policy(INVENTORY / "policy.yaml", rules.waivable())


def _sweep(night: date) -> dict[str, Any]:
    started = Region.NORTH.begins(night)
    return {
        "id": f"{night:%Y%m%d}".ljust(32, "0"),
        "source": Source.SWEEP.value,
        "collector": "north",
        "inventory": "/srv/readypair/north",
        "whole": True,
        "started": started,
        "finished": started + timedelta(hours=1),
    }


def _asking(number: int, night: date) -> Asking:
    started = Region.NORTH.begins(night) + timedelta(seconds=2 * number)
    return Asking(Source.SWEEP, Region.NORTH, started, (f"{_PREFIX}{number:04d}",))


def _flash(number: int, seed: int) -> tuple[tuple[int, int], ...]:
    """Free bytes by night, the one after the year among them: about a level, or slowly falling."""
    lot = Random(f"{seed} flash {number}")
    levels, falls = [lot.uniform(12_000, 18_000) for _ in range(2)], [lot.choice((0, 0, 0, 8, 20)) for _ in range(2)]
    return tuple(
        (about(lot, levels[0] - night * falls[0], 90), about(lot, levels[1] - night * falls[1], 90))
        for night in range(NIGHTS + 1)
    )


def _fill_pair(rows: _Rows, number: int, nights: Sequence[date], kept: int, seed: int) -> None:
    pair, lot = described(number), Random(f"{seed} pair {number}")
    flash = _flash(number, seed)
    story = Story(pair, Region.NORTH, flash, Truth(()))
    names = [ap.name for ap in pair.access_points]
    for left, (night, kind) in zip(range(len(nights), 0, -1), _kinds(nights, lot), strict=True):
        names = _moved(names, lot)
        template, free = _template(number % 2, kind), flash[(night - START).days]
        asking = _asking(number, night)
        judgement = rows.next_judgement()
        row = {
            "id": judgement,
            "sweep": _sweep(night)["id"],
            "pair": pair.name,
            "site": pair.site,
            "night": night,
            "retained": night,
            "asked": asking.started,
            "judged": asking.started + _ANSWERS,
            "verdict": template.verdict,
            "target_release": pair.target_release,
            "planned": True,
            "in_time": True,
            "state": rows.content(template.state_of(pair)),
            "aps": rows.content(contents.of_json(sorted(names))),
            "report": rows.content(template.report_of(pair, free)) if left <= kept else None,
        }
        rows.add(JUDGEMENTS, row)
        for member, bytes_free in zip(pair.members, free, strict=True):
            room = {"free": bytes_free, "total": member.flash_total, "needed": NEEDED}
            rows.add(ROOMS, {"judgement": judgement, "member": member.name, **room})
        if left <= kept:
            given = captures.of_night(story, night, asking, seed)
            for capture in (each for own in given.values() for each in own):
                rows.add(CAPTURES, _capture(capture, judgement, rows.content(contents.of_text(capture.text))))


def _kinds(nights: Iterable[date], lot: Random) -> Iterator[tuple[date, str]]:
    """Of each night what is amiss, if anything."""
    kind, left = _WELL, 0
    for night in nights:
        left -= 1
        if left <= 0:
            drawn = lot.choices([_WELL, *_SPELLS], [1000 - sum(_SPELLS.values()), *_SPELLS.values()])[0]
            kind, left = drawn, lot.randint(1, _LONGEST_SPELL) if drawn != _WELL else 1
        yield night, kind


def _moved(names: list[str], lot: Random) -> list[str]:
    """The access points of the next night: about once in two months one has come or gone."""
    if lot.random() > 1 / 60:
        return names
    if lot.random() < 0.5:
        return [*names, f"{names[0]}-new-{lot.randint(100, 999)}"]
    gone = lot.choice(names[1:])
    return [name for name in names if name != gone]


def _capture(capture: Capture, judgement: int, content: int) -> dict[str, Any]:
    return {
        "judgement": judgement,
        "member": capture.member,
        "command": capture.command,
        "content": content,
        "started": capture.started,
        "seconds": capture.seconds,
        "ending": capture.ending.value,
        "reason": capture.reason,
    }


@dataclass(frozen=True)
class _Template:
    """What a judged pair comes to in the store, to be told of others that are alike."""

    pair: PairDescription
    verdict: str
    state: bytes
    report: bytes

    def state_of(self, pair: PairDescription) -> Content:
        """The state, of another pair."""
        return contents.of_bytes(self._renamed(self.state, pair))

    def report_of(self, pair: PairDescription, free: tuple[int, int]) -> Content:
        """The report, of another pair with other figures."""
        told = self._renamed(self.report, pair)
        for figure, own in zip(_FREE, free, strict=True):
            told = told.replace(str(figure).encode(), str(own).encode())
        return contents.of_bytes(told)

    def _renamed(self, told: bytes, pair: PairDescription) -> bytes:
        told = told.replace(self.pair.name.encode(), pair.name.encode())
        return told.replace(self.pair.site.encode(), pair.site.encode())


@cache
def _template(number: int, kind: str) -> _Template:
    night = NEXT - timedelta(days=1)
    edits: Mapping[str, Edit] = {
        _WELL: lambda pair: pair,
        "full": lambda pair: _with_free(pair, (_FREE[0], NEEDED - 300 * MEGABYTE)),
        "unsynchronised": in_change,
        "access point away": lambda pair: replace(
            pair,
            access_points=tuple(
                replace(ap, failure=("Join", "Heartbeat timer expiry")) if place == 3 else ap
                for place, ap in enumerate(pair.access_points)
            ),
        ),
    }
    pair = edits[kind](_with_free(described(number), _FREE))
    first, second = pair.members
    story = Story(pair, Region.NORTH, ((first.flash_free, second.flash_free),) * NIGHTS, Truth(()))
    snapshot, result, _ = judged(pair, captures.of_night(story, night, _asking(number, night), 1), policy())
    told_state = contents.of_json(state.plain(state.pair_state(snapshot, result)))
    return _Template(pair, result.verdict.value, told_state.data, contents.of_json(document.pair(result)).data)


def _with_free(pair: PairDescription, free: tuple[int, int]) -> PairDescription:
    first, second = pair.members
    return replace(pair, members=(replace(first, flash_free=free[0]), replace(second, flash_free=free[1])))


class _Rows:
    """Rows on their way into the tables, many at once, each content once."""

    def __init__(self, connections: Sequence[Connection]) -> None:
        self._connections = connections
        self._numbers: dict[bytes, int] = {}
        self._judgements = 0
        self._waiting: dict[Table, list[dict[str, Any]]] = {}
        self._count = 0
        self._compressor = zstandard.ZstdCompressor(level=_LEVEL)

    def next_judgement(self) -> int:
        """A judgement's number."""
        self._judgements += 1
        return self._judgements

    def content(self, content: Content) -> int:
        """The content's number, put in where it isn't yet."""
        number = self._numbers.get(content.digest)
        if number is None:
            number = self._numbers[content.digest] = len(self._numbers) + 1
            packed = self._compressor.compress(content.data)
            self.add(CONTENTS, {"id": number, "digest": content.digest, "size": len(content.data), "packed": packed})
        return number

    def add(self, table: Table, row: dict[str, Any]) -> None:
        """Put a row in; it waits for others."""
        self._waiting.setdefault(table, []).append(row)
        self._count += 1
        if self._count >= _AT_ONCE and table is JUDGEMENTS:
            self.flush()

    def flush(self) -> None:
        """Put in what waits."""
        for table in (CONTENTS, SWEEPS, JUDGEMENTS, ROOMS, CAPTURES):
            if found := self._waiting.pop(table, []):
                for connection in self._connections:
                    _insert(connection, table, found)
        self._count = 0


def _insert(connection: Connection, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    if connection.dialect.name != "postgresql":
        connection.execute(insert(table), rows)
        return
    columns = tuple(rows[0])
    cursor = connection.connection.cursor()
    with cursor.copy(f"COPY {table.name} ({', '.join(columns)}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row([row[column] for column in columns])
