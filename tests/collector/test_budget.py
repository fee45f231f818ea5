from __future__ import annotations

import time

import pytest

from collector.budget import Budget, spoken
from collector.result import Ended


class Clock:
    """A clock that goes on when it is told to."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now = 1000.0
        monkeypatch.setattr(time, "monotonic", lambda: self.now)
        # Somebody sets the machine's clock back and forth meanwhile.
        monkeypatch.setattr(time, "time", lambda: 0.0)


def test_it_is_spent_at_its_end_and_no_sooner(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock(monkeypatch)
    budget = Budget(90)
    clock.now += 89.9
    assert budget.spent() is None
    assert 0 < budget.pause() < 0.11
    clock.now += 0.1
    assert budget.spent() is Ended.DEADLINE
    assert budget.pause() == 0
    clock.now += 1000
    assert budget.spent() is Ended.DEADLINE
    assert budget.pause() == 0


def test_without_a_limit_it_is_never_spent(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock(monkeypatch)
    budget = Budget()
    clock.now += 1e9
    assert budget.spent() is None
    assert 0 < budget.pause() < 1


@pytest.mark.parametrize("seconds", [None, 90.0, 0.0])
def test_an_interruption_spends_it_and_is_what_ended_it(seconds: float | None) -> None:
    budget = Budget(seconds)
    budget.interrupt()
    assert budget.spent() is Ended.INTERRUPTED


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (1, "1 s"),
        (60, "1 min"),
        (90, "90 s"),
        (120, "2 min"),
        (2700, "45 min"),
        (2710, "45 min 10 s"),
        (3600, "1 h"),
        (5400, "1 h 30 min"),
        (7200, "2 h"),
        (0, "0 s"),
    ],
)
def test_a_duration_is_said_as_people_do(seconds: float, said: str) -> None:
    assert spoken(seconds) == said
