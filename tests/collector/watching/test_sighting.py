"""Sightings, happenings and states go to JSON and back, whole and in one order."""

from __future__ import annotations

import json

import pytest

from collector.watching.following import follow
from collector.watching.sighting import (
    place_of,
    plain,
    restored_happening,
    restored_sighting,
    restored_state,
)
from tests.collector.watching.polls import polled, start, watched


def again(data: object) -> str:
    return json.dumps(data, ensure_ascii=False)


def test_sightings_go_to_json_and_back() -> None:
    for failure in (None, "active-crashes"):
        for seen in polled(60, failure)[1][::7]:
            data = json.loads(again(plain(seen)))
            assert restored_sighting(data) == seen
            assert again(plain(restored_sighting(data))) == again(plain(seen))


def test_happenings_go_to_json_and_back() -> None:
    _, happened = watched(polled(60, "aps-missing")[1])
    assert len(happened) > 10
    for each in happened:
        assert restored_happening(json.loads(again(plain(each)))) == each


def test_states_go_to_json_and_back_at_every_poll() -> None:
    state = start()
    for seen in polled(60, "aps-missing")[1]:
        state, _ = follow(state, seen)
        if seen.number % 12 == 0:
            data = json.loads(again(plain(state)))
            assert restored_state(data) == state
            assert again(plain(restored_state(data))) == again(plain(state))


def test_what_is_no_sighting_is_refused() -> None:
    data = plain(polled(60)[1][0])
    with pytest.raises(ValueError, match="stage"):
        restored_sighting({**data, "stage": "half-done"})
    with pytest.raises(ValueError, match="moment"):
        restored_happening({"kind": "began", "stage": "before", "statement": ""})


def test_the_order_of_the_work() -> None:
    assert place_of("before") == 0
    assert (place_of("commit") or 0) < (place_of("done") or 0)
    assert place_of("rolled-back") is None
