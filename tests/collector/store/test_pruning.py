"""Retention takes away what is too old, and never a text that something which stays still cites."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from collector.capture import Capture
from collector.nights.night import Source
from collector.store import pruning
from collector.store.database import Database
from collector.store.schema import CAPTURES, CONTENTS, JUDGEMENTS
from collector.store.store import Pruned, Store, opened
from parsers import transcript
from tests.collector.store.judged import EVENING, Judged, judged, kept
from tests.postgresql import Server

DAY = timedelta(days=1)
FIRST = EVENING.date()


@dataclass(frozen=True)
class Drawn:
    """A judgement to be stored: asked on the night `asked`, judged so many days later, its texts of this variant."""

    name: str
    asked: int
    later: int
    variant: int


# Few, so that many nights can be tried.
COMMANDS = {"show version", "dir bootflash:", "show ap summary", "show redundancy"}
DRAWN = st.builds(
    Drawn,
    name=st.sampled_from(["quay", "saltmarsh", "fogbank"]),
    asked=st.integers(0, 6),
    later=st.sampled_from([0, 0, 0, 1, 5]),
    variant=st.integers(0, 2),
)


@cache
def made(drawn: Drawn) -> Judged:
    asked = EVENING + drawn.asked * DAY

    def edit(capture: Capture) -> Capture | None:
        # A variant has one text of its own and shares the others with the pair's other nights.
        if capture.command == "show boot":
            return replace(capture, text=f"{capture.text}\nvariant {drawn.variant}")
        return capture if capture.command in COMMANDS else None

    return judged(drawn.name, asked + drawn.later * DAY, asked=asked, edit=edit)


@contextmanager
def empty(server: Server | None) -> Iterator[Store]:
    with tempfile.TemporaryDirectory() as folder:
        database = server.database() if server else ""
        with opened(server.url(database) if server else str(Path(folder) / "nights.db")) as store:
            yield store
        if server:
            server.drop(database)


@pytest.mark.parametrize("backend", ["sqlite", "postgresql"])
def test_what_stays_has_every_text_that_it_cites(backend: str, request: pytest.FixtureRequest) -> None:
    server = request.getfixturevalue("postgresql") if backend == "postgresql" else None

    @settings(max_examples=15 if server else 30)
    @given(st.lists(DRAWN, max_size=7), st.lists(st.integers(-1, 13), min_size=1, max_size=3))
    def holds(drawn: list[Drawn], prunings: list[int]) -> None:
        with empty(server) as store:
            for each in drawn:
                kept(store, made(each), source=Source.REPLAY if each.later else Source.SWEEP)
            nights = dict(store.fleet())
            states = {night.state: store.state(night.state) for own in nights.values() for night in own}
            oldest = -1
            for days in prunings:
                oldest = max(oldest, days)
                store.prune(FIRST + days * DAY)
                judge(store, drawn, oldest)
            # What is kept for good is as it was.
            assert dict(store.fleet()) == nights
            assert {number: store.state(number) for number in states} == states
            for own in nights.values():
                assert all(night.aps is None or store.ap_set(night.aps) for night in own)

    holds()


def judge(store: Store, drawn: list[Drawn], oldest: int) -> None:
    """See that the store holds the reports and captures of the nights from `oldest` on, and no text besides."""
    assert isinstance(store, Database)
    with store._reading.connect() as connection:
        numbers = list(connection.execute(select(JUDGEMENTS.c.id).order_by(JUDGEMENTS.c.id)).scalars())
    for number, each in zip(numbers, drawn, strict=True):
        report, captures = store.report(number), store.captures(number)
        if each.asked + each.later < oldest:
            assert report is None
            assert captures == {}
            continue
        assert report is not None
        texts = {(capture.member, capture.command): capture.text for own in captures.values() for capture in own}
        assert texts == {
            (member.name, command): capture.text
            for member in made(each).snapshot.members
            for command, capture in member.captures.items()
        }
        cited = [evidence for finding in report["findings"] for evidence in finding["evidence"]]
        assert cited
        for evidence in cited:
            lines = transcript.split(texts[evidence["member"], evidence["command"]])
            assert evidence["lines"] == [lines[number - 1] for number in evidence["numbers"]]
    assert unused(store) == 0


def unused(store: Database) -> int:
    """How many texts nothing refers to."""
    statement = select(func.count()).select_from(CONTENTS).where(~pruning._referred_to())
    with store._reading.connect() as connection:
        found: int = connection.execute(statement).scalar_one()
        return found


def test_a_replay_of_old_captures_is_kept_as_long_as_any_other(store_url: str) -> None:
    with opened(store_url) as store:
        kept(store, judged(moment=EVENING + 100 * DAY, asked=EVENING), source=Source.REPLAY)
        assert store.prune(FIRST + 100 * DAY) == Pruned(0, 0, 0)
        (night,) = store.nights("quay")
        assert night.night == FIRST
        assert store.report(night.id) is not None
        assert store.prune(FIRST + 101 * DAY).reports == 1
        assert store.report(night.id) is None


def test_what_was_taken_away_is_told(store_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # Several transactions, and the last one not full.
    monkeypatch.setattr(pruning, "_AT_ONCE", 2)
    with opened(store_url) as store:
        for days in range(5):
            kept(store, judged(moment=EVENING + days * DAY))
        commands = sum(len(member.captures) for member in judged().snapshot.members)
        taken = store.prune(FIRST + 4 * DAY)
        # All nights share their texts: the last one still needs them, and all that goes is nothing but references.
        assert taken == Pruned(4, 4 * commands, 0)
        assert isinstance(store, Database)
        assert store.prune(date(2100, 1, 1)).bytes > 10_000
        with store._reading.connect() as connection:
            assert connection.execute(select(func.count()).select_from(CAPTURES)).scalar() == 0
            # The state and the set of access points.
            assert connection.execute(select(func.count()).select_from(CONTENTS)).scalar() == 2
