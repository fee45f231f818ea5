"""The log of a watched window, its table of stages, and what it hands on to the plans of other windows."""

from __future__ import annotations

import pytest

from collector.plan.stages import recorded
from collector.watching.stage_log import durations, line, rows, status, table
from tests.collector.watching.polls import every, play, polled, sightings, start, watched

TRUTH = {
    "expand": 360,
    "reload-standby": 660,
    "synchronise": 420,
    "switch-over": 120,
    "reload-other": 972,
    "validate": 1296,
    "commit": 60,
}
"""How long the stages of the play last as a watch sees them: a standby is hot, and access points are back, earlier."""


def test_the_table_of_a_good_window() -> None:
    state, _ = watched(polled(30)[1])
    assert table(rows(state)) == [
        "stage           began        ended        took       p50/p90",
        "expand          23:01-23:02  23:07-23:08  6 min      7/9      in time",
        "reload-standby  23:07-23:08  23:18-23:19  10-12 min  12/15    in time",
        "synchronise     23:18-23:19  23:25-23:26  6-8 min    8/10     in time",
        "switch-over     23:25-23:26  23:27-23:28  2 min      2/3      in time",
        "reload-other    23:27-23:28  23:44        16-17 min  19/24    in time",
        "restart-aps     23:44        23:56        12 min     26/32    in time",
        "validate        23:56        00:17-00:18  21-22 min  22/28    in time",
        "commit          00:17-00:18  00:18-00:19  0-2 min    2/3      in time",
    ]


@pytest.mark.parametrize("seconds", [30, 60, 300])
def test_the_table_fits_80_columns(seconds: float) -> None:
    for failure in (None, "standby-never-hot", "active-crashes"):
        state, _ = watched(polled(seconds, failure)[1])
        assert max(len(each) for each in table(rows(state))) <= 80


def test_a_stage_that_failed_is_shown_as_such() -> None:
    state, _ = watched(polled(60, "standby-never-hot")[1])
    found = {row.stage: (row.against, row.failed) for row in rows(state)}
    assert found["synchronise"] == ("broken off", True)
    assert found["rolled-back"] == ("goes on", False)
    assert found["expand"] == ("in time", False)
    assert table(rows(start())) == []


def test_durations_are_those_of_the_play() -> None:
    found = durations(watched(polled(30)[1])[0])
    assert set(found) == set(TRUTH)
    for stage, seconds in found.items():
        assert abs(seconds - TRUTH[stage]) <= 30, stage
    assert recorded({stage: [seconds] * 5 for stage, seconds in found.items()}, "expand") is not None


def test_restarts_are_recorded_by_their_round_where_polls_and_plan_agree() -> None:
    state, _ = watched(polled(30)[1])
    assert state.aps.dips == 3
    assert state.course.rounds == 6
    of = play(batches=6)
    state, _ = watched(sightings(of, every(30, of)))
    assert state.aps.dips == 6
    assert abs(durations(state)["restart-aps"] - 240) <= 30


def test_what_failed_or_was_not_seen_whole_is_not_recorded() -> None:
    assert set(durations(watched(polled(60, "standby-never-hot")[1])[0])) == {"expand", "reload-standby"}
    late = durations(watched(polled(60, begin=2000)[1])[0])
    assert "reload-other" not in late
    assert not set(durations(watched(polled(300)[1])[0])) & {"synchronise", "switch-over", "commit", "expand"}


def test_a_line_of_the_log() -> None:
    _, happened = watched(polled(60, "config-mismatch")[1])
    failed = next(each for each in happened if each.id == "config-mismatch")
    assert line(failed).startswith("2027-02-06 23:39:00 x reload-other   The configuration doesn't match after the ")
    assert line(happened[0]) == (
        "2027-02-06 23:00:00   before         Watching. The upgrade hasn't begun: quay-a is active on 17.9.4a."
    )


def test_how_it_stands() -> None:
    seen = polled(60)[1]
    state, _ = watched([each for each in seen if each.number <= 47])
    assert list(status(state)) == [
        "restart-aps since 23:45, 1 minute",
        "16 of 24 access points",
        "149 of 212 clients",
        "auto-abort at 01:08, in 1 hour 22 minutes",
        f"last moment to turn back {state.course.stages[8].last_moment:%H:%M}, in 1 hour 59 minutes",
    ]
    assert list(status(start())) == []
