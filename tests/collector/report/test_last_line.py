from __future__ import annotations

import time

import pytest

from collector.finding import Verdict
from collector.report.last_line import LastLine
from collector.result import Ended
from tests.collector.report.sample import LATE


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> LastLine:
    """That of a sweep of the sample, twelve seconds long."""
    clock = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: clock[0])
    line = LastLine()
    line.pairs = len(LATE.pairs)
    for pair in LATE.pairs:
        line.judged(pair)
    clock[0] += 12.3
    return line


def test_it_counts_and_says_how_the_sweep_ended(line: LastLine) -> None:
    line.ended = Ended.DEADLINE
    assert line.text(1) == (
        "readypair sweep: 8 pairs, 2 go, 4 no-go, 2 undecided, 1 not reached in time; ended deadline after 12 s; exit 1"
    )


@pytest.mark.parametrize(
    ("ended", "status", "said"),
    [
        (Ended.COMPLETE, 0, "complete"),
        (Ended.COMPLETE, 1, "complete"),
        (Ended.INTERRUPTED, 1, "interrupted"),
        # All were asked, but a report or the store couldn't be written.
        (Ended.COMPLETE, 2, "failed"),
        (Ended.DEADLINE, 3, "failed"),
        # The second Ctrl-C.
        (Ended.INTERRUPTED, 2, "interrupted"),
        (Ended.FAILED, 2, "failed"),
    ],
)
def test_what_ended_it_goes_with_the_status(ended: Ended, status: int, said: str, line: LastLine) -> None:
    line.ended = ended
    assert line.text(status).endswith(f"; ended {said} after 12 s; exit {status}")


def test_the_clock_of_the_wall_means_nothing(line: LastLine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time, "time", lambda: 0.0)
    assert "after 12 s" in line.text(0)


def test_it_has_the_same_form_before_anything_is_known() -> None:
    said = "readypair sweep: 0 pairs, 0 go, 0 no-go, 0 undecided, 0 not reached in time; ended failed after 0 s; exit 2"
    assert LastLine().text(2) == said


def test_every_verdict_is_counted() -> None:
    assert all(f"0 {verdict}" in LastLine().text(0) for verdict in Verdict)


@pytest.mark.parametrize(
    ("ended", "status", "late"), [(Ended.INTERRUPTED, 2, 4), (Ended.DEADLINE, 1, 1), (Ended.FAILED, 2, 1)]
)
def test_pairs_that_a_stop_at_once_left_without_a_verdict_were_not_reached(
    ended: Ended, status: int, late: int, line: LastLine
) -> None:
    line.pairs += 3
    line.ended = ended
    assert f" {late} not reached in time; ended {ended}" in line.text(status)
