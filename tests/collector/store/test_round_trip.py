"""What was kept comes back as it was, from either database."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import func, select

from collector.capture import Capture, Ending
from collector.finding import Verdict
from collector.nights.night import Source
from collector.nights.state import ap_names, pair_state
from collector.report import document
from collector.store.database import Database
from collector.store.schema import CAPTURES, CONTENTS, JUDGEMENTS
from collector.store.store import StoredSweep, StoreError, opened
from tests.collector.store.judged import EAST, EVENING, judged, kept, silent, start, utc


def test_a_judged_pair_comes_back_whole(store_url: str) -> None:
    each = judged(asked=EVENING - timedelta(minutes=4))
    with opened(store_url) as store:
        kept(store, each)
    with opened(store_url, existing=True) as store:
        (night,) = store.nights("quay")
        assert (night.pair, night.site, night.night) == ("quay", "Harbour Quay", date(2026, 11, 20))
        assert (night.source, night.verdict, night.target_release) == (Source.SWEEP, Verdict.GO, "17.12.4")
        assert (night.asked, night.judged) == (EVENING - timedelta(minutes=4), EVENING)
        assert night.in_time
        assert night.rooms == each.rooms
        assert store.state(night.state) == pair_state(each.snapshot, each.result)
        assert night.aps is not None
        assert store.ap_set(night.aps) == ap_names(each.snapshot)
        assert store.report(night.id) == json.loads(json.dumps(document.pair(each.result)))
        captures = store.captures(night.id)
        assert {member: {capture.command: capture for capture in own} for member, own in captures.items()} == {
            member.name: dict(member.captures) for member in each.snapshot.members
        }
        assert store.pairs() == ("quay",)


def test_a_capture_comes_back_to_the_byte_however_it_ended(store_url: str) -> None:
    endings = {
        "show version": Capture("", "show version", "no\x00thing \x1b[1m \udcff\udcfe é 𝄞\r\n"),
        "show boot": Capture("", "show boot", "BOOT var", Ending.CUT_OFF, "it ended \udcff\x00", EVENING, 1.25),
        "show chassis rmi": Capture("", "show chassis rmi", "", Ending.MISSING, "not reached"),
        "show redundancy": Capture("", "show redundancy", "", Ending.COMPLETE),
    }

    def edit(capture: Capture) -> Capture | None:
        told = endings.get(capture.command)
        return told and replace(told, member=capture.member)

    with opened(store_url) as store:
        kept(store, judged(edit=edit))
        (night,) = store.nights("quay")
        back = {capture.command: capture for capture in store.captures(night.id)["quay-b"]}
    assert back.keys() == endings.keys()
    for command, told in endings.items():
        assert replace(back[command], reason="") == replace(told, member="quay-b", reason="")
    # What isn't text in a reason is marked: only an answer itself is kept to the byte.
    assert back["show boot"].reason == "it ended ?\ufffd"


def test_names_that_need_care_come_back(store_url: str) -> None:
    each = judged()
    name = "quay 'O''Brien\"; DROP TABLE sweeps; -- 漢 %s :x \\"
    renamed = replace(each.result, pair=replace(each.result.pair, name=name, site="Ö\u202e"))
    with opened(store_url) as store:
        kept(store, replace(each, result=renamed))
        kept(store, each)
        assert store.pairs() == ("quay", name)
        assert [night.site for night in store.nights(name)] == ["Ö\u202e"]


def test_equal_nights_share_their_numbers_and_texts(store_url: str) -> None:
    with opened(store_url) as store:
        for days in range(3):
            kept(store, judged(moment=EVENING + timedelta(days=days)))
        first, second, third = store.nights("quay")
        assert {first.state} == {second.state, third.state}
        assert {first.aps} == {second.aps, third.aps}
        texts = {
            capture.text
            for own in store.captures(first.id).values()
            for capture in own
            if capture.ending is not Ending.MISSING
        }
        # Besides the texts: one state, one set of access points, one report.
        assert count(store, CONTENTS) == len(texts) + 3


def test_a_pair_that_a_sweep_stored_already_is_left(store_url: str) -> None:
    with opened(store_url) as store:
        writer = store.begin(start())
        for each in (judged(), judged("saltmarsh"), judged(edit=silent)):
            writer.keep(each.snapshot, each.result)
        assert [(night.verdict, night.in_time) for night in store.nights("quay")] == [(Verdict.GO, True)]
        assert count(store, JUDGEMENTS) == 2
        assert count(store, CAPTURES) == 2 * 2 * len(judged().snapshot.members[0].captures)


def test_sweeps_are_told_the_newest_first_and_whether_they_ended(store_url: str) -> None:
    with opened(store_url) as store:
        killed = store.begin(start())
        each = judged()
        killed.keep(each.snapshot, each.result)
        later = start(EVENING + timedelta(days=1), Source.CHECK, whole=False)
        ended = store.begin(later)
        ended.finish(EVENING + timedelta(days=1, minutes=5))
        assert store.sweeps(last=5) == (
            StoredSweep(ended.id, later, EVENING + timedelta(days=1, minutes=5), 0),
            StoredSweep(killed.id, start(), None, 1),
        )
        assert len(store.sweeps(last=1)) == 1


@pytest.mark.parametrize(
    ("asked", "night"),
    [
        (datetime(2026, 11, 21, 3, 0, tzinfo=EAST), date(2026, 11, 20)),
        (datetime(2026, 11, 21, 11, 59, tzinfo=EAST), date(2026, 11, 20)),
        (datetime(2026, 11, 21, 12, 0, tzinfo=EAST), date(2026, 11, 21)),
        # The same moment is another night elsewhere: it is the pair's own that counts.
        (datetime(2026, 11, 21, 13, 0, tzinfo=timezone(timedelta(hours=13))), date(2026, 11, 21)),
        (utc(2026, 11, 21, 0, 0), date(2026, 11, 20)),
    ],
)
def test_a_night_lasts_from_noon_to_noon_where_the_pair_was_asked(store_url: str, asked: datetime, night: date) -> None:
    with opened(store_url) as store:
        kept(store, judged(moment=asked + timedelta(days=30), asked=asked))
        assert [each.night for each in store.nights("quay")] == [night]


def test_a_damaged_text_is_told_and_never_read(tmp_path: Path) -> None:
    with opened(str(tmp_path / "nights.db")) as store:
        kept(store, judged())
        (night,) = store.nights("quay")
        assert isinstance(store, Database)
        with store._writing.begin() as connection:
            connection.execute(CONTENTS.update().where(CONTENTS.c.id == night.state).values(packed=b"rubbish"))
        with pytest.raises(
            StoreError,
            match=r"the store /.*/nights.db holds a damaged text \([0-9a-f]{12}\); put your last back-up in its place",
        ):
            store.state(night.state)


def count(store: object, table: object) -> int:
    assert isinstance(store, Database)
    with store._reading.connect() as connection:
        found: int = connection.execute(select(func.count()).select_from(table)).scalar_one()  # type: ignore[arg-type]
        return found
