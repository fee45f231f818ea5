"""What the store knows of whom was told of what: the state that the next message is compared with."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine

import collector.store
from collector.demo import EVENING
from collector.finding import Verdict
from collector.judging import judge_snapshot
from collector.nights.night import Source
from collector.store.opening import url_of
from collector.store.store import Start, Store, SweepWriter, opened
from tests import demo_fleet
from tests.collector.store.judged import judged


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    with opened(store_url) as store:
        yield store


def swept(
    store: Store,
    verdicts: dict[str, Verdict],
    days: int = 0,
    *,
    in_time: bool = True,
    planned: bool = True,
    source: Source = Source.SWEEP,
) -> SweepWriter:
    moment = EVENING + timedelta(days=days)
    writer = store.begin(Start(source, "here", "/fleet", True, moment))
    for pair, verdict in verdicts.items():
        snapshot = replace(demo_fleet.snapshot(pair), moment=moment)
        result = judge_snapshot(snapshot, demo_fleet.fleet().policy)
        writer.keep(snapshot, replace(result, verdict=verdict), in_time=in_time, planned=planned)
    return writer


def told(store: Store) -> dict[str, Verdict]:
    return {pair: store.state(number).verdict for pair, number in store.announced().items()}


def test_nobody_was_told_before_somebody_was(store: Store) -> None:
    swept(store, {"quay": Verdict.GO}).finish(EVENING)
    assert told(store) == {}


def test_what_counts_is_the_last_sweep_that_somebody_was_told_of(store: Store) -> None:
    swept(store, {"quay": Verdict.GO, "breakwater": Verdict.NO_GO}).announce(EVENING)
    swept(store, {"quay": Verdict.NO_GO}, days=1).announce(EVENING)
    # Its message reached nobody: what it found is still to be told.
    swept(store, {"quay": Verdict.UNDECIDED, "breakwater": Verdict.GO}, days=2).finish(EVENING)
    assert told(store) == {"quay": Verdict.NO_GO, "breakwater": Verdict.NO_GO}


@pytest.mark.parametrize("kept", [{"in_time": False}, {"planned": False}])
def test_what_was_not_asked_or_is_another_question_counts_for_nothing(store: Store, kept: dict[str, Any]) -> None:
    swept(store, {"quay": Verdict.GO}).announce(EVENING)
    swept(store, {"quay": Verdict.UNDECIDED}, days=1, **kept).announce(EVENING)
    assert told(store) == {"quay": Verdict.GO}


@pytest.mark.parametrize("source", [Source.REPLAY, Source.DEMO])
def test_what_is_played_is_no_news_where_somebody_sweeps(store: Store, source: Source) -> None:
    swept(store, {"quay": Verdict.GO}, source=source).announce(EVENING)
    assert told(store) == {"quay": Verdict.GO}
    swept(store, {"quay": Verdict.NO_GO}, days=1).announce(EVENING)
    swept(store, {"quay": Verdict.GO, "breakwater": Verdict.GO}, days=2, source=source).announce(EVENING)
    assert told(store) == {"quay": Verdict.NO_GO}


def test_an_older_recording_is_no_later_word_among_replays(store: Store) -> None:
    for asked, verdict in ((EVENING, Verdict.NO_GO), (EVENING - timedelta(days=9), Verdict.GO)):
        recorded = judged(moment=EVENING, asked=asked)
        writer = store.begin(Start(Source.REPLAY, "here", "/fleet", True, EVENING))
        writer.keep(recorded.snapshot, replace(recorded.result, verdict=verdict))
        writer.announce(EVENING)
    assert told(store) == {"quay": Verdict.NO_GO}


def test_a_store_from_before_anybody_was_told_is_brought_up_to_date(store_url: str) -> None:
    config = Config()
    config.set_main_option("script_location", str(Path(collector.store.__file__).with_name("migrations")))
    with create_engine(url_of(store_url)).begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
        connection.exec_driver_sql(
            "INSERT INTO sweeps (id, source, collector, inventory, whole, started) "
            "VALUES ('a', 'sweep', 'here', '/fleet', true, '2027-02-05 21:00:00')"
        )
    with opened(store_url) as store:
        assert [sweep.id for sweep in store.sweeps(last=9)] == ["a"]
        assert told(store) == {}
        swept(store, {"quay": Verdict.GO}).announce(datetime.now().astimezone())
        assert told(store) == {"quay": Verdict.GO}
